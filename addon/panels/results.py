"""The panel of the results: verdicts, numbers of every area, the margin."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import bpy

from ...standalone_core.deviation.direction import other_direction
from ...standalone_core.deviation.margin_profile import MarginProfile
from ...standalone_core.deviation.verdict import Verdict
from ...standalone_core.report.check.margin_words import margin_details, margin_line
from ...standalone_core.shares import share_words
from ...standalone_core.words.names import (
    NO_TOLERANCE,
    NOT_DECIDABLE,
    VERDICT_WORDS,
    area_words,
)
from ...standalone_core.words.text import capital, micrometres
from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check import kept_points, store, verdict_lines
from ..check.scene_choices import tolerances_of
from ..drawing import colour_map
from .base import SidebarPanel, say
from .scans import LINES_SHOWN, opening_of, warnings_of

VERDICT_ICONS: dict[str, Any] = dict(verdict_lines.VERDICT_ICONS)


class ResultsPanel(SidebarPanel, bpy.types.Panel):
    """Numbers and verdicts."""

    bl_idname = "CUSPWISE_PT_results"
    bl_label = "Results"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the areas' numbers, margin, patches and the ways out."""
        layout, scan = self.layout, colour_map.selected_scan(scene_of(context))
        kept = store.shown_result_of(scan) if scan else None
        if scan is None or kept is None:
            say(layout, context, "Nothing measured yet. Check Crown does it all.")
            return
        data = store.data_of(scan)
        if data.state == "OUT_OF_DATE":
            say(layout, context, f"Out of date: {data.state_reason} Check again.", "ERROR")
        _draw_areas(layout, context, kept)
        profile = kept_points.read_profile(data.result_points, kept)
        if profile is not None:
            _draw_margin(layout, context, profile)
        _draw_rest(layout, context, warnings_of(kept)[LINES_SHOWN:])
        row = layout.row(align=True)
        row.operator(identifiers.COPY_TABLE, icon="COPYDOWN")
        row.operator(identifiers.EXPORT_REPORT, icon="EXPORT")


def _draw_areas(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: Mapping[str, Any]
) -> None:
    """Draw the areas, each with the reason for its verdict."""
    verdicts = {verdict.area: verdict for verdict in store.verdicts_of(kept)}
    first = store.direction_of(kept)
    back = {row["area"]: row for row in store.rows_of(kept, other_direction(first))}
    judged_by, above = (kept["check"], tolerances_of(kept["choices"])), opening_of(kept)
    for row in store.rows_of(kept):
        verdict = verdicts[row["area"]]
        why = verdict_lines.reasons(verdict, *judged_by)
        if any(line in above.reasons for line in why):
            why = ("For the reason given at the top.",)
        _draw_area(layout, context, row, back.get(row["area"]), verdict, why)


def _draw_area(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    row: Mapping[str, Any],
    back: Mapping[str, Any] | None,
    verdict: Verdict,
    why: Sequence[str],
) -> None:
    """Draw the numbers of one area line by line: a row of seven would not fit a sidebar."""
    box = layout.box().column(align=True)
    name = area_words(row["area"])
    title = capital(name)
    if verdict.verdict not in ("", NO_TOLERANCE):
        title += f": {VERDICT_WORDS[verdict.verdict]}"
    say(box, context, title, VERDICT_ICONS.get(verdict.verdict, "NONE"))
    for line in why:
        say(box, context, line)
    size, rms, spread = (
        micrometres(row[number]) for number in ("mean_abs_um", "rms_um", "half_p90_p10_um")
    )
    mean = micrometres(row["mean_um"], signed=True)
    last = f"coverage {share_words(row['coverage'])}"
    if math.isfinite(row["within_tolerance"]):
        last = f"{share_words(row['within_tolerance'])} in ±{row['tolerance_um']:g} µm · {last}"
    lines = [
        f"mean absolute {size} · RMS {rms} µm",
        verdict_lines.back_line(back) if back else "",
        f"(P90−P10)/2 {spread} · mean {mean} µm",
        verdict_lines.unmatched_line(verdict),
        last,
    ]
    for line in filter(None, lines):
        say(box, context, line)
    if row["reason"] and verdict.verdict != NOT_DECIDABLE:
        say(box, context, row["reason"], "ERROR")


def _draw_rest(
    layout: bpy.types.UILayout, context: bpy.types.Context, warnings: Sequence[str]
) -> None:
    """Draw the warnings that the top panel has no room for."""
    if warnings:
        box = layout.box()
        say(box, context, "Read before trusting the numbers, too:", "ERROR")
        for line in warnings:
            say(box, context, line)


def _draw_margin(
    layout: bpy.types.UILayout, context: bpy.types.Context, profile: MarginProfile
) -> None:
    """Say how far the margin is beyond its limits; at length where it is drawn."""
    settings = settings_of(context)
    box = layout.box()
    say(box, context, margin_line(profile.summary))
    icon: Any = "HIDE_OFF" if settings.show_margin else "HIDE_ON"
    box.prop(settings, "show_margin", icon=icon)
    if settings.show_margin:
        for line in margin_details(profile.summary):
            say(box, context, line)


CLASSES = (ResultsPanel,)
