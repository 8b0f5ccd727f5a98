"""What is said of a study against an earlier one: numbers and cautions, never a conclusion."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from ...records import plain
from ...shares import short_share
from ...words.names import area_words, measure_words
from ...words.text import count_words, listed, micrometres
from ..plan import AnalysisPlan
from .results.earlier import EarlierComparison, EarlierRow
from .sentences import interval_words

if TYPE_CHECKING:
    from .earlier import Pairing

EXPLORATORY = (
    "Exploratory, and it decides nothing: the comparison was not among those that the plan fixed, "
    "it belongs to no family of tests, and its intervals and p-values are not adjusted for how "
    "many there are."
)
CONFOUNDED = (
    "Whatever changed between the two studies is in the differences: the crowns, the batch of the "
    "material, the scanner and its calibration, who scanned. All of it goes with time, and none of "
    "it can be told from the change that was meant to be seen. To learn what one change does, make "
    "crowns both ways at the same time, in random order, and compare them as two groups of one "
    "study."
)
TRUENESS_ALONE = (
    "Trueness alone is compared, each crown against the design, in this study's direction; odd "
    "crowns count, too. Precision, causes and fit are not set beside the earlier study's."
)
_SAME_UM = 1e-3
_MOST_NAMED = 6


def row_sentence(row: EarlierRow, title: str) -> str:
    """Say a row's numbers in words, without a word on what they show."""
    where = f"{title}, {area_words(row.area)}, {measure_words(row.measure)}"
    sides = [
        f"{_amount(side.mean, row.measure)} {when} ({count_words(side.n, 'crown')})"
        for side, when in ((row.earlier, "earlier"), (row.now, "now"))
    ]
    test = row.test
    interval = (
        f"no interval: {row.reason.removesuffix('.')}"
        if row.reason
        else f"{short_share(test.confidence)} interval "
        f"{interval_words(test.ci_low, test.ci_high, row.measure)}"
    )
    difference = _amount(test.difference, row.measure, signed=True)
    return f"{where}: {sides[0]}, {sides[1]}; now minus earlier {difference} ({interval})."


def _amount(value: float, measure: str, *, signed: bool = False) -> str:
    if measure.endswith("_um"):
        return f"{micrometres(value, signed=signed)} µm"
    return f"{micrometres(100 * value, signed=signed)} {'points' if signed else '%'}"


def summary_lines(found: EarlierComparison, plan: AnalysisPlan) -> tuple[str, ...]:
    """Return the most important of a comparison, one group a line."""
    if found.why_not:
        told = " ".join((*found.why_not, found.remedy))
        return (f"Not compared with the earlier study {found.title!r}: {told}",)
    lines = [f"Against the earlier study {found.title!r} (exploratory, not adjusted):"]
    area, measure = _chief_place(found, plan)
    lines += [row.sentence for row in found.rows if (row.area, row.measure) == (area, measure)]
    if found.shared:
        lines.append(_shared_words(found.shared))
    return (*lines, *_alone(found))


def _chief_place(found: EarlierComparison, plan: AnalysisPlan) -> tuple[str, str]:
    """Return the plan's primary area and measure, or the nearest to them that was compared."""
    places = dict.fromkeys((row.area, row.measure) for row in found.rows)
    wanted = plan.primary_area, plan.primary_measure
    return min(places, key=lambda place: (place[0] != wanted[0], place[1] != wanted[1]))


def comparison_notes(pairing: Pairing, found: EarlierComparison) -> tuple[str, ...]:
    """Return what must be known to read a comparison, beside that it is exploratory."""
    return (
        TRUENESS_ALONE,
        *_shared_notes(pairing),
        *_alone(found),
        *_moved(pairing),
        *_without_new(pairing),
        *_version_notes(pairing),
        *_said_otherwise(pairing),
        *_tolerance_notes(pairing),
        *pairing.alike.notes,
    )


def _shared_notes(pairing: Pairing) -> Iterator[str]:
    if not pairing.shared:
        return
    yield (
        f"{_shared_words(tuple(pairing.shared))} On both sides they would make the two not "
        f"independent of each other, and draw the difference towards 0."
    )
    apart = _largest_gap(pairing)
    if math.isnan(apart):
        return
    yield (
        "The same scan files gave the same numbers earlier and now, to 0.001 µm: the computing has "
        "not changed."
        if apart <= _SAME_UM
        else f"The same scan files gave other numbers earlier than now, up to {apart:.3f} µm "
        f"apart: the computing has changed, and that is in all differences here. Run the earlier "
        f"study anew with this version of Cuspwise."
    )


def _shared_words(names: tuple[str, ...]) -> str:
    return f"In both studies, and counted in the earlier one alone: {_some(names)}."


def _largest_gap(pairing: Pairing) -> float:
    """Return how far the numbers of one scan lie apart at most, µm; NaN for no such numbers."""
    cohort = pairing.cohort
    gaps = [
        abs(cohort.value_of(now, area, measure) - earlier.value(area, measure, cohort.direction))
        for now, earlier in pairing.shared.values()
        for area in pairing.alike.areas
        for measure in cohort.measures
        if measure.endswith("_um")
    ]
    return max((gap for gap in gaps if math.isfinite(gap)), default=math.nan)


def _alone(found: EarlierComparison) -> Iterator[str]:
    for titles, when in ((found.only_earlier, "earlier"), (found.only_now, "now")):
        if titles:
            yield f"In the study of {when} only: {listed(titles)}."


def _moved(pairing: Pairing) -> Iterator[str]:
    """Name crowns that were in a group of another name earlier."""
    groups = pairing.earlier.groups
    moved = [
        f"{name} in {groups[before.group].title}"
        for name, (now, before) in pairing.shared.items()
        if now.group != before.group
    ]
    if moved:
        yield (
            f"In another group earlier: {_some(tuple(moved))}. Groups are set side by side by "
            f"their names in the study files."
        )


def _without_new(pairing: Pairing) -> Iterator[str]:
    """Name groups of both studies that have no crown of their own now."""
    groups = dict.fromkeys(crown.group for crown, _ in pairing.shared.values())
    held = [g for g in groups if pairing.earlier.crowns_of(g) and g not in pairing.groups]
    titles = [pairing.run.plan.group(group).title for group in held]
    if titles:
        yield f"Not compared, since all crowns were in the earlier study already: {listed(titles)}."


def _version_notes(pairing: Pairing) -> Iterator[str]:
    before, now = pairing.earlier.versions.get("cuspwise"), pairing.run.versions.get("cuspwise")
    if before != now:
        yield (
            f"Measured by Cuspwise {before or 'of no noted version'} earlier and {now} now: what "
            f"changed between these versions is in the differences, too."
        )


def _said_otherwise(pairing: Pairing) -> Iterator[str]:
    """Say what the two study files say otherwise of a group's production."""
    for group in pairing.groups:
        plan, before = pairing.run.plan.group(group), pairing.earlier.groups[group]
        told = [
            {"title": title, **facts, **_known(production)}
            for title, facts, production in (
                (before.title, before.facts, before.production),
                (plan.title, plan.facts, plain(plan.production)),
            )
        ]
        names = [
            name
            for name in dict.fromkeys([*told[0], *told[1]])
            if _said(told[0], name) != _said(told[1], name)
        ]
        if names:
            each = [
                f"{name}: {_said(told[0], name)} earlier, {_said(told[1], name)} now"
                for name in names
            ]
            yield f"Said otherwise of {plan.title}: {'; '.join(each)}."


def _known(production: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in production.items() if value not in (None, "unknown")}


def _said(facts: Mapping[str, Any], name: str) -> str:
    value = facts.get(name)
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return "not said" if value in (None, "") else str(value)


def _tolerance_notes(pairing: Pairing) -> Iterator[str]:
    changed = [
        f"{area_words(area)} {micrometres(before)} µm earlier, {micrometres(now)} µm now"
        for area in pairing.alike.areas
        for before, now in [pairing.tolerance_um(area)]
        if before != now and not (math.isnan(before) and math.isnan(now))
    ]
    if changed:
        yield f"Judged by other tolerances: {'; '.join(changed)}."


def _some(names: tuple[str, ...]) -> str:
    if len(names) <= _MOST_NAMED:
        return listed(names)
    return f"{', '.join(names[:_MOST_NAMED])} and {len(names) - _MOST_NAMED} more"
