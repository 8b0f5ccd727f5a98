"""Groups of crowns point by point: mean, spread, worst case, and where groups differ."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from scipy.special import stdtr

from ...areas.area_set import AreaSet
from ...arrays import FloatArray
from ...check_settings import CheckSettings
from ...measure import ReadyDesign
from ...progress import Progress, Steps
from ...statistics.multiplicity import benjamini_hochberg
from .result_store import ResultStore, still_kept
from .results import Crown, DifferenceMap, GroupMap, SpreadParts
from .scan_job import load_deviations


def map_groups_steps(
    groups: Mapping[str, Sequence[Crown]],
    ready: ReadyDesign,
    store: ResultStore,
    settings: CheckSettings,
) -> Steps[dict[str, GroupMap]]:
    """Map every group that has a crown, one crown's deviations in memory at a time."""
    maps: dict[str, GroupMap] = {}
    points, limit_um = len(ready.evaluation.points), settings.tolerances.limit_um("whole")
    for number, (name, crowns) in enumerate(groups.items()):
        yield Progress("Mapping groups", number / len(groups))
        if crowns:
            deviations = (
                still_kept(load_deviations(store, crown.key, ready.evaluation, settings))
                for crown in crowns
            )
            found = (field.deviation_mm for field in deviations)
            maps[name] = group_map(name, found, limit_um, points)
    return maps


def group_map(
    group: str, deviations_mm: Iterable[FloatArray], limit_um: float, points: int
) -> GroupMap:
    """Gather a group's deviations point by point, one crown in memory at a time.

    Mean and variance are updated crown by crown (Welford, Technometrics 4:419, 1962).

    Parameters
    ----------
    group : str
    deviations_mm : iterable of (p,) float
        One array per crown; NaN where a point does not count.
    limit_um : float
        Tolerance of the whole crown, µm; NaN for none.
    points : int
        Count of evaluation points, p.
    """
    count = np.zeros(points, dtype=np.int64)
    mean, squares = np.zeros(points), np.zeros(points)
    worst, outside = np.zeros(points), np.zeros(points)
    crowns = 0
    for deviation_mm in deviations_mm:
        crowns += 1
        there = np.isfinite(deviation_mm)
        value = np.where(there, 1e3 * deviation_mm, 0.0)
        count += there
        step = np.where(there, value - mean, 0.0)
        mean += step / np.maximum(count, 1)
        squares += step * np.where(there, value - mean, 0.0)
        worst = np.where(np.abs(value) > np.abs(worst), value, worst)
        outside += np.abs(value) > limit_um
    some, several = count > 0, count > 1
    return GroupMap(
        group=group,
        n=crowns,
        counted=count,
        mean_um=np.where(some, mean, np.nan),
        sd_um=np.where(several, np.sqrt(squares / np.maximum(count - 1, 1)), np.nan),
        worst_um=np.where(some, worst, np.nan),
        share_outside=np.where(
            some & np.isfinite(limit_um), outside / np.maximum(count, 1), np.nan
        ),
    )


def difference_map(first: GroupMap, second: GroupMap) -> DifferenceMap:
    """Test at every point whether two groups' means differ.

    Welch's t test (Biometrika 34:28, 1947) from counts, means and standard deviations;
    p-values adjusted over the points (Benjamini & Hochberg, J R Stat Soc B 57:289, 1995).
    Points where a group has fewer than two crowns, or neither group varies, are not tested.
    """
    n1, n2 = np.maximum(first.counted, 2), np.maximum(second.counted, 2)
    v1, v2 = first.sd_um**2 / n1, second.sd_um**2 / n2  # NaN where fewer than two crowns count
    variance = v1 + v2
    tested = variance > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        freedom = variance**2 / (v1**2 / (n1 - 1) + v2**2 / (n2 - 1))
        t = (second.mean_um - first.mean_um) / np.sqrt(variance)
    p_value = np.where(tested, 2.0 * stdtr(freedom, -np.abs(t)), np.nan)
    return DifferenceMap(
        first=first.group,
        second=second.group,
        difference_um=np.where(tested, second.mean_um - first.mean_um, np.nan),
        p_value=p_value,
        q_value=benjamini_hochberg(p_value),
    )


def spread_parts(group: GroupMap, area_set: AreaSet) -> tuple[SpreadParts, ...]:
    """Take a group's deviation apart into what its crowns share and what they do not, per area.

    The mean map m holds, besides what the crowns share, the chance part s²/n of each point; it is
    taken off. Points weigh by their area w times the n crowns that they count on, in all three
    numbers alike, since then their squares add: at each point the mean square over crowns is
    m² + s²(n − 1)/n = (m² − s²/n) + s². Points that count on one crown only take no part.
    """
    weights = area_set.evaluation.weights_mm2
    rows = []
    for name, area in area_set.areas.items():
        inside = area.points & (group.counted > 1)
        n = group.counted[inside]
        weight = weights[inside] * n
        mean2, variance = group.mean_um[inside] ** 2, group.sd_um[inside] ** 2
        rows.append(
            SpreadParts(
                group=group.group,
                area=name,
                n=group.n,
                total_rms_um=_root(weight, mean2 + variance * (n - 1) / n),
                systematic_um=_root(weight, mean2 - variance / n),
                random_um=_root(weight, variance),
            )
        )
    return tuple(rows)


def pairs_of(names: Sequence[str]) -> list[tuple[str, str]]:
    """Return all pairs of different names, in order."""
    return [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]


def _root(weights: FloatArray, squares: FloatArray) -> float:
    total = float(weights.sum())
    return float(np.sqrt(max(0.0, float(weights @ squares) / total))) if total > 0 else np.nan
