"""The table of all crowns, out: to the clipboard, as a file, as a page."""

import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpy
from bpy_extras.io_utils import ExportHelper

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.report.tables.table import write_csv
from .. import identifiers
from ..blender.in_blender import message
from ..blender.session import Answer, manager_of, scene_of, settings_of
from ..check import all_scans, crown_rows, store
from . import ready


class CopyCrowns(bpy.types.Operator):
    """Copy the table of all crowns to the clipboard."""

    bl_idname = identifiers.COPY_CROWNS
    bl_label = "Copy Table"
    bl_description = (
        "Copy all crowns by areas as tab-separated text, a line for each crown, for a spreadsheet"
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a crown that was checked."""
        return _has_checked(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Copy; say which are out of date."""
        rows = _refreshed(context)
        manager_of(context).clipboard = crown_rows.wide_text(rows, settings_of(context).design.name)
        _tell(self, rows, "Copied the table")
        return {"FINISHED"}


class ExportCrowns(bpy.types.Operator, ExportHelper):  # type: ignore[misc]
    """Write the table of all crowns to a file."""

    bl_idname = identifiers.EXPORT_CROWNS
    bl_label = "Export Table"
    bl_description = (
        "Write all crowns by areas to a CSV file, a line for each crown and area: the same "
        "columns as on the command line. What is out of date is written as not checked"
    )

    filename_ext = ".csv"
    if TYPE_CHECKING:
        filepath: str  # of ExportHelper
    filter_glob: bpy.props.StringProperty(default="*.csv", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a crown that was checked."""
        return _has_checked(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Write it."""
        from ...standalone_core.report.tray.tables import tray_csv

        rows = _refreshed(context)
        path = Path(bpy.path.abspath(self.filepath))
        try:
            write_csv(path, tray_csv(all_scans.tray_of(scene_of(context))))
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        _tell(self, rows, f"Wrote {path}")
        return {"FINISHED"}


class OpenCrowns(bpy.types.Operator):
    """Open the page of all crowns in the web browser."""

    bl_idname = identifiers.OPEN_CROWNS
    bl_label = "Open Table"
    bl_description = (
        "Open a page with all crowns by areas, the worst first, in the web browser. It lies in "
        "Blender's temporary folder; save it from there to keep it"
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a crown that was checked."""
        return _has_checked(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Write the page and open it."""
        from ...standalone_core.report.tray.output import write_tray

        rows = _refreshed(context)
        folder = Path(bpy.app.tempdir) / "all_crowns"
        try:
            page = write_tray(all_scans.tray_of(scene_of(context)), folder)[0]
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        if not bpy.app.background:
            webbrowser.open(page.as_uri())
        _tell(self, rows, f"Opened {page}")
        return {"FINISHED"}


def _refreshed(context: bpy.types.Context) -> list[crown_rows.Row]:
    """Return the rows of all crowns, after looking what is out of date."""
    scene = scene_of(context)
    for scan in all_scans.crowns_listed(scene):
        store.refresh(scan, scene, with_areas=True)
    return [row for row in all_scans.rows_of(scene) if row is not crown_rows.GONE]


def _tell(operator: Any, rows: list[crown_rows.Row], done: str) -> None:
    old = [row.name for row in rows if row.status == crown_rows.OUT_OF_DATE]
    if old:
        operator.report({"WARNING"}, f"{done}; out of date: {', '.join(old)}.")
    else:
        operator.report({"INFO"}, f"{done}: {crown_rows.sum_of(rows)}")


def _has_checked(operator: Any, context: bpy.types.Context) -> bool:
    if not ready.has_design(operator, context):
        return False
    rows = all_scans.rows_of(scene_of(context))
    if all(row.crown is None and not row.reason for row in rows):
        operator.poll_message_set("Check the crowns first")
        return False
    return True


CLASSES = (CopyCrowns, ExportCrowns, OpenCrowns)
