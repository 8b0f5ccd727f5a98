"""What a study cannot show, however its crowns turn out: told before any is measured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from math import comb
from typing import TypeAlias

from ..areas.area_set import AREA_NAMES
from ..words.text import count_words
from .plan import GroupPlan, StudyPlan

DISTANCES = frozenset(
    {"mean_abs_um", "rms_um", "half_p90_p10_um", "sd_um", "hausdorff_um", "hausdorff_both_um"}
)
"""Measures of a pair that say how far two crowns are apart; signed ones and shares do not."""

Pairs: TypeAlias = Sequence[tuple[GroupPlan, GroupPlan]]

_NEED_MESIAL = 2  # areas that are found only if the mesial direction is known
_MOST = 100  # crowns per group that a remedy names


def cannot_show(plan: StudyPlan) -> tuple[str, ...]:
    """Say which comparisons must end undecided, and what would help.

    By ranks, and by permuting crowns, the smallest p-value of two groups is that of complete
    separation: 2/C(n₁ + n₂, n₁). Adjusted with the claims that it shares its level with it may
    still be above α.

    Parameters
    ----------
    plan : StudyPlan
        Areas that it does not name are counted as those that are sought automatically.
    """
    pairs = list(combinations(plan.groups, 2))
    if not pairs:
        return ()
    return (*_by_ranks(plan, pairs), *_precision(plan, pairs))


def _by_ranks(plan: StudyPlan, pairs: Pairs) -> Iterator[str]:
    """Tell of the claims in the plan's order, whose chains share the level equally."""
    if plan.analysis.lead != "ranks":
        return
    chains = len(pairs) * plan.orders_per_pair(plan.analysis.order)
    worst = max(pairs, key=_smallest)
    adjusted = min(1.0, chains * _smallest(worst))
    if adjusted <= plan.analysis.alpha:
        return
    shared = f", {adjusted:.2g} as one of {chains} orders that share the level" * (chains > 1)
    yield (
        f"By ranks {_sizes(worst)} give p = {_smallest(worst):.2g} at best{shared}: no difference "
        f"between them can be shown. {_crowns(plan, chains)}means in place of ranks "
        f'(lead = "welch") would do.'
    )


def _precision(plan: StudyPlan, pairs: Pairs) -> Iterator[str]:
    areas = len(plan.areas) or _automatic(plan)
    family = areas * len([name for name in plan.measures if name in DISTANCES]) * len(pairs)
    worst = max(pairs, key=_smallest)
    least = max(_smallest(worst), 1 / plan.analysis.resamples)
    adjusted = min(1.0, family * least)
    if family and adjusted > plan.analysis.alpha:
        yield (
            f"Precision is compared by permuting crowns: {_sizes(worst)} give p = {least:.2g} at "
            f"best, {adjusted:.2g} after correction over {count_words(family, 'comparison')}, so "
            f"none can be shown to be more precise. {_crowns(plan, family)}fewer areas or measures "
            f"under [analysis] would do."
        )


def _crowns(plan: StudyPlan, claims: int) -> str:
    """Say how many crowns per group would help; nothing if too many."""
    alpha = plan.analysis.alpha
    enough = next((n for n in range(2, _MOST) if claims * 2 / comb(2 * n, n) <= alpha), None)
    return "" if enough is None else f"{enough} crowns per group, or "


def _smallest(pair: tuple[GroupPlan, GroupPlan]) -> float:
    first, second = (len(group.scans) for group in pair)
    return min(1.0, 2 / comb(first + second, first))


def _sizes(pair: tuple[GroupPlan, GroupPlan]) -> str:
    first, second = (len(group.scans) for group in pair)
    return f"{first} and {count_words(second, 'crown')}"


def _automatic(plan: StudyPlan) -> int:
    known = plan.check.areas.mesial_direction is not None
    return len(AREA_NAMES) - (0 if known else _NEED_MESIAL)
