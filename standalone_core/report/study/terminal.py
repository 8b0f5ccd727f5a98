"""A study on the terminal: groups side by side, and what was left out."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...deviation.measures import AreaMeasures
from ...fit.sentences import SEAT_CAUTIONS
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import StudyRun
from ...words.names import DIRECTION_WORDS, NO_TOLERANCE, area_words
from ...words.text import micrometres
from .earlier import earlier_lines
from .fit_counts import fit_lines
from .sentences import opening_lines

SIGNS = {"good": "✓", "bad": "✗", "open": "?", "note": "·"}

CAUTION = (
    "Not a medical device: it supports, and never replaces, the judgement of a licensed "
    "professional and local rules. The precision of several produced crowns holds the spread of "
    "their production besides that of the measurement."
)


def study_view(run: StudyRun, analysis: StudyAnalysis) -> RenderableType:
    """Lay out a study for the terminal.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    """
    parts: list[RenderableType] = [Text(run.plan.title, style="bold")]
    parts += [Text(f"{SIGNS[line.status]} {line.sentence}") for line in opening_lines(analysis)]
    parts += _fit(run, analysis)
    parts += [Text(text) for text in _why(analysis)]
    parts += [Text(text) for text in earlier_lines(analysis)]
    parts.append(groups_table(run, analysis))
    texts = [f"Left out: {scan.name}: {scan.reason} {scan.remedy}" for scan in run.left_out]
    texts += list(run.warnings)
    texts += [f"{crown.name}: {text}" for crown in run.crowns for text in crown.warnings]
    parts += [Text(f"  {text}") for text in texts]
    caution = CAUTION if analysis.fit is None else " ".join((CAUTION, *SEAT_CAUTIONS))
    parts.append(Text(caution, style="dim"))
    return Group(*parts)


def _fit(run: StudyRun, analysis: StudyAnalysis) -> list[RenderableType]:
    """Lay out a line per group about its crowns on their dies."""
    if analysis.fit is None:
        return []
    lines = (Padding(Text(line), (0, 0, 0, 2), expand=False) for line in fit_lines(run, analysis))
    return [Text("On their dies:"), *lines]


def _why(analysis: StudyAnalysis) -> list[str]:
    """Return lines about the causes that each group's crowns share."""
    if analysis.causes is None:
        return []
    lines = []
    for group in analysis.causes.groups:
        lines += [f"Why, {group.title}:", *(f"  {text}" for text in group.sentences)]
    decided = [row.sentence for row in analysis.causes.comparisons if row.outcome == "different"]
    if decided:
        lines += ["By cause, what differs (all comparisons: report.html):"]
    return [*lines, *(f"  {sentence}" for sentence in decided)]


def groups_table(run: StudyRun, analysis: StudyAnalysis) -> Table:
    """Return one row per area and group: trueness, precision and the crowns within tolerance.

    Trueness is the mean deviation of the crowns, in the plan's direction; precision their mean
    distance from the middle of their group; µm.
    """
    way = DIRECTION_WORDS[run.plan.check.direction]
    title = f"Means, µm: from the design (trueness, {way}),\nfrom the group's middle (precision)"
    table = Table(title=title, box=SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("Area and group", overflow="fold")
    for name in ("n", "Trueness\n|d|", "\nRMS", "\n½P90−P10"):
        table.add_column(name, justify="right", no_wrap=True)
    for name in ("Precision\n|d|", "\n½P90−P10", "Within"):
        table.add_column(name, justify="right", no_wrap=True)
    for area in analysis.areas:
        table.add_row(Text(area_words(area), style="bold"))
        for group in run.plan.groups:
            table.add_row(f"  {group.title}", *_cells(run, analysis, area, group.name))
    return table


def _cells(run: StudyRun, analysis: StudyAnalysis, area: str, group: str) -> list[str]:
    crowns, way = run.crowns_of(group), run.plan.check.direction
    true = [row for c in crowns for row in c.measures if _is(row, area, way)]
    precise = {
        row.measure: row.summary.description.mean
        for row in analysis.findings.precision
        if (row.group, row.area) == (group, area)
    }
    verdicts = [v.verdict for c in crowns for v in c.verdicts if v.area == area]
    judged = [verdict for verdict in verdicts if verdict != NO_TOLERANCE]
    within = f"{judged.count('within')} of {len(judged)}" if judged else "–"
    return [
        str(len(crowns)),
        _mean(row.mean_abs_um for row in true),
        _mean(row.rms_um for row in true),
        _mean(row.half_p90_p10_um for row in true),
        micrometres(precise.get("mean_abs_um", np.nan)),
        micrometres(precise.get("half_p90_p10_um", np.nan)),
        within,
    ]


def _is(row: AreaMeasures, area: str, direction: str) -> bool:
    return (row.area, row.direction) == (area, direction)


def _mean(values: Iterable[float]) -> str:
    found = [value for value in values if np.isfinite(value)]
    return micrometres(float(np.mean(found))) if found else "–"
