"""A study against an earlier one of the same design, group by group; exploratory throughout."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...readable import readable, way_from
from ...statistics.describe import describe
from ...statistics.reasons import FIRST, SECOND
from ...statistics.welch import welch_test
from ...words.names import NO_TOLERANCE, NOT_DECIDABLE, OUTSIDE, WITHIN
from ..file.earlier_study import EarlierCrown, EarlierStudy
from ..measuring.results import Crown, StudyRun
from .cohort import Cohort, cohort_of
from .earlier_alike import Alike, how_alike
from .earlier_notes import (
    CONFOUNDED,
    EXPLORATORY,
    comparison_notes,
    row_sentence,
    summary_lines,
)
from .results.earlier import CrownCount, EarlierComparison, EarlierRow, EarlierTolerance

SHARE = "within_tolerance"
"""The measure that depends on an area's tolerance."""

NOTHING_IN_COMMON = "No group has the same name in both studies, with a crown in each."
NOTHING_NEW = "Every crown of the groups that both studies have was in the earlier study already."
SAME_NAMES = "Give groups that were produced the same way one name in both study files."
NEW_CROWNS = "Scan crowns that are not in the earlier study."


@dataclass(frozen=True, eq=False)
class Pairing:
    """What of two studies is put side by side.

    Attributes
    ----------
    run : StudyRun
    earlier : EarlierStudy
    cohort : Cohort
        The crowns of now that are not in the earlier study.
    groups : tuple of str
        Those with crowns on both sides.
    alike : Alike
    shared : mapping of str to (Crown, EarlierCrown)
        Crowns whose scan is in both, by their name now.
    """

    run: StudyRun
    earlier: EarlierStudy
    cohort: Cohort
    groups: tuple[str, ...]
    alike: Alike
    shared: dict[str, tuple[Crown, EarlierCrown]]

    def tolerance_um(self, area: str) -> tuple[float, float]:
        """Return an area's tolerance earlier and now; NaN for none."""
        before = self.earlier.tolerances_um.get(area, math.nan)
        return before, self.run.plan.check.tolerances.limit_um(area)


def against_earlier(run: StudyRun, earlier: EarlierStudy) -> EarlierComparison:
    """Compare a study with an earlier one of the same design, group by group.

    Groups of the same name are compared area by area by the measures of this study's plan, by
    Welch's test of the crowns' numbers (now minus earlier) with its interval; neither is adjusted
    or belongs to a family of tests. A crown whose scan file is in both studies counts in the
    earlier one alone: on both sides it would make them not independent, and draw the difference
    towards 0. All of it is exploratory: crowns, scanner, calibration and examiner may have changed
    between the studies, and time goes with all of them.

    Parameters
    ----------
    run : StudyRun
    earlier : EarlierStudy
        As :func:`~cuspwise.read_earlier_study` returns it.

    Returns
    -------
    EarlierComparison
        In µm; shares from 0 to 1. Without rows, and with the reasons, where the studies were not
        measured alike: another design, other settings that change numbers, other areas.

    Examples
    --------
    >>> import cuspwise
    >>> study = cuspwise.read_study(cuspwise.demo_study("trial"))
    >>> run = cuspwise.run_study(study, "trial/results")
    >>> files = cuspwise.write_study(
    ...     run, cuspwise.analyse_study(run), "trial/results", pictures="no"
    ... )
    >>> earlier = cuspwise.read_earlier_study("trial/results")
    >>> cuspwise.against_earlier(run, earlier).why_not
    ('Every crown of the groups that both studies have was in the earlier study already.',)
    """
    whole = cohort_of(run)
    pairing = _pairing(run, earlier, whole)
    base = _base(pairing, whole)
    why_not, remedies = pairing.alike.why_not, pairing.alike.remedies
    if not why_not and not pairing.groups:
        known = any(earlier.crowns_of(group) for group in whole.groups)
        why_not = (NOTHING_NEW if known else NOTHING_IN_COMMON,)
        remedies = (NEW_CROWNS if known else SAME_NAMES,)
    if why_not:
        found = replace(base, why_not=why_not, remedy=" ".join(remedies))
        return replace(found, lines=summary_lines(found, run.plan.analysis))
    found = replace(
        base,
        rows=_rows(pairing),
        tolerances=_tolerances(pairing),
        notes=comparison_notes(pairing, base),
    )
    return replace(found, lines=summary_lines(found, run.plan.analysis))


def _pairing(run: StudyRun, earlier: EarlierStudy, whole: Cohort) -> Pairing:
    by_scan = {crown.sha256: crown for crown in earlier.crowns}
    shared = {c.name: (c, by_scan[c.sha256]) for c in run.crowns if c.sha256 in by_scan}
    fresh = whole.without(shared)
    return Pairing(
        run=run,
        earlier=earlier,
        cohort=fresh,
        groups=tuple(group for group in fresh.groups if earlier.crowns_of(group)),
        alike=how_alike(run, earlier, whole.areas),
        shared=shared,
    )


def _base(pairing: Pairing, whole: Cohort) -> EarlierComparison:
    earlier = pairing.earlier
    present = dict.fromkeys(crown.group for crown in earlier.crowns)
    return EarlierComparison(
        title=earlier.title,
        file=readable(way_from(pairing.run.plan.folder, earlier.path) or earlier.path.name),
        versions=earlier.versions,
        only_earlier=tuple(earlier.groups[g].title for g in present if g not in whole.groups),
        only_now=tuple(whole.title(group) for group in whole.groups if group not in present),
        shared=tuple(pairing.shared),
        caution=f"{EXPLORATORY} {CONFOUNDED}",
    )


def _rows(pairing: Pairing) -> tuple[EarlierRow, ...]:
    return tuple(
        _row(pairing, group, area, measure)
        for area in pairing.alike.areas
        for measure in pairing.cohort.measures
        if measure != SHARE or _same_number(*pairing.tolerance_um(area))
        for group in pairing.groups
    )


def _same_number(first: float, second: float) -> bool:
    return first == second or (math.isnan(first) and math.isnan(second))


def _row(pairing: Pairing, group: str, area: str, measure: str) -> EarlierRow:
    level = pairing.run.plan.analysis.confidence
    crowns = pairing.earlier.crowns_of(group)
    before = np.array([crown.value(area, measure, pairing.cohort.direction) for crown in crowns])
    now = pairing.cohort.values(group, area, measure)
    test = welch_test(now, before, confidence=level)
    row = EarlierRow(
        group=group,
        area=area,
        measure=measure,
        earlier=describe(before, level),
        now=describe(now, level),
        test=test,
        reason=test.reason.words({FIRST: "now", SECOND: "earlier"}),
        sentence="",
    )
    return replace(row, sentence=row_sentence(row, pairing.cohort.title(group)))


def _tolerances(pairing: Pairing) -> tuple[EarlierTolerance, ...]:
    rows = []
    for area in pairing.alike.areas:
        limits = pairing.tolerance_um(area)
        for group in pairing.groups:
            before = [c.verdicts.get(area, NO_TOLERANCE) for c in pairing.earlier.crowns_of(group)]
            crowns = pairing.cohort.crowns[group]
            now = [v.verdict for c in crowns for v in c.verdicts if v.area == area]
            if {*before, *now} - {NO_TOLERANCE}:
                counts = _count(before, limits[0]), _count(now, limits[1])
                rows.append(EarlierTolerance(group, area, *counts))
    return tuple(rows)


def _count(verdicts: Sequence[str], tolerance_um: float) -> CrownCount:
    counts = (verdicts.count(verdict) for verdict in (WITHIN, OUTSIDE, NOT_DECIDABLE))
    return CrownCount(tolerance_um, *counts)
