"""What a ball leaves in inside corners: a filled fossa, a corner that a bur cannot reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray, IntArray
from ..errors import SettingError
from ..progress import Progress, Steps, run
from ..surface.closest import SurfaceIndex
from .resting_balls import PointCloud, rest_on_surface, thinned

_BESIDE_MM = 0.2
"""Balls that touch this close to where none fits are tried, too."""
_SUNK_MM = 5e-3
"""Balls that slide farther than this towards their points are tried at both places."""
_CANDIDATES = 8


@dataclass(frozen=True, eq=False)
class BallExcess:
    """What balls of k radii leave at n points.

    Attributes
    ----------
    radii_mm : (k,) float
        As they were given.
    distance_mm : (k, n) float
        From each point to the nearest ball that rests on the surface, ``min |p − c| − r``: what
        a tool of that radius leaves. 0 where the ball touches, and at points that were not
        chosen. NaN where no ball of that radius comes to rest anywhere.
    normal_mm : (k, n) float
        The same times the cosine between the way to the ball and the normal: how far a small
        share of the same filling moves the surface along its normal.
    """

    radii_mm: FloatArray
    distance_mm: FloatArray
    normal_mm: FloatArray

    @property
    def deepest_mm(self) -> FloatArray:
        """Largest distance for each radius, (k,), mm."""
        deepest: FloatArray = np.max(self.distance_mm, axis=1, initial=0.0)
        return deepest


def ball_excess(
    index: SurfaceIndex,
    points: ArrayLike,
    normals: ArrayLike,
    chosen: ArrayLike,
    radii_mm: Sequence[float],
) -> BallExcess:
    """Measure what balls leave in the inside corners of a surface.

    The ball may be centred wherever it touches the surface from outside without cutting into it;
    a point is filled up to the nearest such ball. In a groove of full angle 2β that is
    ``r (1 / sin β − 1)`` at the bottom (0.414 r for a right angle).

    A ball that touches at p and fits does so for every smaller radius: the largest is tried at
    all points, each smaller one only where the one before did not fit.

    Parameters
    ----------
    index : SurfaceIndex
        The design, its faces pointing outwards, closed or open. An open border is taken as the
        edge of a body with nothing behind it: balls rest on it, and beyond it nothing holds them.
    points, normals : (n, 3) array_like
        Points all over the surface, mm, no farther apart than about a quarter of the smallest
        radius, and unit normals: those of an evaluation mesh.
    chosen : (n,) array_like of bool
        Points at which the excess is wanted and that the ball rolls over: one side of a crown.
        It collides with all of the surface. Points within 0.3 mm of a thin rim are better left
        out, since there the ball rolls round the edge.
    radii_mm : sequence of float
        Radii of the balls, mm.

    Returns
    -------
    BallExcess

    Raises
    ------
    SettingError
        Shapes that do not fit together; no radius, or one that is not above 0.

    Examples
    --------
    >>> import numpy as np
    >>> from cuspwise import demo_crown, SurfaceIndex
    >>> from cuspwise.standalone_core.causes.ball_excess import ball_excess
    >>> crown = demo_crown(edge_mm=0.2)
    >>> outside = crown.s > 0.3
    >>> left = ball_excess(
    ...     SurfaceIndex(crown.mesh), crown.mesh.vertices, crown.vertex_normals, outside, [1.4, 0.6]
    ... )
    >>> bool(left.deepest_mm[0] > left.deepest_mm[1] > 0.0)
    True
    """
    return run(ball_excess_steps(index, points, normals, chosen, radii_mm))


def ball_excess_steps(
    index: SurfaceIndex,
    points: ArrayLike,
    normals: ArrayLike,
    chosen: ArrayLike,
    radii_mm: Sequence[float],
) -> Steps[BallExcess]:
    """:func:`ball_excess` step by step."""
    cloud, rows, radii = _checked(points, normals, chosen, radii_mm)
    distance = np.zeros((len(radii), len(cloud.points)))
    normal = np.zeros_like(distance)
    for done, k in enumerate(np.argsort(-radii, kind="stable")):
        yield Progress("Rolling balls over the surface", done / len(radii))
        radius = float(radii[k])
        fits = cloud.is_clear(cloud.points[rows] + radius * cloud.normals[rows], radius)
        touched, rows = rows[fits], rows[~fits]
        if len(rows):
            centres = _resting(index, cloud, touched, rows, radius)
            distance[k, rows], normal[k, rows] = _ways(cloud, rows, centres, radius)
    return BallExcess(radii, distance, normal)


def _resting(
    index: SurfaceIndex, cloud: PointCloud, touched: IntArray, rows: IntArray, radius: float
) -> FloatArray:
    """Centres of balls at rest in and beside the places where none fits, (j, 3)."""
    points, normals = cloud.points, cloud.normals
    beside, _ = cKDTree(points[rows]).query(points[touched], distance_upper_bound=_BESIDE_MM)
    edge = touched[np.isfinite(beside)]
    pushed = cloud.push_out(rows, radius)
    kept = thinned(pushed, radius)
    pushed, targets = pushed[kept], points[rows[kept]]
    sunk = cloud.sink(pushed, targets, radius)
    deeper = np.linalg.norm(sunk - pushed, axis=1) > _SUNK_MM
    touching = points[edge] + radius * normals[edge]
    few = thinned(touching, radius)
    centres, targets = rest_on_surface(
        index,
        np.concatenate([pushed, sunk[deeper], touching[few]]),
        np.concatenate([targets, targets[deeper], points[edge[few]]]),
        radius,
    )
    return centres[cloud.in_sight(targets, centres)]


def _ways(
    cloud: PointCloud, rows: IntArray, centres: FloatArray, radius: float
) -> tuple[FloatArray, FloatArray]:
    """Distance from points to the nearest ball in front of them, and its part along the normal.

    A ball on the other side of a thin wall lies behind a point and does not fill it.
    """
    if not len(centres):
        nothing = np.full(len(rows), np.nan)
        return nothing, nothing
    points, normals = cloud.points[rows], cloud.normals[rows]
    count = min(_CANDIDATES, len(centres))
    distances, numbers = cKDTree(centres).query(points, k=range(1, count + 1))
    ways = centres[numbers] - points[:, None]
    cosines = np.einsum("ijk,ik->ij", ways, normals) / np.maximum(distances, 1e-9)
    first = np.argmax(cosines > 0.0, axis=1)  # the nearest of all if none is in front
    line = np.arange(len(rows))
    distance = np.maximum(distances[line, first] - radius, 0.0)
    return distance, distance * np.maximum(cosines[line, first], 0.0)


def _checked(
    points: ArrayLike, normals: ArrayLike, chosen: ArrayLike, radii_mm: Sequence[float]
) -> tuple[PointCloud, IntArray, FloatArray]:
    places = np.asarray(points, dtype=np.float64)
    directions = np.asarray(normals, dtype=np.float64)
    taken: BoolArray = np.asarray(chosen, dtype=bool)
    radii = np.asarray(radii_mm, dtype=np.float64)
    n = len(places)
    if places.shape != (n, 3) or directions.shape != (n, 3) or taken.shape != (n,):
        raise SettingError(
            f"Points {places.shape}, normals {directions.shape} and chosen {taken.shape} do not "
            "fit together.",
            subject="points",
            remedy="Give (n, 3), (n, 3) and (n,).",
        )
    if radii.ndim != 1 or not len(radii) or not (np.isfinite(radii) & (radii > 0.0)).all():
        raise SettingError(
            f"{radii_mm} are not radii of balls.",
            subject="radii_mm",
            remedy="Give one or more finite numbers above 0, mm.",
        )
    return PointCloud(places, directions), np.flatnonzero(taken), radii
