"""Numbers out: to the clipboard, or as the same files that the command line writes."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast

import bpy
import numpy as np

from ...standalone_core.csv_text import csv_text
from ...standalone_core.deviation.support_marks import MARK_WORDS
from ...standalone_core.errors import ReportError
from ...standalone_core.progress import Progress, Steps, scaled
from ...standalone_core.report.check.sentences import SHORT_VERDICTS
from ...standalone_core.words.names import MARK_KIND_WORDS, area_words
from .. import identifiers
from ..blender import plotting
from ..blender.job import JobOperator
from ..blender.session import Answer, manager_of, our_operators, scene_of, settings_of
from ..causes import production
from ..check import inputs, mark_results, store
from ..check.inputs import DesignInput, ScanInput
from ..drawing import framing
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


def table_text(kept: Mapping[str, Any]) -> str:
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
    marks = mark_results.rows_of(kept).values()
    if marks:
        table.append([])
        table.append(["support mark", "kind", *(title for _, title, _ in MARK), "verdict"])
    for row in marks:
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
        "Look at the worst place of this patch outside the tolerance, from outside: ringed, the "
        "3D cursor on it, what stands before it hidden. Back to View Before ends that"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Patch", description="Which patch; 0 is the worst", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a result whose design is there."""
        if not ready.has_result(cls, context):
            return False
        design = store.data_of(ready.chosen_scan(context)).design
        if not store.is_in(design, scene_of(context)):
            cls.poll_message_set("The design is not in this scene")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Go there."""
        scan = ready.chosen_scan(context)
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
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a result."""
        return ready.has_result(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Copy, and say so if the result is out of date."""
        scan = ready.chosen_scan(context)
        kept = store.result_of(scan)
        if kept is None:
            self.report({"ERROR"}, f"{scan.name}: measured with another version; check again.")
            return {"CANCELLED"}
        manager_of(context).clipboard = table_text(kept)
        if not store.refresh(scan, scene_of(context), with_areas=True):
            why = store.data_of(scan).state_reason
            self.report(
                {"WARNING"}, f"Copied the table of {scan.name}, which is out of date: {why}"
            )
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
        "Write page, tables, pictures from six sides and coloured surfaces of the chosen scan to "
        "a folder. The check is repeated for it, which takes as long as before"
    )

    directory: bpy.props.StringProperty(
        name="Folder", description="Where to write; made if it is not there", subtype="DIR_PATH"
    )
    filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a result that is not out of date."""
        return _can_export(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Ask for the folder."""
        manager_of(context).fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> Answer:
        """Hand over to the job: a file dialogue cannot go on as one."""
        del context
        write = our_operators().write_report
        if bpy.app.background:
            return cast(Answer, write(directory=self.directory))
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
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a result that is not out of date."""
        return _can_export(cls, context)

    writes_files = True

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read both surfaces as they lay when they were measured."""
        if not self.directory:
            raise ReportError(
                "No folder was given.", subject="Folder", remedy="Choose a folder to write to."
            )
        scan = ready.chosen_scan(context)
        kept = store.result_of(scan)
        if kept is None or not store.refresh(scan, scene_of(context)):
            raise _out_of_date(scan)
        yield Progress("Reading the design", 0.0)
        self._design = yield from inputs.read_design_steps(context, store.data_of(scan).design)
        if not store.refresh_areas(scan, self._design.areas, scene_of(context)):
            raise _out_of_date(scan)
        before = np.array(kept["made_with"]["scan_before"])
        self._scan = yield from inputs.read_scan_steps(context, scan, self._design.frame, before)
        self._choices = {**kept["choices"], **production.choices_of(scene_of(context), scan)}

    def start(self, context: bpy.types.Context) -> Steps[Any]:
        """Repeat the check and write its files."""
        settings = settings_of(context)
        limit_um = None if settings.limit_is_automatic else float(f"{settings.limit_um:.6g}")
        folder = Path(bpy.path.abspath(self.directory))
        colours = {"limit_um": limit_um, "palette": settings.palette}
        read = (self._design, self._scan, self._choices)
        return _report_steps(read, folder, colours, plotting.own_folder())

    def finish(self, _context: bpy.types.Context, result: Any) -> str:
        """Say what was written."""
        return f"Wrote {len(result)} files to {result[0].parent}."


def _out_of_date(scan: bpy.types.Object) -> ReportError:
    return ReportError(
        store.data_of(scan).state_reason,
        subject=scan.name,
        remedy="Check the crown again before exporting.",
    )


def _can_export(operator: Any, context: bpy.types.Context) -> bool:
    if not ready.has_result(operator, context):
        return False
    data = store.data_of(ready.chosen_scan(context))
    if data.state == "OUT_OF_DATE":
        operator.poll_message_set(f"{data.state_reason} Check again first")
        return False
    return True


def _report_steps(
    read: tuple[DesignInput, ScanInput, Mapping[str, Any]],
    folder: Path,
    colours: Mapping[str, Any],
    fonts: Path | None,
) -> Steps[tuple[Path, ...]]:
    from ...standalone_core.explain import explained_steps
    from ...standalone_core.report.check.output import write_check_steps

    result = yield from scaled(inputs.check_input_steps(*read), 0.0, 0.5)
    result = yield from scaled(explained_steps(result), 0.5, 0.65)
    yield from scaled(plotting.loading_steps(fonts), 0.65, 0.7)
    return (yield from scaled(write_check_steps(result, folder, **colours), 0.7, 1.0))


def _number(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else ""


CLASSES = (FramePatch, CopyTable, ExportReport, WriteReport)
