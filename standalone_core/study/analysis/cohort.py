"""The crowns of a study as numbers: one value per crown, area and measure."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import TypeAlias

import numpy as np

from ...areas.support_marks import mark_of
from ...arrays import FloatArray
from ...deviation.direction import DESIGN_TO_SCAN, Direction
from ...deviation.measures import AreaMeasures
from ..fit_plan import FIT_MEASURES
from ..measuring.results import Crown, Pair, StudyRun
from ..plan import StudyPlan

Places: TypeAlias = tuple[tuple[str, str], ...]
"""What is described and compared: areas, each with a measure."""


@dataclass(frozen=True, eq=False)
class Cohort:
    """Crowns and pairs that are analysed together.

    Trueness is taken in the plan's direction. Precision has none to choose: crowns are held
    against each other at the design's points.

    Attributes
    ----------
    plan : StudyPlan
    groups : tuple of str
        Those with at least one crown, in the plan's order.
    areas, measures : tuple of str
        What is described and compared.
    crowns : mapping of group name to tuple of Crown
        By name, so that no result depends on the order of the run.
    pairs : mapping of group name to tuple of Pair
    """

    plan: StudyPlan
    groups: tuple[str, ...]
    areas: tuple[str, ...]
    measures: tuple[str, ...]
    crowns: Mapping[str, tuple[Crown, ...]]
    pairs: Mapping[str, tuple[Pair, ...]]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all crowns, group by group."""
        return tuple(crown.name for group in self.groups for crown in self.crowns[group])

    @property
    def group_pairs(self) -> tuple[tuple[str, str], ...]:
        """All pairs of groups."""
        return tuple(combinations(self.groups, 2))

    @property
    def places(self) -> Places:
        """Every area with every measure of trueness."""
        return tuple((area, measure) for area in self.areas for measure in self.measures)

    @property
    def fit_pairs(self) -> Places:
        """The areas and measures of fit that any crown has a number of, in the plan's order.

        Areas that the tables of measures do not name, such as a contact with a tooth of its own
        name, come after those that they do.
        """
        fits = [crown.fit for group in self.groups for crown in self.crowns[group] if crown.fit]
        if self.plan.fit is None:
            return ()
        found: list[tuple[str, str]] = []
        for measure in self.plan.fit.measures:
            areas = {
                one.area
                for fit in fits
                for one in fit.values
                if one.measure == measure and math.isfinite(one.value)
            }
            usual = [area for area in FIT_MEASURES[measure] if area in areas]
            found += [(area, measure) for area in (*usual, *sorted(areas - {*usual}))]
        return tuple(found)

    def title(self, group: str) -> str:
        """Return a group's name for readers."""
        return self.plan.group(group).title

    @property
    def direction(self) -> Direction:
        """In which deviations from the design are judged, described and compared."""
        return self.plan.check.direction

    def value_of(self, crown: Crown, area: str, measure: str) -> float:
        """Return one number of a crown, of its form or of its fit; NaN for none."""
        if measure in FIT_MEASURES:
            return math.nan if crown.fit is None else crown.fit.value(area, measure)
        return measured(crown.measures, area, measure, self.direction)

    def values(self, group: str, area: str, measure: str) -> FloatArray:
        """Return one value per crown of a group, of its form or fit; NaN where there is none."""
        values = [self.value_of(crown, area, measure) for crown in self.crowns[group]]
        return np.array(values, dtype=np.float64)

    def by_group(self, area: str, measure: str) -> dict[str, FloatArray]:
        """Return the values of all groups."""
        return {group: self.values(group, area, measure) for group in self.groups}

    def without(self, crowns: Collection[str]) -> Cohort:
        """Return the cohort without some crowns and their pairs."""
        left = {
            g: tuple(c for c in rows if c.name not in crowns) for g, rows in self.crowns.items()
        }
        groups = tuple(group for group in self.groups if left[group])
        return Cohort(
            plan=self.plan,
            groups=groups,
            areas=self.areas,
            measures=self.measures,
            crowns={group: left[group] for group in groups},
            pairs={
                group: tuple(p for p in self.pairs[group] if not {p.first, p.second} & {*crowns})
                for group in groups
            },
        )


def cohort_of(run: StudyRun) -> Cohort:
    """Return the whole cohort of a run: all groups with a crown, all areas that were found.

    Single support marks are areas too, but described in their own way; they are compared as areas
    only if the plan names them.
    """
    present = {crown.group for crown in run.crowns}
    groups = tuple(group.name for group in run.plan.groups if group.name in present)
    asked = run.plan.areas or tuple(a for a in run.area_set.areas if mark_of(a) is None)
    return Cohort(
        plan=run.plan,
        groups=groups,
        areas=tuple(area for area in asked if area in run.area_set.areas),
        measures=run.plan.measures,
        crowns={g: tuple(sorted(run.crowns_of(g), key=lambda c: c.name)) for g in groups},
        pairs={
            g: tuple(
                sorted((p for p in run.pairs if p.group == g), key=lambda p: (p.first, p.second))
            )
            for g in groups
        },
    )


def measured(
    rows: Iterable[AreaMeasures],
    area: str,
    measure: str,
    direction: Direction = DESIGN_TO_SCAN,
) -> float:
    """Return one number of an area in a direction; NaN if the area or the number is missing.

    What is measured between crowns stands at the design's points, as from design to scan.
    """
    for row in rows:
        if (row.area, row.direction) == (area, direction):
            return float(getattr(row, measure))
    return float("nan")
