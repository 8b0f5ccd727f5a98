"""How crowns were seated and their fit measured, for the methods paragraph of a study."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from ...fit.settings import FitSettings, GapSettings
from ...shares import short_share
from ...study.analysis.fit_words import fit_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.fit import FitFindings
from ...study.fit_plan import FitPlan
from ...study.measuring.crown_fit import CrownFit
from ...study.measuring.results import StudyRun
from ...words.text import count_words, listed
from .causes_methods import Cite
from .sentences import counted

SOURCED_LIMIT_UM = 120.0
"""The limit of the marginal gap that McLean and von Fraunhofer gave."""


def fit_methods(run: StudyRun, analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Yield sentences about how the crowns' fit was measured; none where it was not.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    cite : Cite
    """
    plan, found = run.plan.fit, analysis.fit
    fits = {crown.name: crown.fit for crown in run.crowns if crown.fit is not None}
    if plan is None or found is None or not fits:
        return
    yield from _seating(run, plan, fits)
    measured = {(v.area, v.measure) for fit in fits.values() for v in fit.values}
    yield from _measuring(run, plan, {measure for _, measure in measured}, cite)
    if found.limits:
        level = short_share(analysis.settings.confidence)
        yield (
            "The share of crowns within each limit is given with its interval, as above."
            if any(row.share.n for row in analysis.findings.tolerances)
            else f"The share of crowns within each limit is given with its {level} Wilson interval "
            f"{cite('wilson')}."
        )
    if analysis.findings.fit is not None:
        yield from _comparing(analysis.findings.fit, cite)
    if run.not_fitted:
        reasons = [f"{one.crown}: {one.reason}" for one in run.not_fitted]
        yield f"The fit of {count_words(len(reasons), 'crown')} could not be judged. " + " ".join(
            reasons
        )


def _seating(run: StudyRun, plan: FitPlan, fits: Mapping[str, CrownFit]) -> Iterator[str]:
    """Say on what the crowns were seated, and how."""
    virtual = [name for name, fit in fits.items() if fit.stop]
    scanned = [name for name, fit in fits.items() if fit.by_triple_scan]
    dies = len({fit.die for fit in fits.values()})
    on = "one die" if dies == 1 else count_words(dies, "die")
    if virtual:
        yield (
            f"{counted(len(virtual), 'crown')} {'was' if len(virtual) == 1 else 'were'} seated on "
            f"{on} virtually: crown and die were rigid bodies, and under a load along the path of "
            f"insertion the crown was let down until its contacts held it. "
            f"{_contact(plan.settings)} Cement, friction and elasticity were not simulated."
        )
        yield _start(plan)
    if scanned:
        yield (
            f"For {count_words(len(scanned), 'crown')}, crown and die were each superimposed on a "
            f"scan of the crown seated on the die, and gap and margin were measured as that scan "
            f"shows them."
        )
    up = [n for n in virtual if fits[n].stop == "cannot_go_on" and not fits[n].by_triple_scan]
    if up:
        one = len(up) == 1
        yield (
            f"{counted(len(up), 'crown')} could not go down; the gap and margin where "
            f"{'it was' if one else 'they were'} held up are part of all descriptions and "
            f"comparisons."
        )


def _contact(settings: FitSettings) -> str:
    seat = settings.seat
    if seat.contact == "hard":
        return "No point of the two surfaces was allowed to overlap."
    return (
        f"Since a scan's noise would hold a crown up, contacts were averaged over patches of "
        f"{seat.patch_mm:g} mm radius, and the intaglio within {seat.margin_left_out_mm:g} mm of "
        f"the margin line held nothing off."
    )


def _start(plan: FitPlan) -> str:
    if plan.in_design_frame:
        return (
            f"The dies lay in the design's frame, so that the intended seat was known; a crown "
            f"that rested more than {plan.settings.seat.most_above_um:g} µm above it counted as "
            f"held up."
        )
    return (
        "Each crown was laid on its die by its intaglio; the dies did not lie in the design's "
        "frame, so that the intended seat was not known."
    )


def _measuring(run: StudyRun, plan: FitPlan, measures: set[str], cite: Cite) -> Iterator[str]:
    """Say what was measured, and what it was held against."""
    settings = plan.settings
    if "marginal_gap_um" in measures:
        yield from _margin(settings.gap, _finish_line(run, plan), cite)
    if "cement_space_um" in measures:
        yield (
            "The gap inside was averaged by area: near the margin, over the axial walls, and under "
            "the occlusal surface."
        )
    if "least_wall_um" in measures:
        walls = settings.walls
        yield (
            f"Walls were measured from the intaglio, from {walls.margin_left_out_mm:g} mm of the "
            f"margin line on, as the smaller of the straight way through and the largest ball that "
            f"fits; at least {walls.least_axial_mm:g} mm were required of the axial walls and "
            f"{walls.least_occlusal_mm:g} mm under the occlusal surface."
        )
    if "contact_gap_um" in measures:
        yield (
            "At contacts with other teeth the smallest signed distance was taken, negative where "
            "the surfaces overlap."
        )


def _finish_line(run: StudyRun, plan: FitPlan) -> str:
    """Say where finish lines come from: given for the one die, or the design's margin line."""
    carried = "carried over from the design's margin line"
    if plan.finish_line is None:
        return carried
    own_dies = any(group.dies for group in run.plan.groups)
    return f"as given for the one die, else {carried}" if own_dies else "as given"


def _margin(gap: GapSettings, line: str, cite: Cite) -> Iterator[str]:
    yield (
        f"Marginal gap (from the finish line to the crown's edge, square to the prepared surface) "
        f"and absolute marginal discrepancy (from edge to edge) are those of Holmes et al. "
        f"{cite('holmes')}, at {gap.places} places around the finish line, {line}."
    )
    source = f" {cite('mclean')}" if gap.marginal_limit_um == SOURCED_LIMIT_UM else ""
    yield (
        f"The largest marginal gap of each crown was held against {gap.marginal_limit_um:g} µm"
        f"{source}; the absolute marginal discrepancy was not judged."
    )


def _comparing(found: FitFindings, cite: Cite) -> Iterator[str]:
    """Say how groups were compared by fit."""
    if not any(row.adjusted.family for row in found.comparisons):
        return
    yield "Groups were compared by fit as by trueness."
    limits = {
        fit_words(row.area, row.measure): row.equivalence.limit
        for row in found.comparisons
        if row.equivalence.test is not None
    }
    if limits:
        told = listed([f"±{limit:g} µm ({words})" for words, limit in limits.items()])
        yield (
            f"Equivalence of fit was tested by two one-sided tests {cite('schuirmann')} "
            f"within {told}."
        )
