"""The radius of the bur, searched from what it left in inside corners."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial.distance import cdist

from ..arrays import FloatArray, IntArray
from ..errors import SettingError

CHI2_95 = 3.841458820694124
"""95 % quantile of χ² with one degree of freedom."""
_EMPTY_MM = 1e-3
"""Places where no ball leaves more than this show the noise alone."""
_MODEL_SHARE = 0.015
"""SD of the radius, as a share of it, that facets of design and scan leave even without noise."""
_OWN_SHARE = 0.1
"""Share of the noise's variance that a cell has for itself."""


@dataclass(frozen=True)
class BurRadius:
    """The radius that explains what was left in corners best.

    Attributes
    ----------
    radius_mm : float
        Best radius of the mark in the crown, mm, with all of its excess left; NaN where no
        corner is too sharp for any of the radii, so that nothing can be said. A blank that
        shrinks afterwards takes the mark with it: the bur's own radius is this times the
        enlargement factor.
    low_mm, high_mm : float
        95 % interval. 0 at the low end: even a bur that reaches everywhere would do, so the
        radius is only known to be "at most". Infinite at the high end: larger than all that was
        tried cannot be told apart.
    rms_um : float
        What is left of the deviation in the corners with that radius, µm.
    """

    radius_mm: float
    low_mm: float
    high_mm: float
    rms_um: float

    @property
    def bounded(self) -> bool:
        """Whether the data hold the radius from both sides."""
        return bool(self.low_mm > 0.0 and np.isfinite(self.high_mm))


class _Corners(NamedTuple):
    """The points that some ball leaves an excess at, radii ascending from 0."""

    radii_mm: FloatArray
    fields_mm: FloatArray
    deviation_mm: FloatArray
    weights_mm2: FloatArray
    cell: IntArray


class _Noise(NamedTuple):
    """What other causes leave in the means of cells, (m,), given what is seen beside corners."""

    level_mm: FloatArray
    """Expected, (m,)."""
    covariance_mm2: FloatArray
    """How it may still differ from that, (m, m)."""


class _Fit(NamedTuple):
    radius_mm: float
    segment: int
    misfit: FloatArray
    """(3, k − 1): constant, linear and square part of each segment's misfit, mm⁴."""
    least: float


def search_bur_radius(
    radii_mm: ArrayLike,
    fields_mm: ArrayLike,
    deviation_mm: ArrayLike,
    weights_mm2: ArrayLike,
    points_mm: ArrayLike,
    *,
    noise_um: float | None = None,
    noise_length_mm: float = 3.0,
    cell_mm: float = 1.0,
) -> BurRadius:
    """Search the radius of the bur by least squares, its share fixed to 1.

    Between neighbouring radii (and from 0, which leaves nothing) the excess is taken as linear in
    the radius, so that the misfit S(r) = Σ w (d − f(r))² is a parabola in each segment.
    Smooth errors of other origin, of covariance s² exp(−‖x − x'‖ / ℓ), are seen in the cells
    beside the corners, carried into them, and subtracted. The interval is where S exceeds its
    least value by less than 3.84 V / Σ w g², with g = df/dr and V the variance of the score
    Σ w g e: the larger of what the residuals' sums over cells show, and of Gᵀ C G, with G = Σ w g
    in each cell and C the covariance of what was carried over. Errors that points of a cell and
    neighbouring cells share thus widen it, as they must. On top of that the radius is held for no
    surer than 1.5 % (SD): corners of meshes are facets.

    Parameters
    ----------
    radii_mm : (k,) array_like
        Radii that were tried, each its own, in any order.
    fields_mm : (k, n) array_like
        Distance that a ball of each radius leaves (:func:`.ball_excess.ball_excess`), mm. Radii
        with a NaN are left out: no such ball enters.
    deviation_mm : (n,) array_like
        Deviation less the other causes, mm; NaN where it was not measured.
    weights_mm2 : (n,) array_like
        Surface that each point stands for; 0 leaves a point out.
    points_mm : (n, 3) array_like
    noise_um : float, optional
        SD of a cell's mean that other causes leave, µm; by default seen where no ball leaves
        anything.
    noise_length_mm : float
        Over which such errors keep together: correlation exp(−distance / length).
    cell_mm : float
        Edge length of the cells.

    Returns
    -------
    BurRadius

    Raises
    ------
    SettingError
        Shapes that do not fit together; radii that are not above 0 or not each its own.

    Examples
    --------
    >>> import numpy as np
    >>> from cuspwise.standalone_core.causes.bur_radius import search_bur_radius
    >>> depth = np.linspace(0.0, 0.4, 50)
    >>> points = np.stack([np.arange(50.0), np.zeros(50), np.zeros(50)], axis=1)
    >>> found = search_bur_radius(
    ...     [0.5, 1.0], [0.5 * depth, depth], 0.7 * depth, np.ones(50), points, noise_um=1.0
    ... )
    >>> round(found.radius_mm, 6), found.bounded
    (0.7, True)
    """
    radii, fields, deviation, weights, points = _checked(
        radii_mm, fields_mm, deviation_mm, weights_mm2, points_mm
    )
    cell, centres = _cells(points, cell_mm)
    corners = _Corners(radii, fields, deviation, weights, cell)
    active = (corners.fields_mm > 0.0).any(axis=0)
    if not active.any():
        return BurRadius(np.nan, 0.0, np.inf, np.nan)
    noise = _noise(corners, centres, noise_um, noise_length_mm)
    here = _Corners(
        corners.radii_mm,
        corners.fields_mm[:, active],
        corners.deviation_mm[active] - noise.level_mm[cell[active]],
        corners.weights_mm2[active],
        cell[active],
    )
    fit = _fit(here)
    low, high = _interval(here, fit, _variance(here, fit, noise.covariance_mm2))
    rms_um = 1e3 * float(np.sqrt(fit.least / here.weights_mm2.sum()))
    return BurRadius(fit.radius_mm, low, high, rms_um)


def _fit(corners: _Corners) -> _Fit:
    """Least misfit over all segments between radii."""
    radii, fields, deviation, weights, _ = corners
    gram = (fields * weights) @ fields.T
    with_deviation = fields @ (weights * deviation)
    own = np.diag(gram)
    beside = np.diag(gram, 1)
    square = own[1:] - 2.0 * beside + own[:-1]
    linear = 2.0 * (beside - own[:-1] - with_deviation[1:] + with_deviation[:-1])
    constant = weights @ deviation**2 - 2.0 * with_deviation[:-1] + own[:-1]
    share = np.clip(-linear / (2.0 * np.maximum(square, 1e-30)), 0.0, 1.0)
    least = constant + linear * share + square * share**2
    k = int(np.argmin(least))
    radius = radii[k] + share[k] * (radii[k + 1] - radii[k])
    misfit = np.stack([constant, linear, square])
    return _Fit(float(radius), k, misfit, max(float(least[k]), 0.0))


def _variance(corners: _Corners, fit: _Fit, covariance_mm2: FloatArray) -> float:
    """How far S may rise above its least value for one standard error: V / Σ w g² and the model."""
    radii, fields, deviation, weights, cell = corners
    k = fit.segment
    slope = (fields[k + 1] - fields[k]) / (radii[k + 1] - radii[k])
    residual = deviation - fields[k] - slope * (fit.radius_mm - radii[k])
    information = float(weights @ slope**2)
    if information <= 0.0:
        return np.inf
    scores = np.bincount(cell, weights * slope * residual, len(covariance_mm2))
    pull = np.bincount(cell, weights * slope, len(covariance_mm2))
    of_noise = max(float(scores @ scores), float(pull @ covariance_mm2 @ pull)) / information
    return of_noise + (_MODEL_SHARE * fit.radius_mm) ** 2 * information


def _interval(corners: _Corners, fit: _Fit, variance: float) -> tuple[float, float]:
    """Radii at which the misfit first exceeds its least value by too much, below and above."""
    radii = corners.radii_mm
    limit = fit.least + CHI2_95 * variance
    low, high = 0.0, np.inf
    for k in range(len(radii) - 1):
        constant, linear, square = fit.misfit[:, k]
        discriminant = linear**2 - 4.0 * square * (constant - limit)
        if square <= 0.0 or not 0.0 <= discriminant < np.inf:
            continue
        for sign in (-1.0, 1.0):
            share = (-linear + sign * np.sqrt(discriminant)) / (2.0 * square)
            if 0.0 <= share <= 1.0:
                radius = float(radii[k] + share * (radii[k + 1] - radii[k]))
                low = max(low, radius) if radius < fit.radius_mm else low
                high = min(high, radius) if radius > fit.radius_mm else high
    return low, high


def _noise(
    corners: _Corners, centres: FloatArray, noise_um: float | None, length_mm: float
) -> _Noise:
    """Carry what is seen where no ball leaves anything into the corners, with its uncertainty.

    The best linear prediction (simple kriging; Cressie, Statistics for Spatial Data, from memory)
    from the cells that are at least half full of such places.
    """
    quiet = (corners.fields_mm <= _EMPTY_MM).all(axis=0)
    weights = np.where(quiet, corners.weights_mm2, 0.0)
    area = np.bincount(corners.cell, weights)
    total = np.bincount(corners.cell, weights * corners.deviation_mm)
    seen = np.flatnonzero(area > 0.5 * np.max(area))
    if not area.any():
        seen = seen[:0]
    means = total[seen] / area[seen]
    if noise_um is not None:
        variance = (1e-3 * noise_um) ** 2
    else:
        variance = float(np.mean(means**2)) if len(seen) else 0.0
    prior = variance * np.exp(-cdist(centres, centres) / length_mm)
    if not len(seen) or variance == 0.0:
        return _Noise(np.zeros(len(centres)), prior)
    among = prior[np.ix_(seen, seen)] + _OWN_SHARE * variance * np.eye(len(seen))
    gain: FloatArray = np.linalg.solve(among, prior[seen]).T
    return _Noise(gain @ means, prior - gain @ prior[seen])


def _cells(points: FloatArray, cell_mm: float) -> tuple[IntArray, FloatArray]:
    """Cell of each point, (n,), and the middles of the cells, (m, 3)."""
    cubes = np.floor(points / cell_mm).astype(np.int64)
    places, cell = np.unique(cubes, axis=0, return_inverse=True)
    centres: FloatArray = cell_mm * (places.astype(np.float64) + 0.5)
    return cell.reshape(-1), centres


def _checked(
    radii_mm: ArrayLike,
    fields_mm: ArrayLike,
    deviation_mm: ArrayLike,
    weights_mm2: ArrayLike,
    points_mm: ArrayLike,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Radii from 0 upwards, fields, deviation, weights and points, of what was measured."""
    radii, fields, deviation, weights, points = (
        np.asarray(given, dtype=np.float64)
        for given in (radii_mm, fields_mm, deviation_mm, weights_mm2, points_mm)
    )
    n = len(points)
    shapes = (n, 3), (*radii.shape, n), (n,), (n,)
    if tuple(one.shape for one in (points, fields, deviation, weights)) != shapes:
        raise SettingError(
            f"Fields {fields.shape}, deviation {deviation.shape}, weights {weights.shape} and "
            f"points {points.shape} do not fit together for {radii.size} radii.",
            subject="fields_mm",
            remedy="Give (k, n), (n,), (n,) and (n, 3) for k radii.",
        )
    if not (np.isfinite(radii) & (radii > 0.0)).all() or len(np.unique(radii)) < len(radii):
        raise SettingError(
            f"{radii.tolist()} are not different radii of burs.",
            subject="radii_mm",
            remedy="Give finite numbers above 0, mm, each once.",
        )
    taken = np.isfinite(deviation) & (weights > 0.0)
    order = np.argsort(radii)
    order = order[np.isfinite(fields[order]).all(axis=1)]
    return (
        np.concatenate([[0.0], radii[order]]),
        np.concatenate([np.zeros((1, int(taken.sum()))), fields[order][:, taken]]),
        deviation[taken],
        weights[taken],
        points[taken],
    )
