"""What a study cannot show, however its crowns turn out: told before any is measured."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from math import comb

from ..areas.area_set import AREA_NAMES
from ..words.text import count_words
from .plan import GroupPlan, StudyPlan

DISTANCES = frozenset(
    {"mean_abs_um", "rms_um", "half_p90_p10_um", "sd_um", "hausdorff_um", "hausdorff_both_um"}
)
"""Measures of a pair that say how far two crowns are apart; signed ones and shares do not."""

_NEED_MESIAL = 2  # areas that are found only if the mesial direction is known
_MOST = 100  # crowns per group that a remedy names


def cannot_show(plan: StudyPlan) -> tuple[str, ...]:
    """Say which comparisons must end undecided, and what would help.

    By ranks, and by permuting crowns, the smallest p-value of two groups is that of complete
    separation: 2/C(n₁ + n₂, n₁). Corrected over its family it may still be above α.

    Parameters
    ----------
    plan : StudyPlan
        Areas that it does not name are counted as those that are sought automatically.
    """
    pairs = list(combinations(plan.groups, 2))
    if not pairs:
        return ()
    areas = len(plan.areas) or _automatic(plan)
    return (*_by_ranks(plan, pairs, areas), *_precision(plan, pairs, areas))


def _by_ranks(
    plan: StudyPlan, pairs: list[tuple[GroupPlan, GroupPlan]], areas: int
) -> Iterator[str]:
    if plan.analysis.lead != "ranks":
        return
    family = (areas * len(plan.measures) - 1) * len(pairs)
    worst = max(pairs, key=_smallest)
    primary, others = (min(1.0, m * _smallest(worst)) for m in (len(pairs), family))
    alpha = plan.analysis.alpha
    if max(primary, others) <= alpha:
        return
    what = "the primary comparison and all others" if primary > alpha else "all but the primary one"
    corrected = primary if primary > alpha else others
    yield (
        f"By ranks {_sizes(worst)} give p = {_smallest(worst):.2g} at best, {corrected:.2g} after "
        f"correction: {what} must end undecided. {_help(plan, family)}"
    )


def _precision(
    plan: StudyPlan, pairs: list[tuple[GroupPlan, GroupPlan]], areas: int
) -> Iterator[str]:
    family = areas * len([name for name in plan.measures if name in DISTANCES]) * len(pairs)
    worst = max(pairs, key=_smallest)
    least = max(_smallest(worst), 1 / plan.analysis.resamples)
    corrected = min(1.0, family * least)
    if family and corrected > plan.analysis.alpha:
        yield (
            f"Precision is compared by permuting crowns: {_sizes(worst)} give p = {least:.2g} at "
            f"best, {corrected:.2g} after correction over {count_words(family, 'comparison')}, so "
            f"none can be shown to be more precise. {_help(plan, family)}"
        )


def _help(plan: StudyPlan, family: int) -> str:
    """Say what would help: more crowns, or a smaller family."""
    alpha = plan.analysis.alpha
    enough = next((n for n in range(2, _MOST) if family * 2 / comb(2 * n, n) <= alpha), None)
    crowns = "" if enough is None else f"{enough} crowns per group would do; so would "
    means = ', or means in place of ranks (lead = "welch")' if plan.analysis.lead == "ranks" else ""
    return f"{crowns}fewer areas or measures under [analysis]{means}."


def _smallest(pair: tuple[GroupPlan, GroupPlan]) -> float:
    first, second = (len(group.scans) for group in pair)
    return min(1.0, 2 / comb(first + second, first))


def _sizes(pair: tuple[GroupPlan, GroupPlan]) -> str:
    first, second = (len(group.scans) for group in pair)
    return f"{first} and {count_words(second, 'crown')}"


def _automatic(plan: StudyPlan) -> int:
    known = plan.check.areas.mesial_direction is not None
    return len(AREA_NAMES) - (0 if known else _NEED_MESIAL)
