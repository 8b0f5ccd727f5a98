"""Best rigid motion between paired points (landmarks)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from ..errors import SuperimpositionError
from .settings import Landmarks

_SOURCE, _TARGET = "the source points", "the target points"
_SAME_LINE = 1e-9
"""Points whose spread across their line is below this share of the spread along it are one line."""


@dataclass(frozen=True)
class PointPairFit:
    """The motion that lays source points on target points.

    Attributes
    ----------
    T_target_source : (d + 1, d + 1) ndarray
        Homogeneous matrix of a rigid motion.
    residual_mm : (k,) ndarray
        Distance of each pair after the motion.
    rms_mm : float
        √(Σ w residual² / Σ w).
    mirrored : bool
        True if a reflection would fit better than every rotation: the points may be those of the
        other side, or paired in the wrong order. The motion returned is a rotation all the same.
    """

    T_target_source: FloatArray
    residual_mm: FloatArray
    rms_mm: float
    mirrored: bool

    @property
    def rotation(self) -> FloatArray:
        """Proper rotation, (d, d)."""
        d = len(self.T_target_source) - 1
        return self.T_target_source[:d, :d]

    @property
    def translation(self) -> FloatArray:
        """Translation, (d,), mm."""
        return self.T_target_source[:-1, -1]


def fit_point_pairs(
    source: ArrayLike,
    target: ArrayLike,
    *,
    weights: ArrayLike | None = None,
) -> PointPairFit:
    """Lay source points on target points by least squares.

    Minimises Σ w |y − (R x + t)|² over rotations R and shifts t: with the singular values U D Vᵀ
    of the weighted covariance of y and x, R = U S Vᵀ, where S is the identity with its last sign
    turned if det(U) det(V) < 0, and t = ȳ − R x̄. A superimposition never scales
    (Umeyama, IEEE Trans. PAMI 13:376, 1991; Kabsch, Acta Cryst. A32:922, 1976).

    Parameters
    ----------
    source, target : (k, d) array_like
        Paired points, d = 2 or 3, at least d of them.
    weights : (k,) array_like, optional
        Not negative; equal by default.

    Raises
    ------
    SuperimpositionError
        Wrong shapes, numbers that are not finite, too few points, or points on one line (one
        point in 2-D), which leave the rotation open.
    """
    x, y, w = _checked(source, target, weights)
    d = x.shape[1]
    x_mean, y_mean = w @ x, w @ y
    x0, y0 = x - x_mean, y - y_mean
    _check_spread(x0, w, _SOURCE)
    _check_spread(y0, w, _TARGET)
    left, values, right = np.linalg.svd((y0 * w[:, None]).T @ x0)
    mirrored = np.linalg.det(left) * np.linalg.det(right) < 0
    signs = np.ones(d)
    signs[-1] = -1.0 if mirrored else 1.0
    rotation = (left * signs) @ right
    matrix = np.eye(d + 1)
    matrix[:d, :d] = rotation
    matrix[:d, d] = y_mean - rotation @ x_mean
    residual = np.linalg.norm(y - (x @ matrix[:d, :d].T + matrix[:d, d]), axis=1)
    flat = values[-1] <= _SAME_LINE * values[0]
    return PointPairFit(
        T_target_source=matrix,
        residual_mm=residual,
        rms_mm=float(np.sqrt(w @ residual**2)),
        mirrored=bool(mirrored and not flat),
    )


def fit_landmarks(
    on_scan: Landmarks | None, on_design: Landmarks | None, name: str
) -> PointPairFit:
    """Lay a scan's landmarks on its design's as :func:`fit_point_pairs` does; errors name it."""
    try:
        return fit_point_pairs(on_scan or (), on_design or ())
    except SuperimpositionError as error:
        reason = error.reason.replace(_SOURCE, "its landmarks")
        reason = reason.replace(_TARGET, "its design's landmarks")
        raise SuperimpositionError(reason, subject=name, remedy=error.remedy) from error


def _checked(
    source: ArrayLike, target: ArrayLike, weights: ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    x, y = np.asarray(source, dtype=np.float64), np.asarray(target, dtype=np.float64)
    if x.ndim != 2 or x.shape[1] not in (2, 3) or x.shape != y.shape:
        raise _error(f"The paired points have shapes {x.shape} and {y.shape}.")
    if len(x) < x.shape[1]:
        raise _error(f"There are {len(x)} pairs; at least {x.shape[1]} are needed.")
    w = np.ones(len(x)) if weights is None else np.asarray(weights, dtype=np.float64)
    if w.shape != (len(x),):
        raise _error(f"The weights have shape {w.shape} for {len(x)} pairs.")
    if not (np.isfinite(x).all() and np.isfinite(y).all() and np.isfinite(w).all()):
        raise _error("Some coordinates or weights are not finite numbers.")
    if (w < 0).any() or w.sum() <= 0:
        raise _error("The weights must not be negative, nor all zero.")
    return x, y, w / w.sum()


def _check_spread(centred: FloatArray, weights: FloatArray, what: str) -> None:
    """Refuse points that leave the rotation open: in d dimensions they must span d − 1."""
    spread = np.linalg.svd(centred * np.sqrt(weights)[:, None], compute_uv=False)
    if spread[0] == 0.0 or spread[centred.shape[1] - 2] <= _SAME_LINE * spread[0]:
        raise _error(f"The rotation is open: {what} lie on one line or in one spot.")


def _error(reason: str) -> SuperimpositionError:
    return SuperimpositionError(
        reason,
        subject="landmark pairs",
        remedy="Pick at least three pairs of points, well apart and not in one line.",
    )
