"""Fit laid beside a made study: every crown seated, one held up, one that could not be judged.

The numbers are drawn around means that are set here; descriptions and comparisons are those of
the statistics, of these numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from cuspwise.standalone_core.fit.judged import Judged
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.statistics.assumptions import check_assumptions
from cuspwise.standalone_core.statistics.many_groups import compare_many
from cuspwise.standalone_core.statistics.rank_correlation import spearman
from cuspwise.standalone_core.statistics.tolerance import wilson
from cuspwise.standalone_core.study.analysis.cohort import Cohort, cohort_of
from cuspwise.standalone_core.study.analysis.comparisons import (
    comparison_steps,
    decided_comparisons,
)
from cuspwise.standalone_core.study.analysis.descriptions import summary
from cuspwise.standalone_core.study.analysis.fit_words import fit_words
from cuspwise.standalone_core.study.analysis.results.analysis import StudyAnalysis, VerdictLine
from cuspwise.standalone_core.study.analysis.results.comparisons import (
    Comparison,
    OverallRow,
)
from cuspwise.standalone_core.study.analysis.results.fit import (
    CrownAnswer,
    FitAnalysis,
    FitFindings,
    FitLimitRow,
)
from cuspwise.standalone_core.study.analysis.results.groups import AssumptionRow, TruenessRow
from cuspwise.standalone_core.study.analysis.results.scores import ScoreCorrelation, ScoredCrown
from cuspwise.standalone_core.study.fit_plan import FIT_MEASURES, FitPlan
from cuspwise.standalone_core.study.measuring.crown_fit import (
    CrownFit,
    FitValue,
    MarginGaps,
    NotFitted,
)
from cuspwise.standalone_core.study.measuring.results import Crown, StudyRun
from cuspwise.standalone_core.study.plan import AnalysisPlan
from cuspwise.standalone_core.words.headline import Headline
from made.study_examples import group_map, make_analysis
from made.study_runs import study

HELD_UP, LOST = "tilted_3", "upright_1"
HOLDS = "What holds it: axial walls, distobuccal (71 % of the load) <spot & rim>."
REASON, REMEDY = "It has no intaglio <hole>.", "Scan its inside too."
NOTE = "1 crown is held up: its gap and margin are those where it is held up, and stay in."
DIE = "die <1>.stl"

PLACES = tuple((area, measure) for measure, areas in FIT_MEASURES.items() for area in areas)
_USUAL = {
    "marginal_gap_um": (44.0, 5.0),
    "marginal_gap_most_um": (92.0, 14.0),
    "absolute_discrepancy_um": (96.0, 9.0),
    "cement_space_um": (61.0, 5.0),
    "above_intended_um": (14.0, 5.0),
    "least_wall_um": (690.0, 40.0),
    "contact_gap_um": (-22.0, 18.0),
}
_MORE = 13.0  # each group's beyond the one before


def fitted_study(**changes: Any) -> tuple[StudyRun, StudyAnalysis]:
    """Two groups of five by given deviations, with examiners, seated: HELD_UP and LOST in them.

    ``changes`` are of the plan's analysis.
    """
    rng = np.random.default_rng(3)
    groups = {
        name: {"whole": rng.normal(mean, 1.0, 5), "margin": rng.normal(mean - 4.0, 1.0, 5)}
        for name, mean in (("upright", 14.0), ("tilted", 17.0))
    }
    run = study(groups, analysis=AnalysisPlan(resamples=999, **changes))
    settings = replace(run.area_set.settings, mesial_direction=(1.0, 0.0, 0.0))
    areas = replace(run.area_set, insertion=np.array([0.0, 0.0, 1.0]), settings=settings)
    maps = {name: group_map(areas, name, rng.normal(0.0, 0.01, (5, 4))) for name in groups}
    run = with_fit(replace(run, area_set=areas, maps=maps))
    return run, with_fit_analysis(run, make_analysis(run))


def with_fit(run: StudyRun, *, held_up: str = HELD_UP, lost: str = LOST, **plan: Any) -> StudyRun:
    """Return the run with a fit for every crown but one."""
    given = {
        "die": Path(DIE),
        "measures": tuple(FIT_MEASURES),
        "equivalence_um": {"marginal_gap_um": 10.0},
        **plan,
    }
    rng = np.random.default_rng(11)
    more = {group.name: _MORE * k for k, group in enumerate(run.plan.groups)}
    crowns = tuple(
        replace(crown, fit=made_fit(rng, more[crown.group], up=crown.name == held_up))
        for crown in run.crowns
    )
    refused = [crown for crown in crowns if crown.name == lost]
    return replace(
        run,
        plan=replace(run.plan, fit=FitPlan(**given)),
        crowns=tuple(replace(c, fit=None) if c in refused else c for c in crowns),
        not_fitted=tuple(NotFitted(c.name, c.group, REASON, REMEDY) for c in refused),
    )


def made_fit(rng: np.random.Generator, more_um: float, *, up: bool) -> CrownFit:
    """A crown that goes down, or is held up; its walls too thin where chance makes them so."""
    values = []
    for area, measure in PLACES:
        mean, sd = _USUAL[measure]
        value = float(rng.normal(mean, sd)) + more_um
        value += {"occlusal": 420.0, "axial": 0.0}.get(area, 0.0) * (measure == "least_wall_um")
        if up and measure != "least_wall_um":
            value += 640.0
        values.append(FitValue(area, measure, value))
    found = {(one.measure, one.area): one.value for one in values}
    judged = _judged(found, up)
    lost = [one for one in judged if one.verdict == "outside"]
    title = "The crown goes down on its die; margin and walls are within their limits"
    if lost:
        title = f"The crown goes down on its die, but {lost[0].title.lower()} is not"
    sentences: tuple[str, ...] = ("It rests on 3 spots.",)
    if up:
        high = found["above_intended_um", "whole"]
        title = f"The crown cannot go on: it rests {high:.0f} µm too high"
        sentences = (HOLDS, "Taking off up to 90 µm there would let it down.")
    angle = np.arange(360.0)
    gap = found["marginal_gap_um", "margin"] + 12.0 * np.cos(np.radians(angle - 60.0))
    gap += rng.normal(0.0, 1.0, 360)
    gap[200:206] = np.nan
    extension = 20.0 * np.cos(np.radians(angle))
    return CrownFit(
        die=Path(DIE),
        headline=Headline("outside" if lost else "within", title, ()),
        judged=judged,
        values=tuple(values),
        stop="cannot_go_on" if up else "rests",
        by_triple_scan=False,
        sentences=sentences,
        missing={"contacts": "Not measured: give the neighbours."} if up else {},
        warnings=("The intaglio is open at 2 places.",) if up else (),
        T_die_crown=np.eye(4),
        margin=MarginGaps(angle, gap, np.hypot(gap, extension), extension),
    )


def _judged(found: dict[tuple[str, str], float], up: bool) -> tuple[Judged, ...]:
    gap = found["marginal_gap_most_um", "margin"]
    rows = [
        ("seat", "above_intended_um", "", found["above_intended_um", "whole"], 500.0, "µm"),
        ("margin", "most_um", "", gap, 120.0, "µm"),
        ("walls", "least_mm", "axial", found["least_wall_um", "axial"] / 1e3, 0.65, "mm"),
        ("walls", "least_mm", "occlusal", found["least_wall_um", "occlusal"] / 1e3, 1.0, "mm"),
    ]
    titles = ("Seat", "Marginal gap, largest", "Axial walls, thinnest", "Occlusal wall, thinnest")
    return tuple(
        Judged(
            part,
            measure,
            area,
            title,
            value,
            limit,
            unit,
            "at most" if unit == "µm" else "at least",
            "within" if (value <= limit) == (unit == "µm") else "outside",
        )
        for title, (part, measure, area, value, limit, unit) in zip(titles, rows, strict=True)
    )


@dataclass(frozen=True, eq=False)
class FitCohort(Cohort):
    """The same crowns, by their fit."""

    def values(self, group: str, area: str, measure: str) -> np.ndarray:
        fits = (crown.fit for crown in self.crowns[group])
        return np.array([np.nan if fit is None else fit.value(area, measure) for fit in fits])


def with_fit_analysis(run: StudyRun, analysis: StudyAnalysis) -> StudyAnalysis:
    """Return the analysis with all that is said about the fit of the run's crowns."""
    cohort = FitCohort(**vars(cohort_of(run)))
    seated = [crown for crown in run.crowns if crown.fit is not None]
    fit = FitAnalysis(
        limits=tuple(row for group in cohort.groups for row in _limits(cohort, seated, group)),
        crowns=tuple(_answer(crown) for crown in seated),
        not_fitted=run.not_fitted,
        notes=(NOTE,),
    )
    odd = {crown.crown for crown in analysis.odd_crowns if crown.odd}
    left = analysis.without_odd
    if left is not None:
        others = FitCohort(**vars(cohort_of(run).without(odd)))
        left = replace(left, fit=findings_of(others))
    lines = tuple(
        VerdictLine("fit", "bad", f"{cohort.title(group)}: see how its crowns fit.")
        for group in cohort.groups
    )
    return replace(
        analysis,
        fit=fit,
        findings=replace(analysis.findings, fit=findings_of(cohort)),
        without_odd=left,
        verdict=(*lines, *analysis.verdict),
        examiners=_beside(analysis, seated),
    )


def findings_of(cohort: Cohort) -> FitFindings:
    """Describe and compare as trueness is."""
    level = cohort.plan.analysis.confidence
    described = tuple(
        TruenessRow(
            group,
            area,
            measure,
            tuple(crown.name for crown in cohort.crowns[group]),
            summary(cohort.values(group, area, measure), level),
        )
        for group in cohort.groups
        for area, measure in PLACES
    )
    several, many = len(cohort.groups) > 1, len(cohort.groups) > 2
    return FitFindings(
        described=described,
        assumptions=tuple(
            AssumptionRow(area, measure, check_assumptions(cohort.by_group(area, measure)))
            for area, measure in PLACES
        )
        if several
        else (),
        comparisons=_compared(cohort),
        overall=_overall(cohort) if many else (),
    )


def _compared(cohort: Cohort) -> tuple[Comparison, ...]:
    rows = run(comparison_steps(cohort, PLACES, "family"))
    return decided_comparisons(cohort, rows, {})


def _overall(cohort: Cohort) -> tuple[OverallRow, ...]:
    tests = [compare_many(cohort.by_group(*place)) for place in PLACES]
    return tuple(
        OverallRow(*place, "welch", False, one, f"{fit_words(*place)}: all at once.")
        for place, one in zip(PLACES, tests, strict=True)
    )


def _limits(cohort: Cohort, seated: list[Crown], group: str) -> list[FitLimitRow]:
    own = [crown.fit for crown in seated if crown.group == group and crown.fit is not None]
    level = cohort.plan.analysis.confidence
    whole = [fit.headline.verdict for fit in own]
    rows = [_limit(group, ("", "", ""), "Fits", "", whole, level)]
    for k, one in enumerate(own[0].judged):
        verdicts = [fit.judged[k].verdict for fit in own]
        keys = one.part, one.measure, one.area
        rows.append(_limit(group, keys, one.title, one.limit_words, verdicts, level))
    return rows


def _limit(
    group: str,
    keys: tuple[str, str, str],
    title: str,
    limit: str,
    verdicts: list[str],
    level: float,
) -> FitLimitRow:
    within, n = verdicts.count("within"), len(verdicts)
    share = wilson(within, n, confidence=level)
    sentence = f"{group}, {title}: {within} of {n} crowns."
    return FitLimitRow(group, *keys, title, limit, share, 0, sentence)


def _answer(crown: Crown) -> CrownAnswer:
    fit = crown.fit
    assert fit is not None
    return CrownAnswer(
        crown.name,
        crown.group,
        fit.headline.verdict,
        fit.headline.title,
        fit.sentences,
        fit.stop == "cannot_go_on",
    )


def _beside(analysis: StudyAnalysis, seated: list[Crown]) -> Any:
    """Examiners' gap beside the marginal gap."""
    found = analysis.examiners
    if found is None:
        return None
    fits = {crown.name: crown.fit for crown in seated}
    rows = tuple(
        ScoredCrown(
            row.crown,
            row.group,
            "gap",
            "margin",
            "marginal_gap_um",
            row.scores,
            row.median,
            fits[row.crown].value("margin", "marginal_gap_um"),
        )
        for row in found.crowns
        if row.item == "gap" and row.crown in fits
    )
    correlation = spearman([row.median for row in rows], [row.measured for row in rows])
    said = "Marginal gap felt and mean marginal gap: Spearman's ρ (made up)."
    beside = ScoreCorrelation("gap", "margin", "marginal_gap_um", correlation, said)
    return replace(
        found,
        crowns=(*found.crowns, *rows),
        correlations=(*found.correlations, beside),
    )
