"""What a ball that rolls over a surface from outside leaves under it: the closing by a ball.

A round tool of radius r cannot reach the bottom of an inside corner sharper than itself: the
milled surface there is the ball's, not the design's. The same construction shows how deep a
fossa is below what a round antagonist can touch.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray
from .periodic import PeriodicTable, turn_angles
from .shape import CrownShape

Side = str
"""``"external"`` or ``"intaglio"``."""

AROUND = 480
STEP_MM = 0.03
RIM_FREE_MM = 0.3


def ball_shift(
    points: FloatArray, touching: FloatArray, radius_mm: float, places: FloatArray
) -> FloatArray:
    """Way from places on a surface to what a ball that rolls over it leaves above them.

    The ball may be centred wherever it touches the surface without cutting into it: at those
    ``p + r n`` whose nearest surface point is r away. A place under the ball moves towards the
    nearest such centre until it is r away: by nothing where the ball touches, by r(√2 − 1) at
    the bottom of a right-angled inside edge. (Along the normals, places would pass each other.)

    Parameters
    ----------
    points : (n, 3) array
        A dense sample of the surface. A spacing h leaves an error of up to 0.7 h at the bottom
        of a sharp edge.
    touching : (m, 3) array
        Centres of balls that touch the surface from outside, p + r n, about as dense.
    radius_mm : float
        Radius of the ball.
    places : (k, 3) array
        Where the shift is wanted, on the same surface.

    Returns
    -------
    (k, 3) array
        Shift in mm.
    """
    centres = touching[~_cuts_in(points, touching, radius_mm)]
    distance, nearest = cKDTree(centres).query(places)
    share = np.maximum(1.0 - radius_mm / np.maximum(distance, radius_mm), 0.0)
    shift: FloatArray = share[:, None] * (centres[nearest] - places)
    return shift


def _cuts_in(points: FloatArray, centres: FloatArray, radius_mm: float) -> BoolArray:
    """Whether a ball about each centre holds a point of the surface."""
    bound = radius_mm * (1.0 - 1e-6)
    clearance, _ = cKDTree(points).query(centres, distance_upper_bound=bound)
    cuts: BoolArray = np.isfinite(clearance)
    return cuts


@lru_cache(maxsize=8)  # the crowns of a group share their tools
def ball_tables(shape: CrownShape, radius_mm: float, side: Side) -> tuple[PeriodicTable, ...]:
    """What a ball leaves on one side of the crown, as smooth functions of θ and s.

    Parameters
    ----------
    shape : CrownShape
        The design.
    radius_mm : float
        Radius of the ball.
    side : str
        ``"external"`` (rolling over the outside) or ``"intaglio"`` (inside the cavity). The
        last 0.3 mm before the rim are left alone.

    Returns
    -------
    tuple of three PeriodicTable
        Shift along x, y, z in mm (:func:`ball_shift`), smoothed over about 0.04 mm; zero on the
        other side.
    """
    theta = turn_angles(AROUND)
    reach = shape.external_length_mm if side == "external" else shape.intaglio_length_mm
    s = np.linspace(RIM_FREE_MM, reach, round((reach - RIM_FREE_MM) / STEP_MM) + 1)
    s = s if side == "external" else -s[::-1]
    points, normals = shape.points_and_normals(*np.meshgrid(theta, s, indexing="ij"))
    shift = _shift_on_grid(points, normals, radius_mm)
    shift = gaussian_filter(shift, (1.3, 1.3, 0.0), mode=("wrap", "nearest", "nearest"))
    shift *= _fade((np.abs(s) - RIM_FREE_MM) / 0.3)[None, :, None]
    pole = -1 if side == "external" else 0
    shift[:, pole] = shift[:, pole].mean(axis=0)
    return tuple(PeriodicTable(theta, s, shift[..., axis]) for axis in range(3))


def _shift_on_grid(points: FloatArray, normals: FloatArray, radius_mm: float) -> FloatArray:
    """Shift of every node; finely sampled only about the places that a coarse look finds."""
    coarse = _thinned(points, 3.0 * STEP_MM, 3)
    centres = points[coarse] + radius_mm * normals[coarse]
    untouched = points[coarse][_cuts_in(points[coarse], centres, radius_mm)]
    shift = np.zeros(points.shape)
    if not len(untouched):
        return shift
    distance, _ = cKDTree(untouched).query(
        points.reshape(-1, 3), distance_upper_bound=radius_mm + 0.3
    )
    near = np.asarray(distance).reshape(points.shape[:2])
    wanted = near < 0.15
    sample = _thinned(points, STEP_MM, 1) & np.isfinite(near)
    beside = sample & (near < 0.3)
    touching = points[beside] + radius_mm * normals[beside]
    shift[wanted] = ball_shift(points[sample], touching, radius_mm, points[wanted])
    return shift


def _thinned(points: FloatArray, spacing_mm: float, stride: int) -> BoolArray:
    """Nodes of a polar grid that are at least about a spacing apart around, every few along."""
    around = np.linalg.norm(points[1] - points[0], axis=-1)
    step = np.maximum(1, np.floor(spacing_mm / np.maximum(around, 1e-6))).astype(np.int64)
    rows, columns = (np.arange(count) for count in points.shape[:2])
    kept: BoolArray = (rows[:, None] % step == 0) & (columns % stride == 0)
    return kept


def _fade(t: FloatArray) -> FloatArray:
    """Smooth step from 0 at t = 0 to 1 at t = 1."""
    t = np.clip(t, 0.0, 1.0)
    return t**3 * (10.0 - 15.0 * t + 6.0 * t**2)
