"""Measures, verdicts and patches of measured deviations: all that depends on the tolerances.

Other tolerances need no new measurement: judge the same deviations again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..areas.area_set import AreaSet
from ..superimpose.result import Superimposition
from .exceedances import Exceedance, ExceedanceSettings, find_exceedances
from .field import DeviationField
from .measures import AreaMeasures, measure_areas
from .verdict import Tolerances, Verdict, judge, with_verdicts


@dataclass(frozen=True)
class Judgement:
    """What follows from deviations and tolerances.

    Attributes
    ----------
    measures : tuple of AreaMeasures
        Per direction and area, with verdicts.
    verdicts : tuple of Verdict
        One per area.
    exceedances : tuple of Exceedance
        Patches outside the whole crown's tolerance, worst first.
    warnings : tuple of str
        Areas that were measured too little of, and tolerances that nothing was judged by.
    """

    measures: tuple[AreaMeasures, ...]
    verdicts: tuple[Verdict, ...]
    exceedances: tuple[Exceedance, ...]
    warnings: tuple[str, ...]


def judge_deviations(
    fields: Sequence[DeviationField],
    area_set: AreaSet,
    superimposition: Superimposition,
    tolerances: Tolerances,
    *,
    exceedances: ExceedanceSettings | None = None,
    weighted: bool = True,
) -> Judgement:
    """Judge deviations by tolerances.

    Parameters
    ----------
    fields : sequence of DeviationField
        From design to scan, then from scan to design if that was measured.
    area_set : AreaSet
        Areas and edges of the evaluation mesh that the first field was measured on.
    superimposition : Superimposition
        Whether the pose can be trusted.
    tolerances : Tolerances
    exceedances : ExceedanceSettings, optional
        Which patches are told.
    weighted : bool
        Whether measures are weighted by area.
    """
    limits = tolerances.mean_abs_um
    measures = measure_areas(fields, area_set, limits, weighted=weighted)
    verdicts = judge(measures, superimposition, tolerances)
    return Judgement(
        measures=with_verdicts(measures, verdicts),
        verdicts=verdicts,
        exceedances=find_exceedances(
            fields[0], area_set, tolerances.limit_um("whole"), exceedances
        ),
        warnings=(
            *coverage_warnings(measures, tolerances.min_coverage),
            *(
                f"The tolerance of {name} was not used: {area_set.missing.get(name, 'no area.')}"
                for name in limits
                if name not in area_set.areas
            ),
        ),
    )


def coverage_warnings(measures: Sequence[AreaMeasures], least: float) -> list[str]:
    """Return one sentence per design area that was measured too little of."""
    return [
        f"Coverage: only {100 * row.coverage:.1f} % of {row.area} was measured."
        for row in measures
        if row.direction == "design_to_scan" and row.coverage < least
    ]
