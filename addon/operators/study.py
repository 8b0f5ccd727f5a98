"""The study of all listed scans: run it, read it, see it on the design."""

import webbrowser
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Steps, scaled
from ...standalone_core.words.text import count_words
from .. import identifiers
from ..blender import plotting
from ..blender.rounds import RoundsOperator
from ..blender.session import Answer, manager_of, scene_of, settings_of
from ..check import all_scans, store
from ..drawing import colour_map
from ..study import export, group_map, study_crowns, study_scene, study_store, summary
from ..study.export import StudyInput
from ..study.file import RESULTS
from ..study.study_crowns import StudyCrown
from . import ready
from .superimposition import move_scan


class RunStudy(RoundsOperator, bpy.types.Operator):
    """Measure all listed scans that have a group, compare the groups, show every crown's own."""

    bl_idname = identifiers.RUN_STUDY
    bl_label = "Run Study"
    bl_description = (
        "Measure every listed scan that has a group, compare the groups, and write meshes, study "
        "file and report to the folder. What is measured is kept there: a second run does only "
        "what changed. With Show Each Crown, every scan is laid on the design and carries its own "
        "numbers, as after Check All"
    )
    bl_options = {"UNDO"}  # noqa: RUF012
    writes_files = True
    after_cancel = "nothing was changed here, and what was measured is kept in the folder"
    after_esc = "Esc ends it; what is measured by then is kept in the folder."
    before = 0.9

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design, scans with groups and a folder."""
        return ready.can_measure_design(cls, context) and _can_run(cls, context)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read design and scans, one at a step."""
        self._read = yield from export.read_steps(context)

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Return the steps of the whole study."""
        return _study_steps(self._read, plotting.own_folder())

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Keep the results on the design."""
        self.changed = True
        self._outcome = result
        yield from study_store.keep_steps(self._read, result)
        colour_map.refresh(scene_of(context))
        left = len(result.run.left_out) + len(self._read.unreadable)
        said = f"Measured {count_words(len(result.run.crowns), 'crown')}"
        said += f"; {left} left out" if left else ""
        return f"{said}. The report is in {self._read.folder / RESULTS}."

    def rounds(self, context: bpy.types.Context) -> Steps[Sequence[StudyCrown]]:
        """Return the crowns that do not carry current numbers of their own yet."""
        if not settings_of(context).study.keep_crowns:
            return ()
        return (yield from study_crowns.due_steps(scene_of(context), self._read, self._outcome.run))

    def read_round(self, context: bpy.types.Context, one: StudyCrown) -> Steps[None]:
        """Read the scan as it was written."""
        self._scan = yield from study_crowns.read_steps(context, self._read, one)

    def start_round(self, _context: bpy.types.Context, one: StudyCrown) -> Steps[Any]:
        """Return what the study measured of it."""
        from ...standalone_core.study.measuring.crown_check import crown_check_steps

        run, ready = self._outcome.run, self._outcome.ready
        return crown_check_steps(run, ready, one.crown, self._read.folder / RESULTS)

    def finish_round(self, context: bpy.types.Context, one: StudyCrown, result: Any) -> Steps[None]:
        """Lay the scan on the design, and keep its numbers on it."""
        design, scene = self._read.design, scene_of(context)
        study_crowns.note_place(one, result.superimposition.T_design_scan)
        move_scan(context, design, self._scan, result.superimposition)
        choices = study_crowns.choices_of(settings_of(context))
        yield from store.keep_steps(design, self._scan, result, choices, scene)

    def fail_round(self, _context: bpy.types.Context, one: StudyCrown, error: Any) -> None:
        """Note why a crown has no numbers of its own."""
        with suppress(ReferenceError):
            all_scans.note_problem(one.entry.scan, error)

    def told(self, context: bpy.types.Context, said: str) -> str:
        """Show one of the crowns that now lie in each other; say what became of their numbers."""
        if self.done and not settings_of(context).show_colours:
            all_scans.choose_one_with_numbers(scene_of(context))
            colour_map.show(context)
        else:
            colour_map.refresh(scene_of(context))
        if self.done == self.count:
            return said
        shown = f"{self.done} of {self.count} crowns carry their own numbers"
        return f"{said} {shown}; Check All measures the others.".lstrip()


class CopyStudyTable(bpy.types.Operator):
    """Copy the study's numbers to the clipboard."""

    bl_idname = identifiers.COPY_STUDY_TABLE
    bl_label = "Copy Study Table"
    bl_description = (
        "Copy trueness and precision of all groups, areas and measures as tab-separated text, for "
        "a spreadsheet"
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a study."""
        return _has_study(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Copy, and say so if the numbers are out of date."""
        kept = study_store.kept_study(scene_of(context))
        manager_of(context).clipboard = summary.table_text(kept)
        reason = study_store.refresh(scene_of(context))
        if reason:
            self.report(
                {"WARNING"}, f"Copied the table of the study, which is out of date: {reason}"
            )
        else:
            self.report({"INFO"}, "Copied the table of the study.")
        return {"FINISHED"}


class ShowGroupMap(bpy.types.Operator):
    """Show a group's map on the design."""

    bl_idname = identifiers.SHOW_GROUP_MAP
    bl_label = "Show Group Map"
    bl_description = (
        "Put the chosen map on the design, as an attribute and in colours, and hide the scans "
        "meanwhile. Remove Colour Map takes all of it away"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a study that holds the chosen map."""
        if not _has_study(cls, context):
            return False
        if group_map.row_of(scene_of(context)) is None:
            cls.poll_message_set(group_map.problem_with(scene_of(context)))
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Colour the design; say so if the study is out of date."""
        problem = group_map.problem_with(scene_of(context))
        if problem:
            self.report({"ERROR"}, problem)
            return {"CANCELLED"}
        reason = study_store.refresh(scene_of(context))
        colour_map.show_group_map(context)
        if reason:
            self.report({"WARNING"}, f"The map is out of date: {reason}")
        return {"FINISHED"}


class OpenStudyReport(bpy.types.Operator):
    """Open the study's page in the web browser."""

    bl_idname = identifiers.OPEN_STUDY_REPORT
    bl_label = "Open Report"
    bl_description = "Open the page that the last run of the study wrote, in the web browser"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a study."""
        return _has_study(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Open it, if it is still there."""
        folder = study_store.folder_of(scene_of(context))
        from ...standalone_core.report.study.output import PAGE

        page = None if folder is None else folder / RESULTS / PAGE
        if page is None or not page.is_file():
            where = study_store.kept_study(scene_of(context))["folder"]
            self.report({"ERROR"}, f"{where}: the report is no longer there. Run the study again.")
            return {"CANCELLED"}
        if not bpy.app.background:
            webbrowser.open(page.as_uri())
        self.report({"INFO"}, f"Opened {page}.")
        return {"FINISHED"}


def _study_steps(read: StudyInput, fonts: Path | None = None) -> Steps[summary.Outcome]:
    """Write the files, measure, compare and report; touches nothing of Blender's."""
    # scipy.stats takes as long to load as all the rest of the extension.
    from ...standalone_core.report.study.output import write_study_steps
    from ...standalone_core.study.analysis.analyse import analyse_study_steps
    from ...standalone_core.study.measuring.crown_check import study_design
    from ...standalone_core.study.measuring.run import run_study_steps

    plan = yield from scaled(export.export_steps(read), 0.0, 0.1)
    results = read.folder / RESULTS
    run = yield from scaled(run_study_steps(plan, results), 0.1, 0.75)
    analysis = yield from scaled(analyse_study_steps(run), 0.75, 0.8)
    yield from scaled(plotting.loading_steps(fonts), 0.8, 0.82)
    written = yield from scaled(write_study_steps(run, analysis, results), 0.82, 1.0)
    return summary.Outcome(run, analysis, len(written), study_design(run))


def _can_run(operator: Any, context: bpy.types.Context) -> bool:
    if not study_scene.listing_of(scene_of(context)).groups:
        operator.poll_message_set("Give the scans in the list a group each first")
        return False
    try:
        study_scene.folder_of(scene_of(context))
    except CuspwiseError as error:
        operator.poll_message_set(error.remedy)
        return False
    return True


def _has_study(operator: Any, context: bpy.types.Context) -> bool:
    if not ready.no_job(operator, context):
        return False
    if study_store.is_of_another_version(scene_of(context)):
        operator.poll_message_set("The study was made with another version; run it again")
        return False
    if study_store.study_of(scene_of(context)) is None:
        operator.poll_message_set("Run the study first")
        return False
    return True


CLASSES = (RunStudy, CopyStudyTable, ShowGroupMap, OpenStudyReport)
