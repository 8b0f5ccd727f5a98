"""The Blender extension: reads objects, calls the core, writes attributes.

It has no operators or panels yet; :mod:`.pictures` draws the colour maps of a check.
"""


def register() -> None:
    """Register the extension's classes with Blender."""


def unregister() -> None:
    """Remove the extension's classes from Blender."""
