"""Cuspwise: how far a produced dental crown is from its design, where, and why.

The repository root is the Python package and the Blender extension at once. Importing it loads
nothing; the core is :mod:`cuspwise.standalone_core`, and Blender calls ``register``.
"""

from .standalone_core.version import VERSION

__version__ = VERSION


def register() -> None:
    """Add the extension to Blender."""
    from . import addon

    addon.register()


def unregister() -> None:
    """Remove the extension from Blender."""
    from . import addon

    addon.unregister()
