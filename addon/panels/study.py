"""The study in the sidebar: what is asked, the answer, the table, the maps."""

from pathlib import Path
from typing import Any

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.report.study.sentences import mean_and_sd, unit_of
from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..study import group_map, study_scene, study_store, summary
from .base import SidebarPanel, beside, draw_job, say
from .study_question import draw_question

STATUS_ICONS: dict[str, Any] = {
    "good": "CHECKMARK",
    "bad": "CANCEL",
    "open": "QUESTION",
    "note": "INFO",
}
LINES_SHOWN = 6


class StudyPanel(SidebarPanel, bpy.types.Panel):
    """Measure all scans, and compare the groups."""

    bl_idname = "CUSPWISE_PT_study"
    bl_label = "Study"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw what takes part, the button and the answer."""
        layout, scene = self.layout, scene_of(context)
        for number, line in enumerate(study_scene.listing_lines(study_scene.listing_of(scene))):
            say(layout, context, line, "ERROR" if number else "INFO")
        chosen = settings_of(context).study
        layout.prop(chosen, "folder")
        _draw_folder(layout, context)
        _draw_question(layout, context)
        layout.prop(chosen, "keep_crowns")
        draw_job(layout, context)
        main = layout.column()
        main.scale_y = 1.4
        main.operator(identifiers.RUN_STUDY, icon="PLAY")
        kept = study_store.study_of(scene)
        if kept is None:
            other = study_store.is_of_another_version(scene)
            words = "Made with another version; run it again." if other else "Not run yet."
            say(layout, context, words)
            return
        reason = study_store.why_out_of_date(scene)
        if reason:
            say(layout, context, f"Out of date: {reason} Run the study again.", "ERROR")
        for line in kept["opening"]:
            say(layout, context, line["sentence"], STATUS_ICONS[line["status"]])
        _draw_left_out(layout, context, kept)


class StudyTablePanel(SidebarPanel, bpy.types.Panel):
    """Numbers of all groups."""

    bl_idname = "CUSPWISE_PT_study_table"
    bl_parent_id = StudyPanel.bl_idname
    bl_label = "Table"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a study."""
        return study_store.study_of(scene_of(context)) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the groups side by side in one area by one measure."""
        layout, chosen = self.layout, settings_of(context).study
        kept = study_store.kept_study(scene_of(context))
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
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a study."""
        return study_store.study_of(scene_of(context)) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the choice of the map, and its colours."""
        layout, settings = self.layout, settings_of(context)
        chosen, kept = settings.study, study_store.kept_study(scene_of(context))
        layout.prop(chosen, "map_kind")
        difference = chosen.map_kind == "difference"
        layout.prop(chosen, "map_pair" if difference else "map_group")
        if chosen.shown and settings.show_colours:
            layout.operator(identifiers.REMOVE_COLOUR_MAP, icon="X")
            _draw_colours(layout, settings)
        else:
            layout.operator(identifiers.SHOW_GROUP_MAP, icon="SHADING_RENDERED")
        if group_map.row_of(scene_of(context)) is None:
            say(layout, context, f"{group_map.problem_with(scene_of(context))}.", "ERROR")
        elif difference:
            say(layout, context, kept["caveat"], "INFO")


class StudyReportPanel(SidebarPanel, bpy.types.Panel):
    """The study's files."""

    bl_idname = "CUSPWISE_PT_study_report"
    bl_parent_id = StudyPanel.bl_idname
    bl_label = "Report"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a study."""
        return study_store.study_of(scene_of(context)) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the ways to the report."""
        layout, kept = self.layout, study_store.kept_study(scene_of(context))
        layout.operator(identifiers.OPEN_STUDY_REPORT, icon="URL")
        folder = study_store.folder_of(scene_of(context))
        where = f"{kept['folder']}, which is gone" if folder is None else _where(folder)
        say(layout, context, f"Page, tables, figures and study file are in {where}.")


def _draw_question(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw what the study is to answer, which is chosen before the crowns are measured."""
    header, body = layout.panel("cuspwise_study_question", default_closed=True)
    header.label(text="Study Question")
    if body is None:
        return
    draw_question(body, context)


def _draw_folder(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Say where the study goes, where nothing was chosen."""
    try:
        folder = study_scene.folder_of(scene_of(context))
    except CuspwiseError as error:
        say(layout, context, error.remedy, "ERROR")
        return
    if not settings_of(context).study.folder.strip():
        say(layout, context, f"Goes to {_where(folder)}.")


def _where(folder: Path) -> str:
    """Say where a folder is, in few words if it lies beside the .blend."""
    saved = bpy.data.filepath
    if saved and Path(saved).parent == folder.parent:
        return f"{folder.name}, beside the .blend"
    return str(folder)


def _draw_left_out(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: dict[str, Any]
) -> None:
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
        say(box, context, "Read before trusting the numbers", "ERROR")
        for line in warnings[:LINES_SHOWN]:
            say(box, context, line)
        if len(warnings) > LINES_SHOWN:
            say(box, context, f"{len(warnings) - LINES_SHOWN} more are in the report.")


def _draw_table(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    kept: dict[str, Any],
    area: str,
    measure: str,
) -> None:
    """Draw two lines per group, since four columns would not fit a sidebar."""
    titles = {group["name"]: group["title"] for group in kept["groups"]}
    box = layout.box()
    unit = unit_of(measure)
    beside(box, context, (f"Trueness ({unit})", f"Precision ({unit})"), ())
    for row in summary.rows_for(kept, area, measure):
        column = box.column(align=True)
        say(column, context, f"{titles[row['group']]}, n = {row['n']}")
        true = mean_and_sd(row["mean"], row["sd"], measure)
        precise = mean_and_sd(row["precision_mean"], row["precision_sd"], measure)
        written = (f"trueness {true} {unit}", f"precision {precise} {unit}")
        beside(column, context, (true, precise), written)
    say(box, context, "Mean ± SD over crowns; precision: distance from the group's middle.")


def _draw_sentences(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: dict[str, Any], chosen: Any
) -> None:
    """Say what the numbers of this area and measure mean."""
    wanted = (chosen.area, chosen.measure)
    said = ""
    for aspect, line in summary.comparison_lines(kept, *wanted):
        if aspect != said:
            say(layout, context, f"{aspect}, difference (interval):")
        said = aspect
        say(layout, context, line)
    for row in summary.rows_for(kept, *wanted):
        if row["reason"]:
            say(layout, context, row["reason"], "ERROR")


def _draw_colours(layout: bpy.types.UILayout, settings: Any) -> None:
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
    StudyTablePanel,
    StudyMapPanel,
    StudyReportPanel,
)
