"""``report.html``: a whole study on one self-contained page."""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, TypeAlias

from markupsafe import Markup

from ...causes.words import cause_words
from ...deviation.direction import covered_in
from ...deviation.verdict import matched_coverage
from ...fit.sentences import FIT_CAUTIONS
from ...fit.settings import FitSettings
from ...statistics.equivalence import OUTCOME_WORDS
from ...study.analysis.cause_comparisons import size_words
from ...study.analysis.cause_sentences import without_words
from ...study.analysis.document import MISSING_RULES
from ...study.analysis.examiner_agreement import coefficient
from ...study.analysis.fit_words import fit_words
from ...study.analysis.precision import distance_measures
from ...study.analysis.results.analysis import OddEffect, StudyAnalysis
from ...study.analysis.results.comparisons import Comparison, OverallRow, PrecisionComparison
from ...study.analysis.results.groups import PrecisionRow, ToleranceRow, TruenessRow
from ...study.analysis.sentences import OVERALL_WORDS, interval_words, p_words
from ...study.fit_plan import FIT_MEASURES
from ...study.measuring.results import StudyRun
from ...study.plan import GroupPlan
from ...study.plan_document import way_to
from ...words.cautions import CAUTIONS
from ...words.names import (
    DIRECTION_WORDS,
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    WITHIN,
    area_words,
    measure_words,
)
from ...words.text import capital
from ..check.page import page_environment
from ..check.setting_words import setting_tables
from ..drawing.amount_colours import GroupStyle, group_style
from ..drawing.deviation_colours import unmeasured_hex
from ..drawing.matplotlib_figure import Figure
from ..drawing.pictures import Pictures
from .crown_facts import crown_facts
from .earlier import earlier_part
from .examiner_words import AGREEMENT_WORDS, agreement_interval, agreement_value
from .fit_counts import marginal_gaps
from .fit_page import fit_part
from .fit_themes import all_described
from .maps import HEADS, StudyMaps
from .margin import margin_rows
from .methods import methods_text
from .sentences import (
    crown_words,
    mean_and_sd,
    opening_lines,
    short_measure,
    shown,
    titles_of,
    unit_of,
)

if TYPE_CHECKING:
    from jinja2 import Environment

STATUS_SIGNS = {"good": "✓", "bad": "✗", "open": "?", "note": "•"}
STATUS_WORDS = {"good": "yes", "bad": "no", "open": "undecided", "note": "note"}
TONES = {"good": WITHIN, "bad": OUTSIDE, "open": NOT_DECIDABLE, "note": NO_TOLERANCE}
SYMBOLS = {"o": "●", "s": "■", "^": "▲", "D": "◆", "v": "▼", "P": "✚", "X": "✖", "*": "★"}
TOPICS = {
    "tolerance": "Does each way of production keep its tolerances?",
    "unmatched": "Whose scan has surface that the design has not?",
    "fit": "Do the crowns fit on their dies?",
    "primary": "The comparison that the study was made for",
    "secondary": "The planned comparisons after it",
    "odd": "Is every crown like its group?",
    "scanner": "Can the scanner show it?",
    "caution": "Read before trusting the numbers",
}
WEBP_QUALITY = 88
Measured: TypeAlias = Comparison | PrecisionComparison | OverallRow | OddEffect | TruenessRow
"""What is shown of one measure of one area."""
_ELSEWHERE: Mapping[type, tuple[str, ...]] = {
    FitSettings: ("areas", "spacing_mm", "crown_unit", "force"),
    GroupPlan: ("crowns", "crown_facts"),
}
"""What settings of fit the study has for all that it measures, and what the crowns' table shows."""


@dataclass(frozen=True)
class GroupRow:
    """One group's line in the table of an area; measures by name."""

    group: str
    title: str
    style: GroupStyle
    trueness: Mapping[str, TruenessRow]
    precision: Mapping[str, PrecisionRow]
    coverage: float
    tolerance: ToleranceRow | None


@dataclass(frozen=True)
class AreaPart:
    """All about one area: its table, figures and conclusions."""

    name: str
    rows: tuple[GroupRow, ...]
    figures: tuple[Figure, ...]
    described: tuple[TruenessRow, ...]
    comparisons: tuple[Comparison, ...]
    precision_comparisons: tuple[PrecisionComparison, ...]


@dataclass(frozen=True)
class StudyArt:
    """What was drawn for a study.

    Attributes
    ----------
    figures : tuple of Figure
    no_figures : str
        Why there are none; empty otherwise.
    maps : StudyMaps
    pictures : Pictures
        Of the maps; their reason says why there are none.
    """

    figures: tuple[Figure, ...]
    no_figures: str
    maps: StudyMaps
    pictures: Pictures = field(default_factory=Pictures)


def study_page(run: StudyRun, analysis: StudyAnalysis, art: StudyArt, *, written: datetime) -> str:
    """Fill the page of a study.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    art : StudyArt
    written : datetime
        Shown as the date of the report.

    Returns
    -------
    str
        HTML that needs no other file and no network. Every text in it is escaped.
    """
    figures = {figure.name: figure for figure in art.figures}
    page: str = (
        _environment()
        .get_template("study.html")
        .render(
            run=run,
            analysis=analysis,
            written=written,
            titles=titles_of(analysis),
            styles={name: group_style(k) for k, name in enumerate(analysis.groups)},
            answer=[
                (head, lines)
                for kind, head in TOPICS.items()
                if (lines := [line for line in opening_lines(analysis) if line.kind == kind])
            ],
            more=[line for line in analysis.verdict if line not in opening_lines(analysis)],
            areas=area_parts(run, analysis, figures),
            precise=distance_measures(analysis.measures),
            way=DIRECTION_WORDS[run.plan.check.direction],
            on_paper_area=_on_paper_area(analysis),
            figures=figures,
            inline={name: Markup(figure.inline) for name, figure in figures.items()},
            art=art,
            shots=_shots(art.pictures),
            fit=fit_part(run, analysis),
            gaps=marginal_gaps(analysis),
            crown_facts=crown_facts(run.plan, differing=True),
            earlier=earlier_part(analysis),
            cautions=CAUTIONS if analysis.fit is None else FIT_CAUTIONS,
            margins=margin_rows(run, analysis),
            methods=methods_text(run, analysis),
            settings=setting_tables(run.plan, way_to(run.plan), _ELSEWHERE),
        )
    )
    return page


def _environment() -> Environment:
    """Return what fills the page, with the words of studies."""
    environment = page_environment()
    environment.filters.update(
        shown=shown,
        measure=measure_words,
        short=short_measure,
        unit=unit_of,
        p=p_words,
        crown=crown_words,
        opened=capital,
    )
    environment.globals.update(
        mean_and_sd=mean_and_sd,
        interval=interval_words,
        cause_words=cause_words,
        size=size_words,
        without_words=without_words,
        outcome_words=OUTCOME_WORDS,
        overall_words=OVERALL_WORDS,
        signs=STATUS_SIGNS,
        status_words=STATUS_WORDS,
        tones=TONES,
        symbols=SYMBOLS,
        described=all_described,
        compared_words=_compared_words,
        placed_words=_placed_words,
        heads=HEADS,
        agreement_words=AGREEMENT_WORDS,
        agreement_value=agreement_value,
        agreement_interval=agreement_interval,
        coefficient=coefficient,
        missing_rules=MISSING_RULES,
        isfinite=math.isfinite,
        unmeasured=unmeasured_hex(),
    )
    return environment


def _compared_words(row: Measured) -> str:
    """Name what was compared; a measure of fit with its area, for want of a heading that does."""
    if row.measure in FIT_MEASURES:
        return fit_words(row.area, row.measure)
    return short_measure(row.measure)


def _on_paper_area(analysis: StudyAnalysis) -> str:
    """Name the area whose figures are printed: the primary one, else the first."""
    primary = analysis.settings.primary_area
    return primary if primary in analysis.areas else next(iter(analysis.areas), "")


def _placed_words(row: Comparison) -> str:
    """Name what was compared with its area."""
    words = _compared_words(row)
    return words if row.measure in FIT_MEASURES else f"{capital(area_words(row.area))}, {words}"


def area_parts(
    run: StudyRun, analysis: StudyAnalysis, figures: Mapping[str, Figure]
) -> tuple[AreaPart, ...]:
    """Gather what the page says about each area."""
    found = analysis.findings
    return tuple(
        AreaPart(
            name=area,
            rows=tuple(_group_row(run, analysis, group, area) for group in analysis.groups),
            figures=tuple(
                figures[name]
                for name in (f"trueness_{area}", f"precision_{area}")
                if name in figures
            ),
            described=tuple(row for row in found.trueness if row.area == area),
            comparisons=tuple(row for row in found.comparisons if row.area == area),
            precision_comparisons=tuple(
                row for row in found.precision_comparisons if row.area == area
            ),
        )
        for area in analysis.areas
    )


def _group_row(run: StudyRun, analysis: StudyAnalysis, group: str, area: str) -> GroupRow:
    found, place = analysis.findings, analysis.groups.index(group)
    covered = [
        matched_coverage(row)
        for crown in run.crowns_of(group)
        for row in crown.measures
        if row.area == area and row.direction in covered_in(run.plan.check.direction)
    ]
    return GroupRow(
        group=group,
        title=analysis.group_titles[place],
        style=group_style(place),
        trueness={r.measure: r for r in found.trueness if (r.group, r.area) == (group, area)},
        precision={r.measure: r for r in found.precision if (r.group, r.area) == (group, area)},
        coverage=min(covered, default=math.nan),
        tolerance=next(
            (
                row
                for row in found.tolerances
                if (row.group, row.area) == (group, area) and math.isfinite(row.tolerance_um)
            ),
            None,
        ),
    )


def _shots(pictures: Pictures) -> dict[str, list[tuple[str, str]]]:
    """Return every map's pictures as (view, data address)."""
    shots: dict[str, list[tuple[str, str]]] = {}
    for picture in pictures.pictures:
        shots.setdefault(picture.colouring, []).append(
            (picture.view.title, data_address(picture.png))
        )
    return shots


def data_address(png: bytes) -> str:
    """Return a picture as a ``data:`` address, as WebP where the imaging library can write it.

    A page of some forty pictures stays under a few megabytes so; the exact ones are in the
    folder beside it.
    """
    kind, data = "png", png
    try:
        from PIL import Image, features

        if features.check("webp"):
            stream = io.BytesIO()
            with Image.open(io.BytesIO(png)) as image:
                image.convert("RGB").save(stream, "WEBP", quality=WEBP_QUALITY, method=4)
            kind, data = "webp", stream.getvalue()
    except (ImportError, OSError):
        pass
    return f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"
