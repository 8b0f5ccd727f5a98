"""Simulations of what a study's page claims: how often any claim of a family is false.

Crowns are drawn of which the truth is known, and the page's own rows are made of them. Areas of a
crown are nested, so their values are correlated.
"""

from __future__ import annotations

import numpy as np
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.analysis.cohort import cohort_of
from cuspwise.standalone_core.study.analysis.comparisons import (
    comparison_steps,
    decided_comparisons,
)
from cuspwise.standalone_core.study.analysis.precision import (
    precision_comparison_steps,
    precision_rows,
)
from cuspwise.standalone_core.study.analysis.tolerances import tolerance_rows
from cuspwise.standalone_core.study.plan import AnalysisPlan
from made.statistics_simulations import Rng, Trial
from made.study_runs import study

AREAS = ("margin", "occlusal", "whole")
MEASURES = ("mean_abs_um",)
SECONDARY = ("occlusal mean_abs_um", "whole mean_abs_um")
LIMIT = 1.5
NORMAL_95 = 1.6448536269514722
DIFFERS = {"different", "different_within_limit"}
WITHIN = {"equivalent", "different_within_limit"}


def values(rng: Rng, n: int, shift=(0.0, 0.0, 0.0)) -> dict[str, list[float]]:
    """One number per crown and area, SD 1, correlation 0.64, around 10 and a shift."""
    x = 10 + 0.8 * rng.normal(size=(n, 1)) + 0.6 * rng.normal(size=(n, 3)) + np.array(shift)
    return {area: x[:, k].tolist() for k, area in enumerate(AREAS)}


def false_in_order(rng: Rng, lead: str, shifts, limited: bool, n: int = 6) -> bool:
    """Whether a study of some groups makes any false claim in the planned order."""
    plan = AnalysisPlan(
        lead=lead,
        secondary=SECONDARY,
        equivalence_um={"default": LIMIT} if limited else {},
    )
    groups = {f"g{k}": values(rng, n, shift) for k, shift in enumerate(shifts)}
    cohort = cohort_of(study(groups, analysis=plan, measures=MEASURES))
    rows = run(comparison_steps(cohort, cohort.places, "exploratory"))
    where = dict(zip(groups, shifts, strict=True))
    for row in decided_comparisons(cohort, rows, {}):
        k = AREAS.index(row.area)
        apart = abs(where[row.second][k] - where[row.first][k])
        if (row.outcome in DIFFERS and apart == 0) or (row.outcome in WITHIN and apart >= LIMIT):
            return True
    return False


def false_tolerance(rng: Rng, content: float, meets: bool, n: int = 8) -> bool:
    """Whether any claim about one group's three areas is false.

    Of all crowns the share ``content`` lies within each tolerance; 95 % are asked for.
    """
    z = {0.9499: NORMAL_95 - 0.001, 0.9501: NORMAL_95 + 0.001}[content]
    limits = Tolerances(tolerances_um=dict.fromkeys(AREAS, 10 + z))
    found = study({"g": values(rng, n)}, tolerances=limits, measures=MEASURES)
    return any(row.meets is meets for row in tolerance_rows(cohort_of(found)))


def false_precision(rng: Rng, n: int = 6) -> bool:
    """Whether any of three groups of the same precision is called more precise."""
    groups = {f"g{k}": values(rng, n, (k, k, k)) for k in range(3)}
    cohort = cohort_of(study(groups, measures=MEASURES))
    rows = run(precision_comparison_steps(cohort, precision_rows(cohort), {}))
    return any(row.outcome in DIFFERS for row in rows)


def _order(name: str, lead: str, shifts, limited: bool) -> Trial:
    return Trial(
        f"planned order, {name}",
        0.05,
        "at most",
        lambda r: false_in_order(r, lead, shifts, limited),
    )


NOTHING = (0.0, 0.0, 0.0)
CLAIMS = [
    _order("two alike groups", "welch", [NOTHING] * 2, False),
    _order("two alike groups by ranks", "ranks", [NOTHING] * 2, False),
    _order("two alike groups by trimmed means", "trimmed", [NOTHING] * 2, False),
    _order("three alike groups", "welch", [NOTHING] * 3, False),
    _order("two groups, all at the limit", "welch", [NOTHING, (LIMIT,) * 3], True),
    _order("equal, then at the limit", "welch", [NOTHING, (0.0, LIMIT, LIMIT)], True),
    _order("far apart, then equal", "welch", [NOTHING, (9.0, 0.0, 0.0)], True),
    _order("three groups, one apart", "welch", [NOTHING, NOTHING, (9.0, 0.0, LIMIT)], True),
    Trial(
        "tolerances of a group, just not met",
        0.05,
        "at most",
        lambda r: false_tolerance(r, 0.9499, meets=True),
    ),
    Trial(
        "tolerances of a group, just met",
        0.05,
        "at most",
        lambda r: false_tolerance(r, 0.9501, meets=False),
    ),
    Trial("precision of three alike groups", 0.05, "at most", false_precision),
]
"""False claims of the page, by family."""
