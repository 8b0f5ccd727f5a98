"""Which claims share a level, and what that makes of their p-values.

A claim says that groups differ, are equivalent, or that one is more precise. The comparisons of
the plan's order may make one: the primary, then the secondary ones, along one chain per pair of
groups; the chains share α. Where an equivalence limit is set, differences and equivalence are two
chains: α that came through the claim of a difference may not pass to the next equivalence by the
other claim at the same place, since both of the next could then be wrong. Where the order is of
one comparison, nothing is passed on, and the two may both have all of it: they exclude each
other. All other comparisons of trueness are exploratory and make none. Fit, precision and causes
are families of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...statistics.graphical import chains, graphical
from ...statistics.multiplicity import step_down_exclusive
from ..plan import AnalysisPlan
from .cohort import Cohort, Places
from .fit_cohort import seated_cohort
from .results.comparisons import Adjusted, Comparison, Contrast, Standing

UNADJUSTED = Adjusted(np.nan, 0)


@dataclass(frozen=True)
class Judgement:
    """The p-values that decide one comparison: of the difference, and of equivalence."""

    difference: Adjusted
    equivalence: float


def standing_of(plan: AnalysisPlan, area: str, measure: str, otherwise: Standing) -> Standing:
    """Return what a comparison may claim: by the plan's order, or what all others may."""
    order = plan.order
    if (area, measure) not in order:
        return otherwise
    return "primary" if (area, measure) == order[0] else "secondary"


def in_order(rows: Sequence[Comparison], plan: AnalysisPlan) -> list[Judgement]:
    """Adjust the comparisons of the plan's order, of all pairs of groups together.

    Parameters
    ----------
    rows : sequence of Comparison
        The primary and the secondary ones; of form and fit alike.
    plan : AnalysisPlan

    Returns
    -------
    list of Judgement
        In the order of ``rows``.
    """
    if len({(row.area, row.measure) for row in rows}) == 1:
        return as_family(rows)
    count = len(rows)
    orders: list[list[int]] = []
    for pair in dict.fromkeys((row.first, row.second) for row in rows):
        places = [i for i, row in enumerate(rows) if (row.first, row.second) == pair]
        places.sort(key=lambda i: plan.order.index((rows[i].area, rows[i].measure)))
        orders.append(places)
        orders.append([count + i for i in places if rows[i].equivalence.test is not None])
    p = [row.p_value for row in rows] + [row.equivalence.p_value for row in rows]
    weights, passes = chains(orders, 2 * count)
    adjusted = graphical(p, weights, passes)
    tests = sum(len(order) for order in orders)
    return [
        Judgement(Adjusted(float(adjusted[i]), tests), float(adjusted[count + i]))
        for i in range(count)
    ]


def as_family(rows: Sequence[Contrast]) -> list[Judgement]:
    """Adjust comparisons as one family: of differences and of equivalence together.

    Returns
    -------
    list of Judgement
        In the order of ``rows``.
    """
    p = [row.p_value for row in rows]
    different, equal = step_down_exclusive(p, [row.equivalence.p_value for row in rows])
    tests = int(np.count_nonzero(~np.isnan(p)))
    return [
        Judgement(Adjusted(float(d), tests), float(e))
        for d, e in zip(different, equal, strict=True)
    ]


def chains_of(cohort: Cohort) -> int:
    """Return how many chains of comparisons share the level, as far as the plan tells."""
    return len(cohort.group_pairs) * cohort.plan.orders_per_pair(ordered_places(cohort))


def ordered_places(cohort: Cohort) -> Places:
    """Return the plan's order without what the design or the crowns do not have."""
    seated = seated_cohort(cohort)
    of_fit = seated.fit_pairs if seated is not None and seated.group_pairs else ()
    made = {*cohort.places, *of_fit}
    return tuple(place for place in cohort.plan.analysis.order if place in made)
