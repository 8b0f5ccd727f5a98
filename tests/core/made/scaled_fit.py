"""Point pairs laid on each other with a scale too, which the product never fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from cuspwise.standalone_core.superimpose.point_pairs import PointPairFit
from numpy.typing import ArrayLike


@dataclass(frozen=True)
class ScaledFit:
    """Motion with a scale: matrix, scale, and root mean square residual."""

    T_target_source: np.ndarray
    scale: float
    rms_mm: float


def with_scale(
    fit: PointPairFit, source: ArrayLike, target: ArrayLike, weights: ArrayLike | None = None
) -> ScaledFit:
    """Umeyama (1991): the same rotation, and c = Σ w (y − ȳ)·R(x − x̄) / Σ w |x − x̄|²."""
    x, y = np.asarray(source, float), np.asarray(target, float)
    w = np.ones(len(x)) if weights is None else np.asarray(weights, float)
    w = w / w.sum()
    x_mean, y_mean = w @ x, w @ y
    turned = (x - x_mean) @ fit.rotation.T
    scale = float((w * ((y - y_mean) * turned).sum(axis=1)).sum() / (w @ (turned**2).sum(axis=1)))
    d = x.shape[1]
    matrix = np.eye(d + 1)
    matrix[:d, :d] = scale * fit.rotation
    matrix[:d, d] = y_mean - matrix[:d, :d] @ x_mean
    residual = np.linalg.norm(y - (x @ matrix[:d, :d].T + matrix[:d, d]), axis=1)
    return ScaledFit(matrix, scale, float(np.sqrt(w @ residual**2)))
