"""Those crowns of a study that are seated on their dies."""

from __future__ import annotations

from .cohort import Cohort


def seated_cohort(cohort: Cohort) -> Cohort | None:
    """Return the crowns that were to be seated, of those groups of which any was; None for none.

    A crown that was to be seated and could not be stays, without values; one that was not to be
    seated is no missing one.
    """
    plan = cohort.plan.fit
    if plan is None:
        return None
    left = {name for name in cohort.names if not plan.seats(name)}
    for group in cohort.groups:
        if not any(crown.fit for crown in cohort.crowns[group]):
            left |= {crown.name for crown in cohort.crowns[group]}
    seated = cohort.without(left)
    return seated if seated.groups else None
