"""Examiners' scores: do they agree, do groups differ, and do scores go with what was measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from ...arrays import FloatArray
from ...shares import short_share
from ...statistics.rank_correlation import spearman
from ...statistics.tolerance import wilson
from ...words.names import MEASURE_WORDS, item_words, the_area
from ..file.examiner_scores import ExaminerScores
from ..fit_plan import FIT_MEASURES
from .cohort import Cohort, Places
from .examiner_agreement import (
    agreement_sentence,
    coefficient,
    item_agreement,
    missing_words,
    sum_agreement,
    sum_sentence,
)
from .fit_words import fit_words
from .results.scores import ExaminerAnalysis, ScoreCorrelation, ScoredCrown, ScoreGroupRow
from .score_comparisons import level_words, score_comparisons, score_doubts
from .scored import Scored, scored
from .sentences import p_words

AREAS_OF_ITEM: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"gap": ("margin",), "contact": ("contact_mesial", "contact_distal"), "seating": ("intaglio",)}
)
"""Areas that a score is shown beside; the margin, or else the whole crown, where none is found."""

BESIDE_MEASURE = "mean_abs_um"

FIT_OF_ITEM: Mapping[str, Places] = MappingProxyType(
    {
        "gap": (("margin", "marginal_gap_um"),),
        "contact": (("contact_mesial", "contact_gap_um"), ("contact_distal", "contact_gap_um")),
        "seating": (("whole", "above_intended_um"),),
    }
)
"""Numbers of fit that a score is shown beside too, where crowns were seated and have them."""

NOT_FIT = (
    "Scores judge how a crown fits on its die or between its neighbours; the measured deviations "
    "are of its form against the design. The two need not go together."
)
ON_VIRTUAL_SEAT = (
    "The marginal gap was measured on a virtual seat, without cement, friction and elasticity: "
    "not where the examiner held the crown."
)
BY_TRIPLE_SCAN = "The marginal gap was measured on a scan of the seated crown."
BY_BOTH = (
    "The marginal gap was measured on a scan of the seated crown where there is one, else on a "
    "virtual seat, without cement, friction and elasticity."
)
SIGNED = (
    "Contacts too light and too tight are scored alike, but the gap at a contact is signed, "
    "negative where it overlaps: scores can follow it only as far as crowns miss to one side."
)


def examiner_analysis(cohort: Cohort, scores: ExaminerScores) -> ExaminerAnalysis:
    """Analyse the scores of the crowns that are in the study.

    A crown counts once, by the median of its scores; examiners are not further crowns. What
    missing scores do to each number of agreement: :mod:`.examiner_agreement`; which tests make
    claims, and at what level: :mod:`.score_comparisons`.
    """
    items = [scored(cohort, scores.table(item)) for item in scores.items]
    beside = [(item, place) for item in items for place in _places_beside(cohort, item.item)]
    crowns = tuple(row for item, place in beside for row in _beside(cohort, item, *place))
    comparisons = score_comparisons(
        cohort, _medians(cohort, items), _medians(cohort, items, complete=True)
    )
    correlations = tuple(_correlation(cohort, item.item, place, crowns) for item, place in beside)
    computed = sum(not row.correlation.reason for row in correlations)
    by_item, sums = [item_agreement(cohort, item) for item in items], sum_agreement(cohort, items)
    said = [agreement_sentence(item, rows) for item, rows in zip(items, by_item, strict=True)]
    return ExaminerAnalysis(
        agreement=(*(row for rows in by_item for row in rows), *sums),
        agreed=(*said, *sum_sentence(items, sums)),
        missing=missing_words(cohort, items),
        groups=tuple(_group(cohort, item, group) for item in items for group in cohort.groups),
        comparisons=comparisons,
        levels=tuple(level_words(cohort, comparisons, computed)),
        doubts=score_doubts(cohort, comparisons),
        crowns=crowns,
        correlations=correlations,
        notes=(NOT_FIT, *_notes_of_fit(cohort, [place for _, place in beside]), *scores.notes),
    )


def _medians(
    cohort: Cohort, items: Sequence[Scored], *, complete: bool = False
) -> dict[str, dict[str, FloatArray]]:
    return {
        item.item: {group: item.of_group(group, complete=complete) for group in cohort.groups}
        for item in items
    }


def _group(cohort: Cohort, item: Scored, group: str) -> ScoreGroupRow:
    plan = cohort.plan
    worse = np.ceil(item.of_group(group)).astype(int)
    acceptable = int((item.of_group(group) <= plan.scores.acceptable).sum())
    return ScoreGroupRow(
        item=item.item,
        group=group,
        counts=tuple(int(k) for k in np.bincount(worse, minlength=len(item.words))),
        share=wilson(acceptable, len(worse), confidence=plan.analysis.confidence),
    )


def _areas_beside(cohort: Cohort, item: str) -> tuple[str, ...]:
    found = tuple(area for area in AREAS_OF_ITEM.get(item, ()) if area in cohort.areas)
    spare = tuple(area for area in ("margin", "whole") if area in cohort.areas)[:1]
    return found or spare


def _places_beside(cohort: Cohort, item: str) -> Places:
    """Return what an item is shown beside: deviations, and what was measured of the fit."""
    known = cohort.fit_pairs
    fit = tuple(place for place in FIT_OF_ITEM.get(item, ()) if place in known)
    return (*((area, BESIDE_MEASURE) for area in _areas_beside(cohort, item)), *fit)


def _notes_of_fit(cohort: Cohort, places: Sequence[tuple[str, str]]) -> list[str]:
    """Say on what seat the gap beside the scores was measured."""
    measures = {measure for _, measure in places}
    notes = []
    if "marginal_gap_um" in measures:
        crowns = (crown for group in cohort.groups for crown in cohort.crowns[group])
        scanned = {c.fit.by_triple_scan for c in crowns if c.fit is not None}
        both = len(scanned) > 1
        notes.append(BY_BOTH if both else BY_TRIPLE_SCAN if True in scanned else ON_VIRTUAL_SEAT)
    if "contact_gap_um" in measures:
        notes.append(SIGNED)
    return notes


def _beside(cohort: Cohort, item: Scored, area: str, measure: str) -> list[ScoredCrown]:
    """Return every scored crown with its value; of those not seated there is none of fit."""
    crowns = {crown.name: crown for group in cohort.groups for crown in cohort.crowns[group]}
    return [
        ScoredCrown(
            crown=name,
            group=item.groups[i],
            item=item.item,
            area=area,
            measure=measure,
            scores=tuple(zip(item.examiners, item.scores[i].tolist(), strict=True)),
            median=float(item.median[i]),
            measured=cohort.value_of(crowns[name], area, measure),
        )
        for i, name in enumerate(item.crowns)
        if measure not in FIT_MEASURES or crowns[name].fit is not None
    ]


def _correlation(
    cohort: Cohort, item: str, place: tuple[str, str], crowns: Sequence[ScoredCrown]
) -> ScoreCorrelation:
    plan, (area, measure) = cohort.plan.analysis, place
    rows = [row for row in crowns if (row.item, row.area, row.measure) == (item, *place)]
    found = spearman(
        [row.median for row in rows], [row.measured for row in rows], confidence=plan.confidence
    )
    name = item_words(item)
    beside = f"{MEASURE_WORDS[measure]} of {the_area(area)}"
    if measure in FIT_MEASURES:
        beside = fit_words(area, measure)
    if found.reason:
        sentence = f"{name} and {beside}: no correlation was computed. {found.reason}"
    else:
        sentence = (
            f"{name} and {beside}: Spearman's ρ {coefficient(found.rho)}, "
            f"{short_share(plan.confidence)} interval {coefficient(found.ci_low)} to "
            f"{coefficient(found.ci_high)} ({p_words(found.p)}, unadjusted and exploratory; "
            f"{found.n} crowns of all groups)."
        )
    return ScoreCorrelation(
        item=item,
        area=area,
        measure=measure,
        correlation=found,
        sentence=sentence,
    )
