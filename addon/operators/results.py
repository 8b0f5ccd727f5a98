"""Numbers out: to the clipboard, or as the same files that the command line writes."""

import math
from pathlib import Path

import bpy
import numpy as np

from ...standalone_core.csv_text import csv_text
from ...standalone_core.deviation.support_marks import MARK_WORDS
from ...standalone_core.errors import ReportError
from ...standalone_core.progress import Progress, scaled
from ...standalone_core.report.check.output import write_check_steps
from ...standalone_core.report.check.sentences import SHORT_VERDICTS
from ...standalone_core.words.names import MARK_KIND_WORDS, area_words
from .. import identifiers
from ..blender.job import JobOperator
from ..check import inputs, mark_results, store
from ..drawing import colour_map, framing
from . import ready

COLUMNS = (
    ("mean_abs_um", "mean absolute (µm)", 2),
    ("rms_um", "RMS (µm)", 2),
    ("half_p90_p10_um", "(P90−P10)/2 (µm)", 2),
    ("mean_um", "mean (µm)", 2),
    ("within_tolerance", "share within tolerance", 4),
    ("coverage", "coverage", 4),
    ("tolerance_um", "tolerance (µm)", 2),
)
BOTH_SIDES = (
    ("back_mean_abs_um", "mean absolute from scan to design (µm)", 2),
    ("unmatched_mm2", "unmatched scan surface (mm²)", 4),
    ("unmatched_um", "its height (µm)", 1),
    ("scanner_um", "scanner's uncertainty (µm)", 2),
)
MARK = (
    ("height_um", "height above surroundings (µm)", 2),
    ("peak_um", "peak from design (µm)", 2),
    ("surroundings_um", "surroundings (µm)", 2),
    ("area_mm2", "area (mm²)", 4),
    ("volume_mm3", "volume (mm³)", 6),
    ("coverage", "coverage", 4),
)


def table_text(kept):
    """Return a result's measures, and its support marks, as tab-separated text with headers."""
    titles = (title for _, title, _ in (*COLUMNS, *BOTH_SIDES))
    table = [["area", *titles, "verdict", "reason", "caveat"]]
    verdicts = {verdict.area: verdict for verdict in store.verdicts_of(kept)}
    for row in store.rows_of(kept):
        found = verdicts[row["area"]]
        numbers = [_number(row[name], digits) for name, _, digits in COLUMNS]
        numbers += [_number(getattr(found, name), digits) for name, _, digits in BOTH_SIDES]
        words = [SHORT_VERDICTS[found.verdict], found.reason, found.caveat]
        table.append([area_words(row["area"]), *numbers, *words])
    found = mark_results.rows_of(kept).values()
    if found:
        table.append([])
        table.append(["support mark", "kind", *(title for _, title, _ in MARK), "verdict"])
    for row in found:
        values = [mark_results.number(row[name]) for name, _, _ in MARK]
        numbers = [_number(v, digits) for v, (_, _, digits) in zip(values, MARK, strict=True)]
        kind, verdict = MARK_KIND_WORDS[row["kind"]], MARK_WORDS[row["verdict"]]
        table.append([row["name"], kind, *numbers, verdict])
    return csv_text(table, "\t")


class FramePatch(bpy.types.Operator):
    """Bring a patch outside the tolerance into view."""

    bl_idname = identifiers.FRAME_PATCH
    bl_label = "Frame Patch"
    bl_description = (
        "Put the 3D cursor on the worst place of this patch outside the tolerance and bring it "
        "into the middle of the view"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Patch", description="Which patch; 0 is the worst", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context):
        """Ask for a result whose design is there."""
        if not ready.has_result(cls, context):
            return False
        design = store.data_of(colour_map.selected_scan(context.scene)).design
        if not store.is_in(design, context.scene):
            cls.poll_message_set("The design is not in this scene")
            return False
        return True

    def execute(self, context):
        """Go there."""
        scan = colour_map.selected_scan(context.scene)
        problem = framing.frame_patch(context, scan, self.number)
        if problem:
            self.report({"ERROR"}, problem)
            return {"CANCELLED"}
        return {"FINISHED"}


class CopyTable(bpy.types.Operator):
    """Copy the measures to the clipboard."""

    bl_idname = identifiers.COPY_TABLE
    bl_label = "Copy Table"
    bl_description = (
        "Copy the measures of all areas and of the support marks as tab-separated text, for a "
        "spreadsheet"
    )

    @classmethod
    def poll(cls, context):
        """Ask for a result."""
        return ready.has_result(cls, context)

    def execute(self, context):
        """Copy, and say so if the numbers are stale."""
        scan = colour_map.selected_scan(context.scene)
        kept = store.result_of(scan)
        if kept is None:
            self.report({"ERROR"}, f"{scan.name}: measured with another version; check again.")
            return {"CANCELLED"}
        context.window_manager.clipboard = table_text(kept)
        if not store.refresh(scan, context.scene, with_areas=True):
            why = store.data_of(scan).state_reason
            self.report({"WARNING"}, f"Copied stale numbers of {scan.name}: {why}")
        elif not mark_results.refresh(scan):
            why = "support marks were edited since; press Measure Marks."
            self.report({"WARNING"}, f"Copied the table of {scan.name}, but its {why}")
        else:
            self.report({"INFO"}, f"Copied the table of {scan.name}.")
        return {"FINISHED"}


class ExportReport(bpy.types.Operator):
    """Choose where the report of the chosen scan goes, then write it."""

    bl_idname = identifiers.EXPORT_REPORT
    bl_label = "Export Report"
    bl_description = (
        "Write page, tables and coloured surfaces of the chosen scan to a folder: the same files "
        "that the command line makes. The check is repeated for it, which takes as long as before"
    )

    directory: bpy.props.StringProperty(
        name="Folder", description="Where to write; made if it is not there", subtype="DIR_PATH"
    )
    filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})

    @classmethod
    def poll(cls, context):
        """Ask for a result that is not stale."""
        return _can_export(cls, context)

    def invoke(self, context, _event):
        """Ask for the folder."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context):
        """Hand over to the job: a file dialogue cannot go on as one."""
        del context
        write = bpy.ops.cuspwise.write_report
        if bpy.app.background:
            return write(directory=self.directory)
        write("INVOKE_DEFAULT", directory=self.directory)
        return {"FINISHED"}


class WriteReport(JobOperator, bpy.types.Operator):
    """Write the report of the chosen scan to a folder."""

    bl_idname = identifiers.WRITE_REPORT
    bl_label = "Write Report"
    bl_description = "Write the report of the chosen scan to the folder given"
    bl_options = {"INTERNAL"}  # noqa: RUF012

    directory: bpy.props.StringProperty(
        name="Folder", description="Where to write; made if it is not there", subtype="DIR_PATH"
    )

    @classmethod
    def poll(cls, context):
        """Ask for a result that is not stale."""
        return _can_export(cls, context)

    writes_files = True

    def read(self, context):
        """Read both surfaces as they lay when they were measured."""
        if not self.directory:
            raise ReportError(
                "No folder was given.", subject="Folder", remedy="Choose a folder to write to."
            )
        scan = colour_map.selected_scan(context.scene)
        kept = store.result_of(scan)
        if kept is None or not store.refresh(scan, context.scene):
            raise _stale(scan)
        yield Progress("Reading the design", 0.0)
        self._design = yield from inputs.read_design_steps(context, store.data_of(scan).design)
        if not store.refresh_areas(scan, self._design.areas):
            raise _stale(scan)
        before = np.array(kept["made_with"]["scan_before"])
        self._scan = yield from inputs.read_scan_steps(context, scan, self._design.frame, before)
        self._choices = kept["choices"]

    def start(self, context):
        """Repeat the check and write its files."""
        settings = getattr(context.scene, identifiers.SCENE_PROPERTIES)
        limit_um = None if settings.limit_is_automatic else float(f"{settings.limit_um:.6g}")
        folder = Path(bpy.path.abspath(self.directory))
        colours = {"limit_um": limit_um, "palette": settings.palette}
        return _report_steps(self._design, self._scan, self._choices, folder, colours)

    def finish(self, _context, result):
        """Say what was written."""
        return f"Wrote {len(result)} files to {result[0].parent}."


def _stale(scan):
    return ReportError(
        store.data_of(scan).state_reason,
        subject=scan.name,
        remedy="Check the crown again before exporting.",
    )


def _can_export(operator, context):
    if not ready.has_result(operator, context):
        return False
    data = store.data_of(colour_map.selected_scan(context.scene))
    if data.state == "STALE":
        operator.poll_message_set(f"{data.state_reason} Check again first")
        return False
    return True


def _report_steps(design, scan, choices, folder, colours):
    result = yield from scaled(inputs.check_input_steps(design, scan, choices), 0.0, 0.8)
    files = write_check_steps(result, folder, pictures="no", **colours)
    return (yield from scaled(files, 0.8, 1.0))


def _number(value, digits):
    return f"{value:.{digits}f}" if math.isfinite(value) else ""


CLASSES = (FramePatch, CopyTable, ExportReport, WriteReport)
