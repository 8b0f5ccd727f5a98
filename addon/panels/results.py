"""The panel of the results: verdicts, numbers of every area, the margin."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import bpy

from ...standalone_core.deviation.margin_profile import MarginProfile
from ...standalone_core.deviation.verdict import Verdict
from ...standalone_core.report.check.margin_words import margin_details, margin_line
from ...standalone_core.shares import share_words
from ...standalone_core.words.names import (
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    VERDICT_WORDS,
    WITHIN,
    area_words,
)
from ...standalone_core.words.text import capital, micrometres
from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check import judging, kept_points, store, verdict_lines
from ..check.scene_choices import judging_choices, tolerances_of, why_unusual
from ..drawing import colour_map
from .base import SidebarPanel, say

VERDICT_ICONS: dict[str, Any] = {
    WITHIN: "CHECKMARK",
    OUTSIDE: "CANCEL",
    NOT_DECIDABLE: "QUESTION",
    NO_TOLERANCE: "NONE",
    "": "NONE",
}


class ResultsPanel(SidebarPanel, bpy.types.Panel):
    """Numbers and verdicts."""

    bl_idname = "CUSPWISE_PT_results"
    bl_label = "Results"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the verdict, the table and the ways out."""
        layout, scan = self.layout, colour_map.selected_scan(scene_of(context))
        kept = store.result_of(scan) if scan else None
        if scan is None or kept is None:
            say(layout, context, "Nothing measured yet. Check Crown does it all.")
            return
        data = store.data_of(scan)
        if data.state == "OUT_OF_DATE":
            say(layout, context, f"Out of date: {data.state_reason} Check again.", "ERROR")
        if judging.is_behind(kept, judging_choices(settings_of(context))):
            unusual = why_unusual(judging_choices(settings_of(context)))
            words = unusual or "Comparing with the new limits; below is what was before."
            say(layout, context, words, "ERROR" if unusual else "TIME")
        _draw_verdicts(layout, context, kept)
        profile = kept_points.read_profile(data.result_points, kept)
        if profile is not None:
            _draw_margin(layout, context, profile)
        warnings = kept["check"]["warnings"]
        if warnings:
            box = layout.box()
            box.label(text="Read before trusting the numbers", icon="ERROR")
            for line in warnings:
                say(box, context, line)
        row = layout.row(align=True)
        row.operator(identifiers.COPY_TABLE, icon="COPYDOWN")
        row.operator(identifiers.EXPORT_REPORT, icon="EXPORT")


def _draw_verdicts(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: dict[str, Any]
) -> None:
    """Draw all verdicts in a line, then the areas; what several share stands above them."""
    verdicts = {verdict.area: verdict for verdict in store.verdicts_of(kept)}
    above = verdict_lines.opening(tuple(verdicts.values()))
    say(layout, context, f"{above.title}.", VERDICT_ICONS[above.verdict])
    for line in above.reasons:
        say(layout, context, line)
    for line in above.caveats:
        say(layout, context, line, "INFO")
    back = {row["area"]: row for row in store.rows_of(kept, "scan_to_design")}
    tolerances = tolerances_of(kept["choices"])
    for row in store.rows_of(kept):
        verdict = verdicts[row["area"]]
        why = verdict_lines.reasons(verdict, kept["check"], tolerances)
        own = [line for line in why if line not in above.reasons]
        _draw_area(layout, context, row, back.get(row["area"]), verdict, own)


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
    box.label(text=title, icon=VERDICT_ICONS.get(verdict.verdict, "NONE"))
    for line in why:
        say(box, context, line)
    size, rms, spread = (
        micrometres(row[number]) for number in ("mean_abs_um", "rms_um", "half_p90_p10_um")
    )
    mean = micrometres(row["mean_um"], signed=True)
    box.label(text=f"mean absolute {size} · RMS {rms} µm")
    from_scan = verdict_lines.back_line(back) if back else ""
    if from_scan:
        box.label(text=from_scan)
    box.label(text=f"(P90−P10)/2 {spread} · mean {mean} µm")
    unmatched = verdict_lines.unmatched_line(verdict)
    if unmatched:
        box.label(text=unmatched)
    last = f"coverage {share_words(row['coverage'])}"
    if math.isfinite(row["within_tolerance"]):
        last = f"{share_words(row['within_tolerance'])} in ±{row['tolerance_um']:g} µm · {last}"
    box.label(text=last)
    if row["reason"] and verdict.verdict != NOT_DECIDABLE:
        say(box, context, row["reason"], "ERROR")


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
