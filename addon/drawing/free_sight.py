"""From where a place of a surface can be looked at. Needs no Blender."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

TILTS_DEG = tuple(range(10, 81, 10))
"""How far a look may lean from the normal; flatter ones show nothing of the place."""
AROUND_DEG = 15.0  # between looks of one tilt, at most and about


def free_sight(
    normal: Sequence[float], is_seen: Callable[[NDArray[np.float64]], bool]
) -> NDArray[np.float64] | None:
    """Return the way to the eye that is free and leans least from the outward normal, (3,).

    A crown's inner surface is not seen along its normal: there stands the opposite wall. Where
    no way out is free, the mesh may be inside out, which the other side of it tells. None for a
    place that cannot be seen from anywhere.

    Parameters
    ----------
    normal : (3,) float
        Outward, of any length.
    is_seen : function
        Tells of a unit vector whether the place is seen from there.

    Examples
    --------
    >>> from cuspwise.addon.drawing.free_sight import free_sight
    >>> free_sight((0.0, 0.0, 2.0), lambda way: True).tolist()
    [0.0, 0.0, 1.0]
    >>> low = free_sight((0.0, 0.0, 1.0), lambda way: bool(way[2] < 0.6))
    >>> round(float(low[2]), 3)  # 60° is the first of the tilts that is low enough
    0.5
    """
    straight = np.asarray(normal, dtype=np.float64)
    straight = straight / np.linalg.norm(straight)
    for side in (straight, -straight):
        for way in _ways(side):
            if is_seen(way):
                return way
    return None


def _ways(straight: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Yield unit vectors, the straight one first, then ever more tilted ones all around it."""
    yield straight
    first = np.cross(straight, np.eye(3)[np.abs(straight).argmin()])
    first /= np.linalg.norm(first)
    second = np.cross(straight, first)
    for tilt in np.deg2rad(TILTS_DEG):
        count = int(np.ceil(360.0 / AROUND_DEG * np.sin(tilt)))
        for turn in 2.0 * np.pi * np.arange(count) / count:
            beside = np.cos(turn) * first + np.sin(turn) * second
            yield np.cos(tilt) * straight + np.sin(tilt) * beside
