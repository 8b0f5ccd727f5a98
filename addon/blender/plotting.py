"""matplotlib inside Blender: loaded by the job that draws, its list of fonts in our own folder."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path

import bpy

from ...standalone_core.progress import Progress, Steps
from ...standalone_core.report.drawing.matplotlib_figure import can_plot

PACKAGE = __package__.rsplit(".", 2)[0]


def own_folder() -> Path | None:
    """Return where matplotlib may keep its list of fonts; none where this is no extension."""
    try:
        return Path(bpy.utils.extension_path_user(PACKAGE, path="matplotlib"))
    except ValueError:
        return None


def loading_steps(folder: Path | None) -> Steps[None]:
    """Load matplotlib as the core needs it; touches nothing of Blender's.

    Our figures are written in the font that it brings along. Where it lists those of the system
    all the same, it does so once and keeps the list in the folder; where that cannot be written
    to, in a temporary one.
    """
    if not can_plot():
        return
    yield Progress("Loading what draws the figures", 0.0)
    settings = {"MPL_IGNORE_SYSTEM_FONTS": "1"}
    if folder is not None:
        settings["MPLCONFIGDIR"] = str(folder)
    with _environment(settings):
        import_module("matplotlib.font_manager")
    yield Progress("Loading what draws the figures", 1.0)


@contextmanager
def _environment(settings: dict[str, str]) -> Iterator[None]:
    """Set variables for a while, but those that the user has set."""
    added = {name: value for name, value in settings.items() if name not in os.environ}
    os.environ.update(added)
    try:
        yield
    finally:
        for name in added:
            os.environ.pop(name, None)
