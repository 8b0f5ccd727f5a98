"""What a study is to answer, and how: chosen before its crowns are measured."""

from __future__ import annotations

from typing import Any

import bpy

from ...standalone_core.study.plan import SECONDARY, area_and_measure
from ...standalone_core.words.names import area_words, measure_words
from ...standalone_core.words.text import capital
from .. import identifiers
from ..blender.session import settings_of
from .area_rows import draw_rows
from .base import choose, say


def draw_question(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw the main comparison, and closed what few studies change."""
    chosen = settings_of(context).study
    say(layout, context, "Choose these before the crowns are measured, and leave them then.")
    column = layout.column()
    for name in ("primary_area", "primary_measure"):
        column.label(text=f"{chosen.bl_rna.properties[name].name}:")
        column.prop(chosen, name, text="")
    choose(column, context, chosen, "equivalence_um", "000.0")
    draw_rows(layout, context, "equivalences", "Limit of an Area")
    _draw_part(layout, context, "comparisons", "Further Comparisons", _draw_comparisons)
    _draw_part(layout, context, "analysis", "Analysis", _draw_analysis)
    _draw_part(layout, context, "report", "Report and Earlier Study", _draw_report)
    say(
        layout,
        context,
        "Tolerances, Measuring Points and the direction judged first: under Deviation. Start "
        "From and Best Fit: under Superimpose. Thresholds: under Areas.",
    )


def _draw_part(
    layout: bpy.types.UILayout, context: bpy.types.Context, name: str, title: str, draw: Any
) -> None:
    header, body = layout.panel(f"cuspwise_study_{name}", default_closed=True)
    header.label(text=title)
    if body is not None:
        draw(body, context)


def _draw_comparisons(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw what is tested after the main comparison, in its order."""
    chosen = settings_of(context).study
    layout.prop(chosen, "own_comparisons")
    if not chosen.own_comparisons:
        for place in SECONDARY:
            say(layout, context, _words(*area_and_measure(place)), "DOT")
        return
    for number, row in enumerate(chosen.comparisons):
        line = layout.row(align=True)
        say(line.column(), context, _words(row.area, row.measure))
        up = line.operator(identifiers.MOVE_COMPARISON, text="", icon="TRIA_UP")
        gone = line.operator(identifiers.REMOVE_COMPARISON, text="", icon="X")
        up.number = gone.number = number
    if not chosen.comparisons:
        say(layout, context, "None: all others are exploratory.")
    layout.operator(identifiers.ADD_COMPARISON, icon="ADD")


def _draw_analysis(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    chosen = settings_of(context).study
    layout.label(text="Test that decides:")
    layout.prop(chosen, "lead", text="")
    column = layout.column(align=True)
    for name in ("alpha", "confidence", "next_crown_content", "odd_false_alarm"):
        choose(column, context, chosen, name, "0.000")
    column = layout.column(align=True)
    choose(column, context, chosen, "resamples", "00000")
    choose(column, context, chosen, "seed", "0000")
    layout.label(text="Measures:")
    layout.column(align=True).prop(chosen, "measures")


def _draw_report(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    chosen = settings_of(context).study
    for name in ("question", "sample_size_rationale", "earlier"):
        layout.label(text=f"{chosen.bl_rna.properties[name].name}:")
        layout.prop(chosen, name, text="")


def _words(area: str, measure: str) -> str:
    return f"{capital(area_words(area))}: {measure_words(measure)}"
