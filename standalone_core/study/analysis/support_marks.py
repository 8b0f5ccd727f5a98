"""What is left of each support mark, crown by crown and described per group."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from ...deviation.support_marks import CLEAN, GOUGE, NOT_MEASURED, STUB, MarkResult
from .cohort import Cohort
from .results.analysis import MarkRow

DESCRIBED_ONLY = (
    "What is left of support marks is described, not tested: that one group's stubs are higher "
    "than another's is no proof that its way of production makes higher ones. A height that is the "
    "highest point of a spot is raised by scanner noise."
)


def mark_rows(cohort: Cohort) -> tuple[MarkRow, ...]:
    """Describe every support mark in every group; empty without support marks.

    Returns
    -------
    tuple of MarkRow
        By mark, then by group.
    """
    names = dict.fromkeys(
        (found.kind, found.name)
        for crowns in cohort.crowns.values()
        for crown in crowns
        for found in crown.marks
    )
    return tuple(
        _row(group, [found for crown in cohort.crowns[group] for found in crown.marks], key)
        for key in names
        for group in cohort.groups
    )


def _row(group: str, results: Iterable[MarkResult], key: tuple[str, str]) -> MarkRow:
    own = [found for found in results if (found.kind, found.name) == key]
    judged = [found for found in own if found.verdict != NOT_MEASURED]
    heights = np.array([found.height_um for found in judged])
    return MarkRow(
        mark=key[1],
        kind=key[0],
        group=group,
        n=len(judged),
        not_measured=len(own) - len(judged),
        stubs=_count(judged, STUB),
        gouges=_count(judged, GOUGE),
        clean=_count(judged, CLEAN),
        height_mean_um=_mean(heights.tolist()),
        height_sd_um=float(heights.std(ddof=1)) if len(heights) > 1 else float("nan"),
        height_low_um=min(heights.tolist(), default=float("nan")),
        height_high_um=max(heights.tolist(), default=float("nan")),
        area_mean_mm2=_mean([found.area_mm2 for found in judged]),
        volume_mean_mm3=_mean([found.volume_mm3 for found in judged]),
    )


def _count(results: Iterable[MarkResult], verdict: str) -> int:
    return sum(found.verdict == verdict for found in results)


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values)) if len(values) else float("nan")
