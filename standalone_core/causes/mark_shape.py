"""How a place that stands out of its surroundings is formed: height, base, roundness, steepness.

All is measured at the points around the peak, on the plane that touches the design there. The
level of the surroundings is a quadratic surface through the points of a ring about the base,
fitted by Tukey's biweight (Beaton & Tukey 1974, Technometrics 16:147), which another mark or a
scratch in the ring does not move; a quadratic follows waves and bends across the mark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from ..arrays import BoolArray, FloatArray, IntArray
from .mark_ground import MarkGround

NORMAL_SPREAD = 1.4826
"""Standard deviation of normal values per median distance from the median: 1/Φ⁻¹(3/4)."""
RING_MM = 0.9
"""Width of the ring of surroundings."""
MOAT_MM = 0.2
"""Width of the surface right around a base, which tells a mark from a wave."""
REACH_MM = 2.2
"""How far about a peak points are looked at: base, gap and ring of the largest mark."""
_GAP_MM = 0.1  # between base and ring
_FOOT = 2.2  # reach of a base over the core's radius: 1.6 for a cap, a third more for an oval one
_SHOULDER = 1.1  # times its height: a peak that is joined to a higher place is none
_MOAT_QUANTILE = 0.3
_FIRST_BASE_MM = 0.6  # radius of the base before it was seen
_TUKEY = 4.685  # 95 % efficient for normal values (Holland & Welsch 1977)
_ROUNDS = 6
_LEAST_RING = 20  # points
_HALF, _LOW, _BASE = 0.5, 0.25, 0.1  # levels of a mark, as shares of its height


@dataclass(frozen=True, eq=False)
class MarkShape:
    """A place that stands out, as measured from its surroundings.

    Attributes
    ----------
    rows : (k,) int
        Points of the ground that make up the base: joined to the peak and above a tenth of the
        height and twice the scatter.
    core : (j,) int
        Those above half of the height.
    height_mm : float
        Of the farthest point above the level; negative for a gouge.
    volume_mm3 : float
        Material above the level on the base, Σ w (d − level): first order in deviation over radius
        of curvature; negative where it is missing.
    scatter_mm : float
        Robust standard deviation of the ring about the level.
    radius_mm, half_radius_mm : float
        Of circles with the area of the base and of the core.
    roundness : float
        Short over long axis of the core, or of what lies above a quarter of the height if that
        is less: 1 for a disc, 0 for a line.
    moat : float
        How far the surface right around the base lies on the other side of the level, as a share
        of the height: 0 about a mark, near 1 in the waves that steps of layers leave.
    """

    rows: IntArray
    core: IntArray
    height_mm: float
    volume_mm3: float
    scatter_mm: float
    radius_mm: float
    half_radius_mm: float
    roundness: float
    moat: float

    @property
    def steepness(self) -> float:
        """Height over the core's radius: mean slope from the peak to half-way down, doubled."""
        return abs(self.height_mm) / self.half_radius_mm if self.half_radius_mm > 0 else 0.0

    @property
    def signal_to_noise(self) -> float:
        """Height over the scatter."""
        return abs(self.height_mm) / self.scatter_mm if self.scatter_mm > 0 else np.inf


@dataclass(frozen=True, eq=False)
class _Patch:
    """The points about a peak: m of the ground's, the peak among them."""

    rows: IntArray
    peak: int
    flat_mm: FloatArray  # (m, 2) on the tangent plane
    away_mm: FloatArray  # (m,) from the peak
    values_mm: FloatArray  # (m,) positive at the peak
    smooth_mm: FloatArray  # (m,) the same, each with its neighbours
    weights: FloatArray
    joined: csr_matrix


def measure_shape(
    ground: MarkGround, values_mm: FloatArray, smooth_mm: FloatArray, peak: int, side: float
) -> MarkShape | None:
    """Measure the place around a peak; None if it has no surroundings or belongs to a higher one.

    Parameters
    ----------
    ground : MarkGround
        n points.
    values_mm : (n,) float
        Deviations; NaN where they do not count.
    smooth_mm : (n,) float
        The same, each the mean with its neighbours; NaN where nothing about it counts.
    peak : int
        Where ``smooth_mm`` is greatest.
    side : float
        1 for a stub, −1 for a gouge.
    """
    patch = _patch(ground, side * values_mm, side * smooth_mm, peak)
    base_mm = _FIRST_BASE_MM
    found = None
    for _ in range(2):
        level = _level(patch, base_mm)
        if level is None:
            return None
        found = _shape(patch, *level, side)
        if found is None:
            return None
        base_mm = found.radius_mm
    return found


def _patch(ground: MarkGround, values_mm: FloatArray, smooth_mm: FloatArray, peak: int) -> _Patch:
    """Gather the counted points about a peak that face its way."""
    middle, normal = ground.places_mm[peak], ground.normals[peak]
    near = ground.tree.query_ball_point(middle, REACH_MM, return_sorted=True)
    rows = np.array(near, dtype=np.int64)
    rows = rows[np.isfinite(smooth_mm[rows]) & (ground.normals[rows] @ normal > 0.0)]
    arms = ground.places_mm[rows] - middle
    first = np.eye(3)[np.argmin(np.abs(normal))]
    u = np.cross(normal, first)
    u /= np.linalg.norm(u)
    flat = arms @ np.stack([u, np.cross(normal, u)], axis=1)
    return _Patch(
        rows=rows,
        peak=int(np.searchsorted(rows, peak)),
        flat_mm=flat,
        away_mm=np.linalg.norm(arms, axis=1),
        values_mm=values_mm[rows],
        smooth_mm=smooth_mm[rows],
        weights=ground.weights_mm2[rows],
        joined=ground.neighbours[rows][:, rows],
    )


def _level(patch: _Patch, base_mm: float) -> tuple[FloatArray, float] | None:
    """Level of the surroundings at every point of a patch, (m,), and their scatter about it."""
    inner = base_mm + _GAP_MM
    ring = (patch.away_mm > inner) & (patch.away_mm < inner + RING_MM)
    if np.count_nonzero(ring) < _LEAST_RING:
        return None
    x, y = patch.flat_mm.T
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    inside, values = terms[ring], patch.smooth_mm[ring]
    left = values - np.median(values)
    scatter = 0.0
    factors = np.zeros(terms.shape[1])
    for _ in range(_ROUNDS):
        scatter = NORMAL_SPREAD * float(np.median(np.abs(left)))
        share = left / max(_TUKEY * scatter, 1e-9)
        weighted = inside.T * (patch.weights[ring] * np.maximum(1.0 - share**2, 0.0) ** 2)
        factors = np.linalg.lstsq(weighted @ inside, weighted @ values, rcond=1e-9)[0]
        left = values - inside @ factors
    return terms @ factors, NORMAL_SPREAD * float(np.median(np.abs(left)))


def _shape(patch: _Patch, level: FloatArray, scatter: float, side: float) -> MarkShape | None:
    """Measure what stands above a level; None if hardly anything does, or a higher place near."""
    smooth = patch.smooth_mm - level
    top = float(smooth[patch.peak])
    if top <= 2.0 * scatter:
        return None
    core = _joined(patch, smooth > _HALF * top)
    if smooth[core].max() > _SHOULDER * top:
        return None
    half_radius = float(np.sqrt(patch.weights[core].sum() / np.pi))
    near = patch.away_mm <= _FOOT * half_radius
    low = _joined(patch, near & (smooth > max(_LOW * top, scatter)))
    base = _joined(patch, near & (smooth > max(_BASE * top, 2.0 * scatter)))
    own = np.where(np.isfinite(patch.values_mm), patch.values_mm, patch.smooth_mm)
    height = float((own - level)[core].max())
    radius = float(np.sqrt(patch.weights[base].sum() / np.pi))
    return MarkShape(
        rows=patch.rows[base],
        core=patch.rows[core],
        height_mm=side * height,
        volume_mm3=side * float(patch.weights[base] @ smooth[base]),
        scatter_mm=scatter,
        radius_mm=radius,
        half_radius_mm=half_radius,
        roundness=min(_roundness(patch, core), _roundness(patch, low)),
        moat=_moat(patch, smooth / top, radius),
    )


def _moat(patch: _Patch, shares: FloatArray, radius_mm: float) -> float:
    """How deep the surface right around a base lies, but for the deepest three tenths of it.

    Those may be another mark; the ring that a step of layers leaves goes all around.
    """
    near = (patch.away_mm > radius_mm) & (patch.away_mm < radius_mm + MOAT_MM)
    if not near.any():
        return 0.0
    return max(0.0, -float(np.quantile(shares[near], _MOAT_QUANTILE)))


def _joined(patch: _Patch, taken: BoolArray) -> IntArray:
    """Points of a patch that are taken and joined to its peak."""
    rows = np.flatnonzero(taken)
    parts = connected_components(patch.joined[rows][:, rows], directed=False)[1]
    joined: IntArray = rows[parts == parts[np.searchsorted(rows, patch.peak)]]
    return joined


def _roundness(patch: _Patch, rows: IntArray) -> float:
    """Short over long axis of the ellipse with the same second moments."""
    weights = patch.weights[rows] / patch.weights[rows].sum()
    arms = patch.flat_mm[rows] - weights @ patch.flat_mm[rows]
    moments = np.linalg.eigvalsh((weights[:, None] * arms).T @ arms)
    return float(np.sqrt(max(moments[0], 0.0) / moments[1])) if moments[1] > 0 else 0.0
