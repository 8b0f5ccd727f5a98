"""The study of all listed scans: run it, read it, see it on the design."""

import webbrowser
from pathlib import Path
from typing import Any

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Steps, scaled
from ...standalone_core.study.measuring.run import run_study_steps
from ...standalone_core.words.text import count_words
from .. import identifiers
from ..blender.job import JobOperator
from ..blender.session import Answer, manager_of, scene_of
from ..drawing import colour_map
from ..study import export, group_map, study_scene, study_store, summary
from ..study.export import StudyInput
from ..study.file import RESULTS, STUDY_FILE
from . import ready


class RunStudy(JobOperator, bpy.types.Operator):
    """Measure all listed scans that have a group, and compare the groups."""

    bl_idname = identifiers.RUN_STUDY
    bl_label = "Run Study"
    bl_description = (
        "Measure every listed scan that has a group, compare the groups, and write meshes, study "
        "file and report to the folder. What is measured is kept there: a second run does only "
        "what changed. Scans are not moved"
    )
    bl_options = {"UNDO"}  # noqa: RUF012
    writes_files = True
    after_cancel = "nothing was changed here, and what was measured is kept in the folder"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design, scans with groups and a folder."""
        return ready.has_design(cls, context) and _can_run(cls, context)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read design and scans, one at a step."""
        self._read = yield from export.read_steps(context)

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Return the steps of the whole study."""
        return _study_steps(self._read)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Keep the results on the design."""
        yield from study_store.keep_steps(self._read, result)
        colour_map.refresh(scene_of(context))
        left = len(result.run.left_out) + len(self._read.unreadable)
        said = f"Measured {count_words(len(result.run.crowns), 'crown')}"
        said += f"; {left} left out" if left else ""
        return f"{said}. The report is in {self._read.folder / RESULTS}."


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


class CopyStudyCommand(bpy.types.Operator):
    """Copy the command that makes the report with its figures."""

    bl_idname = identifiers.COPY_STUDY_COMMAND
    bl_label = "Copy Command"
    bl_description = (
        "Copy the line that runs this very study on the command line, which adds the figures to "
        "the report, and pictures of the maps where matplotlib is installed"
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a study."""
        return _has_study(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Copy it."""
        folder = study_store.folder_of(scene_of(context))
        if folder is None:
            where = study_store.kept_study(scene_of(context))["folder"]
            self.report({"ERROR"}, f"{where}: the study is no longer there. Run it again.")
            return {"CANCELLED"}
        command = command_for(folder)
        manager_of(context).clipboard = command
        self.report({"INFO"}, f"Copied: {command}")
        return {"FINISHED"}


def command_for(folder: Path) -> str:
    """Return the command line that runs the study in a folder."""
    return f'cuspwise study "{folder / STUDY_FILE}"'


def _study_steps(read: StudyInput) -> Steps[summary.Outcome]:
    """Write the files, measure, compare and report; touches nothing of Blender's."""
    # scipy.stats takes as long to load as all the rest of the extension.
    from ...standalone_core.report.study.output import write_study_steps
    from ...standalone_core.study.analysis.analyse import analyse_study_steps

    plan = yield from scaled(export.export_steps(read), 0.0, 0.1)
    results = read.folder / RESULTS
    run = yield from scaled(run_study_steps(plan, results), 0.1, 0.85)
    analysis = yield from scaled(analyse_study_steps(run), 0.85, 0.95)
    writing = write_study_steps(run, analysis, results, pictures="no")
    written = yield from scaled(writing, 0.95, 1.0)
    return summary.Outcome(run, analysis, len(written))


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


CLASSES = (RunStudy, CopyStudyTable, ShowGroupMap, OpenStudyReport, CopyStudyCommand)
