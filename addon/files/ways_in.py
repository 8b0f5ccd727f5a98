"""Ways in from outside the sidebar: files dropped into a 3D view, and Blender's own menu.

Blender asks which way to take where several fit what was dropped: its own importers know STL, PLY
and OBJ too.
"""

from __future__ import annotations

from typing import Any

import bpy

from ...standalone_core.mesh.formats import SUFFIX_FORMATS
from .. import identifiers
from ..blender import job


class ScansDropped(bpy.types.FileHandler):
    """Scans dropped into a 3D view."""

    bl_idname = "CUSPWISE_FH_scans"
    bl_label = "Import as Crown Scans"
    bl_import_operator = identifiers.DROP_SCANS
    bl_file_extensions = ";".join(SUFFIX_FORMATS)

    @classmethod
    def poll_drop(cls, context: bpy.types.Context) -> bool:
        """Tell whether a 3D view is under the mouse and nothing else is under way."""
        return _takes_drops(context)


class DesignDropped(bpy.types.FileHandler):
    """A design dropped into a 3D view."""

    bl_idname = "CUSPWISE_FH_design"
    bl_label = "Import as Crown Design"
    bl_import_operator = identifiers.DROP_DESIGN
    bl_file_extensions = ";".join(SUFFIX_FORMATS)

    @classmethod
    def poll_drop(cls, context: bpy.types.Context) -> bool:
        """Tell whether a 3D view is under the mouse and nothing else is under way."""
        return _takes_drops(context)


HANDLERS = (DesignDropped, ScansDropped)


def register() -> None:
    """Take what is dropped, and stand in the menu File ▸ Import."""
    for handler in HANDLERS:
        bpy.utils.register_class(handler)
    bpy.types.TOPBAR_MT_file_import.append(_draw_menu)


def unregister() -> None:
    """Take it all back."""
    bpy.types.TOPBAR_MT_file_import.remove(_draw_menu)
    for handler in reversed(HANDLERS):
        bpy.utils.unregister_class(handler)


def _takes_drops(context: bpy.types.Context) -> bool:
    area = context.area
    return area is not None and area.type == "VIEW_3D" and not job.is_running(context)


def _draw_menu(menu: Any, _context: bpy.types.Context) -> None:
    menu.layout.separator()
    for name, title in (
        (identifiers.IMPORT_DESIGN, "Crown Design (Cuspwise)"),
        (identifiers.IMPORT_SCANS, "Crown Scans (Cuspwise)"),
        (identifiers.IMPORT_FOLDER, "Folder of Crown Scans (Cuspwise)"),
    ):
        menu.layout.operator(name, text=title)
