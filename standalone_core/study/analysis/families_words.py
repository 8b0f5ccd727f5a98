"""Which claims share a level and what is exploratory, in words."""

from __future__ import annotations

from collections.abc import Iterator

from ...shares import short_share
from ...words.text import capital, count_words, listed
from ..cannot_show import DISTANCES
from .cohort import Cohort, Places
from .families import chains_of, ordered_places
from .fit_cohort import seated_cohort
from .fit_words import place_words

INTERVALS = "Every interval is by itself, at the level that stands beside it, and not adjusted."


def families_words(cohort: Cohort) -> str:
    """Say which claims share a level, and what is exploratory."""
    if not cohort.group_pairs:
        return "There is one group only: nothing is compared, so no level is shared."
    return " ".join((*_order(cohort), *_exploratory(cohort), *_families(cohort), INTERVALS))


def _order(cohort: Cohort) -> Iterator[str]:
    plan, made = cohort.plan.analysis, ordered_places(cohort)
    level = short_share(plan.alpha)
    if plan.order[0] not in made:
        name = place_words(*plan.order[0])
        yield f"The plan's primary comparison ({name}) could not be made."
    if not made:
        return
    names = listed([place_words(*place) for place in made])
    if len(made) == 1:
        yield f"One comparison may make a claim, at the level of {level}: {names}."
    else:
        yield (
            f"{len(made)} comparisons may make a claim, in this order, each only if a claim was "
            f"made of all before it, and together at the level of {level}: {names}."
        )
    yield from _chains(cohort)


def _chains(cohort: Cohort) -> Iterator[str]:
    pairs, chains = len(cohort.group_pairs), chains_of(cohort)
    if chains == 1:
        return
    each = count_words(pairs, "pair") + " of groups"
    whose = {
        (True, False): "Each pair of groups has an order of its own",
        (False, True): "Differences and equivalence each have an order of their own",
        (True, True): f"Differences and equivalence of each of the {each} have orders of their own",
    }[pairs > 1, chains > pairs]
    if len(ordered_places(cohort)) == 1:
        yield f"The {each} share it by a step-down method."
    else:
        yield (
            f"{whose}: the {chains} share the level equally, and one that has come to its end "
            f"passes its part on."
        )


def _exploratory(cohort: Cohort) -> Iterator[str]:
    order = cohort.plan.analysis.order
    others = [place for place in cohort.places if place not in order]
    count = len(others) * len(cohort.group_pairs)
    if count:
        at_once = "The tests of all groups at once and all" if len(cohort.groups) > 2 else "All"
        yield (
            f"{at_once} other comparisons of trueness ({count}) are exploratory: their intervals "
            f"and p-values are not adjusted, and nothing is claimed of them."
        )


def _families(cohort: Cohort) -> Iterator[str]:
    """Say over what each family that stands by itself is adjusted."""
    pairs, level = len(cohort.group_pairs), short_share(cohort.plan.analysis.alpha)
    distances = [measure for measure in cohort.measures if measure in DISTANCES]
    precise = pairs * len(cohort.areas) * len(distances)
    families = [("precision", precise)] if any(cohort.pairs.values()) else []
    seated = seated_cohort(cohort)
    if seated is not None and len(seated.groups) > 1:
        families.append(("fit", len(_of_fit(seated)) * len(seated.group_pairs)))
    told = [f"{name} ({count_words(count, 'comparison')})" for name, count in families if count]
    if told:
        one = len(told) == 1
        are = "is a family of its own," if one else "are families of their own, each"
        yield f"{capital(listed(told))} {are} at the level of {level} by a step-down method."


def _of_fit(seated: Cohort) -> Places:
    order = seated.plan.analysis.order
    return tuple(place for place in seated.fit_pairs if place not in order)
