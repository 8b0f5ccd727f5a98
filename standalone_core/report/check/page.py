"""``check.html``: the whole result on one self-contained page."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...areas.support_marks import mark_of
from ...deviation.direction import Direction, other_direction
from ...deviation.margin_profile import why_no_margin_profile
from ...deviation.measures import AreaMeasures
from ...deviation.support_marks import MARK_WORDS
from ...shares import share_words
from ...words.cautions import CAUTIONS
from ...words.names import (
    DIRECTION_WORDS,
    MARK_KIND_WORDS,
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    WITHIN,
    area_words,
)
from ...words.text import NO_VALUE, micrometres
from ..drawing.deviation_colours import PALETTES
from ..drawing.histogram import Histogram
from ..drawing.legend import Legend, number
from ..drawing.pictures import Pictures
from ..drawing.svg_layout import Plot, histogram_plot, legend_plot
from .causes_page import WhyPart, why_part
from .margin_plot import margin_plot
from .margin_words import angle_words, margin_details, margin_line
from .sentences import (
    SHORT_VERDICTS,
    SIGN,
    TERMS,
    headline,
    limits_of_the_numbers,
    marks_line,
    patch_areas,
    patch_kind,
    patch_limit_um,
    patch_line,
    status_words,
    superimposition_lines,
    surface_words,
    unmatched_lines,
)
from .setting_words import setting_tables

if TYPE_CHECKING:
    from jinja2 import Environment

    from ...check_result import CheckResult

TEMPLATES = Path(__file__).resolve().parents[1] / "templates"
PATCHES_SHOWN = 20


def check_page(
    result: CheckResult,
    *,
    legend: Legend,
    histograms: Sequence[Histogram],
    pictures: Pictures,
    written: datetime,
    cause_maps: Pictures | None = None,
) -> str:
    """Fill the page of a check.

    Parameters
    ----------
    result : CheckResult
    legend : Legend
        Of the pictures; its limit is that of the histograms too.
    histograms : sequence of Histogram
    pictures : Pictures
        Put into the page; where there are none it says why and how to get them.
    written : datetime
        Shown as the date of the report.
    cause_maps : Pictures, optional
        What each stated cause makes, and what is left.

    Returns
    -------
    str
        HTML that needs no other file and no network. Every text in it is escaped.
    """
    way = result.settings.direction
    by_direction = _by_direction(result.measures, way)
    judged_rows = {row.area: row for row in by_direction[way]}
    return (
        page_environment()
        .get_template("check.html")
        .render(
            result=result,
            headline=headline(result.verdicts),
            written=written,
            judged=[v for v in result.verdicts if v.verdict != NO_TOLERANCE],
            by_direction=by_direction,
            way=way,
            other_way=other_direction(way),
            legend=legend,
            legend_plot=legend_plot(legend),
            palette=PALETTES[legend.palette],
            histograms=_with_plots(histograms, judged_rows, legend.palette),
            pictures=[(p.view, base64.b64encode(p.png).decode("ascii")) for p in pictures.pictures],
            pictures_reason=pictures.reason,
            superimposition=superimposition_lines(result.superimposition),
            limits=limits_of_the_numbers(result),
            settings=setting_tables(result.settings),
            patch_line=patch_line(result),
            patch_limit_um=patch_limit_um(result.settings),
            patches_shown=PATCHES_SHOWN,
            marks_line=marks_line(result.marks),
            why=_why_part(result, cause_maps),
            **_margin_part(result, legend.palette),
            unmatched_lines=unmatched_lines(result),
        )
    )


def _with_plots(
    histograms: Iterable[Histogram], rows: Mapping[str, AreaMeasures], palette: str
) -> list[tuple[Histogram, AreaMeasures, Plot]]:
    """Return the histograms of areas with a row, each with that row and its plot."""
    return [
        (h, rows[h.area], histogram_plot(h, rows[h.area].tolerance_um, palette))
        for h in histograms
        if h.area in rows
    ]


def _by_direction(
    measures: Iterable[AreaMeasures], judged: Direction
) -> dict[str, list[AreaMeasures]]:
    """Return the rows of each direction, the judged one first.

    Without support marks, which have a table of their own.
    """
    rows: dict[str, list[AreaMeasures]] = {judged: []}
    for row in measures:
        if not mark_of(row.area):
            rows.setdefault(row.direction, []).append(row)
    return rows


def _why_part(result: CheckResult, maps: Pictures | None) -> WhyPart | None:
    if result.causes is None:
        return None
    return why_part(result.causes, () if maps is None else maps.pictures)


def _margin_part(result: CheckResult, palette: str) -> dict[str, Any]:
    """Return what the page shows of the margin line."""
    missing = {"margin_missing": why_no_margin_profile(result.area_set)}
    profile = result.margin_profile
    if profile is None:
        nothing = {"margin_line": "", "margin_details": (), "margin_angles": ""}
        return {**missing, **nothing, "margin_plot": None}
    return {
        **missing,
        "margin_line": margin_line(profile.summary),
        "margin_details": margin_details(profile.summary),
        "margin_angles": angle_words(profile.directions),
        "margin_plot": margin_plot(profile, palette),
    }


def page_environment() -> Environment:
    """Return what fills a page: every text escaped, every unknown name an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(area=area_words, um=micrometres, percent=share_words, number=number)
    environment.filters.update(surface=surface_words, status=status_words)
    environment.filters.update(patch_kind=patch_kind, patch_areas=patch_areas)
    environment.filters.update(css_string=css_string)
    environment.globals.update(
        cautions=CAUTIONS,
        terms=TERMS,
        sign=SIGN,
        short_verdicts=SHORT_VERDICTS,
        mark_words=MARK_WORDS,
        mark_kinds=MARK_KIND_WORDS,
        direction_words=DIRECTION_WORDS,
        verdict_signs={WITHIN: "✓", OUTSIDE: "✗", NOT_DECIDABLE: "?", NO_TOLERANCE: NO_VALUE},
    )
    return environment


def css_string(text: str) -> str:
    """Write a text for a string of a style sheet: all but letters, digits and spaces by code."""
    return "".join(c if c == " " or c.isalnum() else f"\\{ord(c):x} " for c in text)
