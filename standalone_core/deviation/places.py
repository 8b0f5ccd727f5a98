"""Where a patch lies: its place and the areas that hold it."""

from __future__ import annotations

from ..areas.area_set import AreaSet
from ..arrays import FloatArray, IntArray


def place(point: FloatArray) -> tuple[float, float, float]:
    """Return a point (3,) as a tuple."""
    x, y, z = point.tolist()
    return x, y, z


def areas_holding(
    points: IntArray, weights: FloatArray, area_set: AreaSet, min_share: float
) -> tuple[str, ...]:
    """Return the areas that hold a share of a patch, largest first; ``whole`` if none does.

    Parameters
    ----------
    points : (k,) int
        Evaluation points of the design.
    weights : (k,) float
        Surface that each stands for, mm².
    area_set : AreaSet
    min_share : float
        Least share of the patch, 0 to 1.
    """
    total = float(weights.sum())
    shares = {
        name: float(weights[area.points[points]].sum()) / total if total > 0 else 0.0
        for name, area in area_set.areas.items()
        if name != "whole"
    }
    held = [name for name, share in shares.items() if share > 0 and share >= min_share]
    return tuple(sorted(held, key=lambda name: -shares[name])) or ("whole",)
