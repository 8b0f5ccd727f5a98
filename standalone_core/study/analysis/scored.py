"""The scores of the crowns that are in a study: per item, as a table of crowns by examiners."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...arrays import BoolArray, FloatArray
from ..file.examiner_scores import ScoreTable
from .cohort import Cohort


@dataclass(frozen=True, eq=False)
class Scored:
    """One item's scores of the crowns that are in the study.

    Attributes
    ----------
    item : str
    words : tuple of str
        What 0, 1, 2, … mean.
    examiners, crowns, groups : tuple of str
    scores : (n, k) float
    median : (n,) float
        Over the examiners who scored the crown; NaN for none.
    """

    item: str
    words: tuple[str, ...]
    examiners: tuple[str, ...]
    crowns: tuple[str, ...]
    groups: tuple[str, ...]
    scores: FloatArray
    median: FloatArray

    @property
    def complete(self) -> BoolArray:
        """Whether all examiners scored the crown, (n,)."""
        return np.asarray(~np.isnan(self.scores).any(axis=1))

    def of_group(self, group: str, *, complete: bool = False) -> FloatArray:
        """Return the medians of a group's scored crowns, or of those that all scored."""
        own = np.array([name == group for name in self.groups], dtype=bool)
        counts = self.complete if complete else ~np.isnan(self.median)
        return np.asarray(self.median[own & counts])


def scored(cohort: Cohort, table: ScoreTable) -> Scored:
    """Return a table's rows of the crowns that are in the study, in its order."""
    order = {name: i for i, name in enumerate(cohort.names)}
    rows = sorted((order[name], i) for i, name in enumerate(table.crowns) if name in order)
    taken = [i for _, i in rows]
    scores = table.scores[taken]
    median = np.array(
        [np.median(x[~np.isnan(x)]) if (~np.isnan(x)).any() else np.nan for x in scores]
    )
    return Scored(
        item=table.item,
        words=table.words,
        examiners=table.examiners,
        crowns=tuple(table.crowns[i] for i in taken),
        groups=tuple(table.groups[i] for i in taken),
        scores=scores,
        median=median,
    )
