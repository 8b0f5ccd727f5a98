"""The fit of a study's crowns, described and compared as their form is."""

from __future__ import annotations

from ...progress import Steps, scaled
from ..measuring.results import StudyRun
from .cohort import Cohort
from .comparisons import comparison_steps
from .descriptions import assumption_rows, trueness_rows
from .fit_cohort import seated_cohort
from .fit_limits import crown_answers, limit_rows
from .fit_notes import fit_notes, not_fitted
from .overall import overall_steps
from .results.fit import FitAnalysis, FitFindings


def fit_finding_steps(cohort: Cohort) -> Steps[FitFindings | None]:
    """Describe and compare the fit of one set of crowns, step by step; None if none was seated.

    Its comparisons are not decided yet: those that the plan's order holds share their level with
    those of form, all others are a family of their own.
    """
    seated = seated_cohort(cohort)
    if seated is None:
        return None
    places = seated.fit_pairs
    comparisons = yield from scaled(comparison_steps(seated, places, "family"), 0.0, 0.6)
    overall = yield from scaled(overall_steps(seated, places), 0.6, 1.0)
    return FitFindings(
        described=trueness_rows(seated, places),
        assumptions=assumption_rows(seated, places),
        comparisons=comparisons,
        overall=overall,
    )


def fit_analysis(cohort: Cohort, run: StudyRun) -> FitAnalysis | None:
    """Hold the crowns against the limits of fit; None where none was asked to be seated."""
    if run.plan.fit is None:
        return None
    return FitAnalysis(
        limits=limit_rows(cohort),
        crowns=crown_answers(cohort),
        not_fitted=not_fitted(cohort, run),
        notes=fit_notes(cohort),
    )
