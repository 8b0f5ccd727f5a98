"""Examiners' scores: do they agree, do groups differ, and do scores go with what was measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from types import MappingProxyType

import numpy as np

from ...arrays import FloatArray
from ...shares import short_share
from ...statistics.agreement import cohen_kappa, fleiss_kappa
from ...statistics.rank_correlation import spearman
from ...statistics.tolerance import wilson
from ...words.names import MEASURE_WORDS, item_words, the_area
from ...words.text import listed, signed_number
from ..file.examiner_scores import ExaminerScores, ScoreTable
from ..fit_plan import FIT_MEASURES
from .cohort import Cohort, Places
from .fit_words import fit_words
from .results.scores import (
    AgreementRow,
    ExaminerAnalysis,
    KappaRow,
    ScoreCorrelation,
    ScoredCrown,
    ScoreGroupRow,
)
from .score_comparisons import score_comparisons
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

_KAPPA_WORDS = (
    (0.2, "slight"),
    (0.4, "fair"),
    (0.6, "moderate"),
    (0.8, "substantial"),
    (1.0, "almost perfect"),
)

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


@dataclass(frozen=True, eq=False)
class Scored:
    """One item's scores of the crowns that are in the study.

    Attributes
    ----------
    item : str
    words : tuple of str
        What 0, 1, 2, … mean.
    examiners, crowns, groups : tuple of str
    scores : (n, k) float
    median : (n,) float
        Over the examiners who scored the crown; NaN for none.
    """

    item: str
    words: tuple[str, ...]
    examiners: tuple[str, ...]
    crowns: tuple[str, ...]
    groups: tuple[str, ...]
    scores: FloatArray
    median: FloatArray

    def of_group(self, group: str) -> FloatArray:
        """Return the medians of a group's scored crowns."""
        own = np.array([name == group for name in self.groups], dtype=bool)
        return self.median[own & ~np.isnan(self.median)]


def examiner_analysis(cohort: Cohort, scores: ExaminerScores) -> ExaminerAnalysis:
    """Analyse the scores of the crowns that are in the study.

    A crown counts once, by the median of its scores; examiners are not further crowns.
    """
    items = [_scored(cohort, scores.table(item)) for item in scores.items]
    beside = [(scored, place) for scored in items for place in _places_beside(cohort, scored.item)]
    crowns = tuple(row for scored, place in beside for row in _beside(cohort, scored, *place))
    return ExaminerAnalysis(
        agreement=tuple(_agreement(cohort, scored) for scored in items),
        groups=tuple(_group(cohort, one, group) for one in items for group in cohort.groups),
        comparisons=score_comparisons(
            cohort, {s.item: {g: s.of_group(g) for g in cohort.groups} for s in items}
        ),
        crowns=crowns,
        correlations=tuple(
            _correlation(cohort, scored.item, place, crowns) for scored, place in beside
        ),
        notes=(NOT_FIT, *_notes_of_fit(cohort, [place for _, place in beside]), *scores.notes),
    )


def _scored(cohort: Cohort, table: ScoreTable) -> Scored:
    order = {name: i for i, name in enumerate(cohort.names)}
    rows = sorted((order[name], i) for i, name in enumerate(table.crowns) if name in order)
    taken = [i for _, i in rows]
    scores = table.scores[taken]
    median = np.array(
        [np.median(x[~np.isnan(x)]) if (~np.isnan(x)).any() else np.nan for x in scores]
    )
    return Scored(
        item=table.item,
        words=table.words,
        examiners=table.examiners,
        crowns=tuple(table.crowns[i] for i in taken),
        groups=tuple(table.groups[i] for i in taken),
        scores=scores,
        median=median,
    )


def _agreement(cohort: Cohort, scored: Scored) -> AgreementRow:
    confidence, nan = cohort.plan.analysis.confidence, float("nan")
    complete = scored.scores[~np.isnan(scored.scores).any(axis=1)]
    several = len(scored.examiners) > 1
    same = float((complete == complete[:, :1]).all(axis=1).mean()) if len(complete) else nan
    fleiss = fleiss_kappa(scored.scores, confidence=confidence) if several else None
    pairs = tuple(
        _kappa(scored, i, j, confidence) for i, j in combinations(range(len(scored.examiners)), 2)
    )
    return AgreementRow(
        item=scored.item,
        examiners=scored.examiners,
        n=len(complete),
        percent=same if several else nan,
        pairs=pairs,
        fleiss=fleiss,
        sentence=_agreement_sentence(scored, len(complete), same, pairs),
    )


def _kappa(scored: Scored, i: int, j: int, confidence: float) -> KappaRow:
    a, b = scored.scores[:, i], scored.scores[:, j]
    plain = cohen_kappa(a, b, confidence=confidence)
    weighted = cohen_kappa(
        a, b, weights="quadratic", categories=range(len(scored.words)), confidence=confidence
    )
    return KappaRow(
        first=scored.examiners[i],
        second=scored.examiners[j],
        plain=plain,
        weighted=weighted,
        words=_kappa_words(weighted.kappa),
    )


def _kappa_words(kappa: float) -> str:
    if np.isnan(kappa):
        return "not defined"
    if kappa < 0:
        return "poor"
    return next(word for limit, word in _KAPPA_WORDS if kappa <= limit + 1e-12)


def _agreement_sentence(scored: Scored, n: int, same: float, pairs: Sequence[KappaRow]) -> str:
    name = item_words(scored.item)
    if not pairs:
        return f"{name}: one examiner, so no agreement can be computed."
    if not n:
        return f"{name}: no crown was scored by all examiners."
    words = [
        f"{row.first} and {row.second} {row.words}"
        + (
            ""
            if np.isnan(row.weighted.kappa)
            else f" (weighted kappa {_coefficient(row.weighted.kappa)})"
        )
        for row in pairs
    ]
    return (
        f"{name}: all examiners gave the same score on {short_share(same)} of {n} crowns; beyond "
        f"chance, agreement of {listed(words)}."
    )


def _group(cohort: Cohort, scored: Scored, group: str) -> ScoreGroupRow:
    plan = cohort.plan
    worse = np.ceil(scored.of_group(group)).astype(int)
    acceptable = int((scored.of_group(group) <= plan.scores.acceptable).sum())
    return ScoreGroupRow(
        item=scored.item,
        group=group,
        counts=tuple(int(k) for k in np.bincount(worse, minlength=len(scored.words))),
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


def _beside(cohort: Cohort, scored: Scored, area: str, measure: str) -> list[ScoredCrown]:
    """Return every scored crown with its value; of those not seated there is none of fit."""
    crowns = {crown.name: crown for group in cohort.groups for crown in cohort.crowns[group]}
    return [
        ScoredCrown(
            crown=name,
            group=scored.groups[i],
            item=scored.item,
            area=area,
            measure=measure,
            scores=tuple(zip(scored.examiners, scored.scores[i].tolist(), strict=True)),
            median=float(scored.median[i]),
            measured=cohort.value_of(crowns[name], area, measure),
        )
        for i, name in enumerate(scored.crowns)
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
        numbers = (
            f"Spearman's ρ {_coefficient(found.rho)}, {short_share(plan.confidence)} interval "
            f"{_coefficient(found.ci_low)} to {_coefficient(found.ci_high)}, {p_words(found.p)}, "
            f"{found.n} crowns of all groups"
        )
        sure = found.p <= plan.alpha
        way = "larger" if found.rho > 0 else "smaller"
        sentence = (
            f"{name}: worse scores go with a {way} {beside} ({numbers})."
            if sure
            else f"{name}: that scores go with the {beside} is not shown ({numbers})."
        )
    return ScoreCorrelation(
        item=item,
        area=area,
        measure=measure,
        correlation=found,
        sentence=sentence,
    )


def _coefficient(value: float) -> str:
    return signed_number(round(value, 2) + 0.0, ".2f")  # no minus before nothing
