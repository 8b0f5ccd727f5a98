"""The study in the sidebar: what is asked, the answer, the table, the maps."""

from pathlib import Path

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.report.study.sentences import mean_and_sd, unit_of
from .. import identifiers
from ..study import group_map, store, summary
from ..study import scene as study_scene
from .base import SidebarPanel, draw_job, say, settings_of

STATUS_ICONS = {"good": "CHECKMARK", "bad": "CANCEL", "open": "QUESTION", "note": "INFO"}
LINES_SHOWN = 6


class StudyPanel(SidebarPanel, bpy.types.Panel):
    """Measure all scans, and compare the groups."""

    bl_idname = "CUSPWISE_PT_study"
    bl_label = "Study"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context):
        """Draw what takes part, the button and the answer."""
        layout, scene = self.layout, context.scene
        for number, line in enumerate(study_scene.listing_lines(study_scene.listing_of(scene))):
            say(layout, context, line, "ERROR" if number else "INFO")
        chosen = settings_of(context).study
        layout.prop(chosen, "folder")
        _draw_folder(layout, context)
        draw_job(layout, context)
        main = layout.column()
        main.scale_y = 1.4
        main.operator(identifiers.RUN_STUDY, icon="PLAY")
        kept = store.study_of(scene)
        if kept is None:
            other = store.is_of_another_version(scene)
            words = "Made with another version; run it again." if other else "Not run yet."
            say(layout, context, words)
            return
        stale = store.why_stale(scene)
        if stale:
            say(layout, context, f"Stale: {stale} Run the study again.", "ERROR")
        for line in kept["opening"]:
            say(layout, context, line["sentence"], STATUS_ICONS[line["status"]])
        _draw_left_out(layout, context, kept)


class StudyQuestionPanel(SidebarPanel, bpy.types.Panel):
    """What the study is to answer."""

    bl_idname = "CUSPWISE_PT_study_question"
    bl_parent_id = StudyPanel.bl_idname
    bl_label = "Question"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context):
        """Draw the choices to be made before the crowns are measured."""
        layout, chosen = self.layout, settings_of(context).study
        say(layout, context, "Choose these before the crowns are measured, and leave them then.")
        column = layout.column()
        column.prop(chosen, "primary_area")
        column.prop(chosen, "primary_measure")
        column.prop(chosen, "equivalence_um")
        say(layout, context, "Tolerances and points: under Deviation. Start: under Superimpose.")


class StudyTablePanel(SidebarPanel, bpy.types.Panel):
    """Numbers of all groups."""

    bl_idname = "CUSPWISE_PT_study_table"
    bl_parent_id = StudyPanel.bl_idname
    bl_label = "Table"

    @classmethod
    def poll(cls, context):
        """Ask for a study."""
        return store.study_of(context.scene) is not None

    def draw(self, context):
        """Draw the groups side by side in one area by one measure."""
        layout, chosen = self.layout, settings_of(context).study
        kept = store.study_of(context.scene)
        layout.prop(chosen, "area")
        layout.prop(chosen, "measure")
        _draw_table(layout, context, kept, chosen.area, chosen.measure)
        _draw_sentences(layout, context, kept, chosen)
        layout.operator(identifiers.COPY_STUDY_TABLE, icon="COPYDOWN")


class StudyMapPanel(SidebarPanel, bpy.types.Panel):
    """Maps of the groups on the design."""

    bl_idname = "CUSPWISE_PT_study_map"
    bl_parent_id = StudyPanel.bl_idname
    bl_label = "Map on the Design"

    @classmethod
    def poll(cls, context):
        """Ask for a study."""
        return store.study_of(context.scene) is not None

    def draw(self, context):
        """Draw the choice of the map, and its colours."""
        layout, settings = self.layout, settings_of(context)
        chosen, kept = settings.study, store.study_of(context.scene)
        layout.prop(chosen, "map_kind")
        difference = chosen.map_kind == "difference"
        layout.prop(chosen, "map_pair" if difference else "map_group")
        if chosen.shown and settings.show_colours:
            layout.operator(identifiers.REMOVE_COLOUR_MAP, icon="X")
            _draw_colours(layout, settings)
        else:
            layout.operator(identifiers.SHOW_GROUP_MAP, icon="SHADING_RENDERED")
        if group_map.row_of(context.scene) is None:
            say(layout, context, f"{group_map.problem_with(context.scene)}.", "ERROR")
        elif difference:
            say(layout, context, kept["caveat"], "INFO")


class StudyReportPanel(SidebarPanel, bpy.types.Panel):
    """The study's files."""

    bl_idname = "CUSPWISE_PT_study_report"
    bl_parent_id = StudyPanel.bl_idname
    bl_label = "Report"

    @classmethod
    def poll(cls, context):
        """Ask for a study."""
        return store.study_of(context.scene) is not None

    def draw(self, context):
        """Draw the ways to the report."""
        layout, kept = self.layout, store.study_of(context.scene)
        layout.operator(identifiers.OPEN_STUDY_REPORT, icon="URL")
        folder = store.folder_of(context.scene)
        where = f"{kept['folder']}, which is gone" if folder is None else _where(folder)
        say(layout, context, f"Page, tables and study file are in {where}.")
        say(
            layout,
            context,
            "Figures and pictures of the maps need libraries that Blender lacks: the command line "
            "adds them, from the same files.",
        )
        layout.operator(identifiers.COPY_STUDY_COMMAND, icon="CONSOLE")


def _draw_folder(layout, context):
    """Say where the study goes, where nothing was chosen."""
    try:
        folder = study_scene.folder_of(context.scene)
    except CuspwiseError as error:
        say(layout, context, error.remedy, "ERROR")
        return
    if not settings_of(context).study.folder.strip():
        say(layout, context, f"Goes to {_where(folder)}.")


def _where(folder):
    """Say where a folder is, in few words if it lies beside the .blend."""
    saved = bpy.data.filepath
    if saved and Path(saved).parent == folder.parent:
        return f"{folder.name}, beside the .blend"
    return str(folder)


def _draw_left_out(layout, context, kept):
    """Say which scans are not in the numbers, and what else must be known about them."""
    for row in kept["left_out"][:LINES_SHOWN]:
        words = f"Left out: {row['name']} ({row['group']}). {row['reason']} {row['remedy']}"
        say(layout, context, words, "CANCEL")
    rest = len(kept["left_out"]) - LINES_SHOWN
    if rest > 0:
        say(layout, context, f"{rest} more were left out; the report names them.", "CANCEL")
    warnings = kept["warnings"]
    if warnings:
        box = layout.box()
        box.label(text="Read before trusting the numbers", icon="ERROR")
        for line in warnings[:LINES_SHOWN]:
            say(box, context, line)
        if len(warnings) > LINES_SHOWN:
            say(box, context, f"{len(warnings) - LINES_SHOWN} more are in the report.")


def _draw_table(layout, context, kept, area, measure):
    """Draw two lines per group, since four columns would not fit a sidebar."""
    titles = {group["name"]: group["title"] for group in kept["groups"]}
    box = layout.box()
    unit = unit_of(measure)
    _draw_row(box, (f"Trueness ({unit})", f"Precision ({unit})"))
    for row in summary.rows_for(kept, area, measure):
        column = box.column(align=True)
        column.label(text=f"{titles[row['group']]}, n = {row['n']}")
        true = mean_and_sd(row["mean"], row["sd"], measure)
        precise = mean_and_sd(row["pair_mean"], row["pair_sd"], measure)
        _draw_row(column, (true, precise))
    say(box, context, "Mean ± SD; precision over all pairs of the group.")


def _draw_row(column, cells):
    split = column.split(factor=0.5)
    for text in cells:
        split.label(text=text)


def _draw_sentences(layout, context, kept, chosen):
    """Say what the numbers of this area and measure mean."""
    wanted = (chosen.area, chosen.measure)
    said = ""
    for aspect, line in summary.comparison_lines(kept, *wanted):
        if aspect != said:
            layout.label(text=f"{aspect}, difference (interval):")
        said = aspect
        say(layout, context, line)
    for row in summary.rows_for(kept, *wanted):
        if row["reason"]:
            say(layout, context, row["reason"], "ERROR")


def _draw_colours(layout, settings):
    """Draw the limits and the palette, where the map has a choice of them."""
    if settings.study.map_kind != "share":
        layout.prop(settings, "limit_is_automatic")
        row = layout.row()
        row.enabled = not settings.limit_is_automatic
        row.prop(settings, "limit_um")
    if settings.study.map_kind not in ("sd", "share"):
        layout.prop(settings, "palette")


CLASSES = (
    StudyPanel,
    StudyQuestionPanel,
    StudyTablePanel,
    StudyMapPanel,
    StudyReportPanel,
)
