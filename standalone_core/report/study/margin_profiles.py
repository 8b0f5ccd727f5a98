"""The margin profile of each group: mean deviation and spread place by place along the line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ...arrays import FloatArray, IntArray
from ...deviation.margin_directions import Directions
from ...deviation.margin_places import margin_places
from ...deviation.settings import MarginProfileSettings
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import StudyRun
from ..drawing.amount_colours import GroupStyle, group_style
from .sentences import titles_of


@dataclass(frozen=True, eq=False)
class GroupProfile:
    """One group's deviations along the margin line, µm; NaN where there is none.

    Attributes
    ----------
    group, title : str
    style : GroupStyle
    crowns : int
        Crowns with a profile.
    counted : (p,) int
        Those that count at a place.
    mean_um, sd_um : (p,) float
        Over them; the standard deviation between crowns (n − 1).
    least_um, most_um : (p,) float
    """

    group: str
    title: str
    style: GroupStyle
    crowns: int
    counted: IntArray
    mean_um: FloatArray
    sd_um: FloatArray
    least_um: FloatArray
    most_um: FloatArray


@dataclass(frozen=True, eq=False)
class MarginProfiles:
    """The profiles of all groups, at the same places.

    Attributes
    ----------
    groups : tuple of GroupProfile
    place_mm, angle_deg : (p,) float
        Arc length along the design's margin line, and the angle about the path of insertion.
    words : tuple of str
        What each direction is called.
    directions : Directions
    tolerance_um : float
        Of the margin; NaN for none.
    """

    groups: tuple[GroupProfile, ...]
    place_mm: FloatArray
    angle_deg: FloatArray
    words: tuple[str, ...]
    directions: Directions
    tolerance_um: float


def margin_profiles(run: StudyRun, analysis: StudyAnalysis) -> MarginProfiles | None:
    """Gather the margin profiles of all crowns by group; None if there are none.

    All crowns are measured at the same places of the design's margin line, so a group's mean and
    standard deviation are taken place by place.
    """
    areas = run.area_set
    if areas.margin_line is None or areas.insertion is None:
        return None
    places = margin_places(areas.margin_line, areas, MarginProfileSettings().step_mm)
    groups = []
    for k, (group, title) in enumerate(titles_of(analysis).items()):
        found = [c.margin_um for c in run.crowns_of(group) if c.margin_um is not None]
        stack = np.array([one for one in found if len(one) == len(places)], dtype=np.float64)
        if len(stack):
            groups.append(_profile(group, title, group_style(k), stack))
    if not groups:
        return None
    return MarginProfiles(
        groups=tuple(groups),
        place_mm=places.place_mm,
        angle_deg=places.angle_deg,
        words=tuple(places.directions.words(angle) for angle in places.angle_deg.tolist()),
        directions=places.directions,
        tolerance_um=run.plan.check.tolerances.limit_um("margin"),
    )


def _profile(group: str, title: str, style: GroupStyle, stack: FloatArray) -> GroupProfile:
    """Describe the crowns of a group, (n, p), place by place."""
    known = np.isfinite(stack)
    counted = known.sum(axis=0)
    mean = _over(np.where(known, stack, 0.0).sum(axis=0), counted)
    square = np.where(known, (stack - mean) ** 2, 0.0).sum(axis=0)
    some = counted > 0
    return GroupProfile(
        group=group,
        title=title,
        style=style,
        crowns=len(stack),
        counted=counted,
        mean_um=mean,
        sd_um=np.sqrt(_over(square, counted - 1)),
        least_um=np.where(some, np.where(known, stack, np.inf).min(axis=0), np.nan),
        most_um=np.where(some, np.where(known, stack, -np.inf).max(axis=0), np.nan),
    )


def _over(total: FloatArray, count: IntArray) -> FloatArray:
    """Divide; NaN where the count is not positive."""
    shares: FloatArray = np.full(len(total), np.nan)
    return np.divide(total, count, out=shares, where=count > 0)


def profile_rows(run: StudyRun, analysis: StudyAnalysis) -> Iterator[dict[str, object]]:
    """Yield a row per group and place; ``low_um`` and ``high_um`` are mean − SD and mean + SD."""
    profiles = margin_profiles(run, analysis)
    for one in () if profiles is None else profiles.groups:
        assert profiles is not None
        for k, words in enumerate(profiles.words):
            mean, sd = float(one.mean_um[k]), float(one.sd_um[k])
            yield {
                "group": one.group,
                "place_mm": float(profiles.place_mm[k]),
                "angle_deg": float(profiles.angle_deg[k]),
                "direction": words,
                "crowns": one.crowns,
                "n": int(one.counted[k]),
                "mean_um": mean,
                "sd_um": sd,
                "low_um": mean - sd,
                "high_um": mean + sd,
                "min_um": float(one.least_um[k]),
                "max_um": float(one.most_um[k]),
            }
