"""Measures of deviations that are known at points with areas, with or without noise."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from cuspwise.standalone_core.arrays import FloatArray
from scipy.special import ndtr

FAR = 6.0
"""Standard deviations beyond which a normal variable is taken not to go."""

HALVINGS = 40
"""Of the range in which a percentile lies: down to less than rounding leaves."""


@dataclass(frozen=True)
class NoiseModel:
    """Independent normal noise of a scan's vertices along the surface normal.

    Attributes
    ----------
    sigma_um : float
        Standard deviation at a vertex.
    """

    sigma_um: float

    def spreads_um(self, *, from_vertices: bool) -> FloatArray:
        """Standard deviations of the noise in a deviation, equally frequent.

        Measured from the scan's vertices alone it is that of a vertex. Measured to the scan, or
        from all over it, it is that of a place in a triangle with barycentric coordinates b,
        σ √(Σ b²), every place equally likely.
        """
        if from_vertices:
            return np.array([self.sigma_um])
        third = (np.arange(12) + 0.5) / 12.0
        u, v = (part.ravel() for part in np.meshgrid(third, third))
        root = np.sqrt(u)
        squares = (1.0 - root) ** 2 + (root * (1.0 - v)) ** 2 + (root * v) ** 2
        spreads: FloatArray = self.sigma_um * np.sqrt(np.sort(squares).reshape(8, -1).mean(axis=1))
        return spreads


@dataclass(frozen=True)
class TrueMeasures:
    """Measures of one area, in µm; the names are those of the columns of ``measures.csv``.

    Attributes
    ----------
    area, direction : str
        Which area and direction.
    n : int
        Points that the numbers come from.
    area_mm2 : float
        Their area.
    mean_um, sd_um, mean_abs_um, rms_um, median_um, p10_um, p90_um, half_p90_p10_um : float
        Weighted by area.
    mean_positive_um, mean_negative_um : float
        Mean of the deviations above and below zero; NaN where there is none.
    positive_share : float
        Share of the area above zero; where it or its rest is tiny, a scan may hold no such point.
    min_um, max_um : float
        Without noise.
    within_tolerance, tolerance_um : float
        Share of the area with |d| ≤ tolerance; NaN without a tolerance.
    """

    area: str
    direction: str
    n: int
    area_mm2: float
    mean_um: float
    sd_um: float
    mean_abs_um: float
    rms_um: float
    median_um: float
    p10_um: float
    p90_um: float
    half_p90_p10_um: float
    mean_positive_um: float
    mean_negative_um: float
    positive_share: float
    min_um: float
    max_um: float
    within_tolerance: float
    tolerance_um: float


def measures_of(
    deviation_mm: FloatArray,
    weights: FloatArray,
    *,
    noise: NoiseModel | None = None,
    from_vertices: bool = True,
    tolerance_um: float = np.nan,
) -> TrueMeasures:
    """Measures of weighted deviations, convolved with noise.

    With noise ε of standard deviation σ: E|d + ε| = σ√(2/π) e^(−d²/2σ²) + d (1 − 2Φ(−d/σ));
    the mean of the positive ones is E max(d + ε, 0) / P(d + ε > 0); percentiles solve
    Σ w Φ((t − d)/σ) = p Σ w.

    Parameters
    ----------
    deviation_mm, weights : (n,) array
        Deviations and what each stands for.
    noise : NoiseModel, optional
        The noise; none by default.
    from_vertices : bool
        Which of the noise's spreads apply; see :meth:`NoiseModel.spreads_um`.
    tolerance_um : float
        Tolerance for the share within it.
    """
    d, w = 1e3 * deviation_mm, weights / max(float(weights.sum()), 1e-300)
    if not len(d):
        nothing = dict.fromkeys(_NUMBERS, np.nan)
        return TrueMeasures("", "", 0, 0.0, **nothing, tolerance_um=tolerance_um)
    spreads = np.zeros(1) if noise is None else noise.spreads_um(from_vertices=from_vertices)
    mean = float(w @ d)
    square = float(w @ d**2 + (spreads**2).mean())
    mean_abs, positive_share = _folded(d, w, spreads)
    negative_share = 1.0 - positive_share if spreads.any() else float(w[d < 0].sum())
    p10, median, p90 = _percentiles(d, w, spreads, (0.1, 0.5, 0.9))
    return TrueMeasures(
        area="",
        direction="",
        n=len(d),
        area_mm2=float(weights.sum()),
        mean_um=mean,
        sd_um=float(np.sqrt(max(square - mean**2, 0.0))),
        mean_abs_um=mean_abs,
        rms_um=float(np.sqrt(square)),
        median_um=median,
        p10_um=p10,
        p90_um=p90,
        half_p90_p10_um=0.5 * (p90 - p10),
        mean_positive_um=_ratio(0.5 * (mean_abs + mean), positive_share),
        mean_negative_um=_ratio(-0.5 * (mean_abs - mean), negative_share),
        positive_share=positive_share,
        min_um=float(d.min()),
        max_um=float(d.max()),
        within_tolerance=_within(d, w, spreads, tolerance_um),
        tolerance_um=tolerance_um,
    )


_NUMBERS = tuple(
    field.name
    for field in fields(TrueMeasures)
    if field.name not in ("area", "direction", "n", "area_mm2", "tolerance_um")
)


def _ratio(amount: float, share: float) -> float:
    return amount / share if share > 1e-12 else float("nan")


def _folded(d: FloatArray, w: FloatArray, spreads: FloatArray) -> tuple[float, float]:
    """Mean absolute value and share above zero."""
    if not spreads.any():
        return float(w @ np.abs(d)), float(w[d > 0].sum())
    mean_abs, positive = 0.0, 0.0
    for sigma in spreads:
        z = d / sigma
        folded = sigma * np.sqrt(2.0 / np.pi) * np.exp(-0.5 * z**2) + d * (1.0 - 2.0 * ndtr(-z))
        mean_abs += float(w @ folded) / len(spreads)
        positive += float(w @ ndtr(z)) / len(spreads)
    return mean_abs, positive


def _percentiles(
    d: FloatArray, w: FloatArray, spreads: FloatArray, shares: tuple[float, ...]
) -> list[float]:
    """Values below which the given shares of the weight lie."""
    if not spreads.any():
        order = np.argsort(d)
        covered = np.cumsum(w[order]) - 0.5 * w[order]
        return [float(x) for x in np.interp(shares, covered, d[order])]
    margin = FAR * float(spreads.max())
    centres, counted = _binned(d, w)
    low = np.full(len(shares), float(d.min()) - margin)
    high = np.full(len(shares), float(d.max()) + margin)
    for _ in range(HALVINGS):
        t = 0.5 * (low + high)
        away = (t[:, None] - centres) / spreads[:, None, None]
        above = ndtr(away).mean(axis=0) @ counted >= shares
        low, high = np.where(above, low, t), np.where(above, t, high)
    return [float(x) for x in 0.5 * (low + high)]


def _binned(d: FloatArray, w: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weights gathered in narrow bins, each at the mean of what it holds."""
    edges = np.linspace(d.min(), d.max(), 1001)
    index = np.clip(np.searchsorted(edges, d, side="right") - 1, 0, 999)
    counted = np.bincount(index, weights=w, minlength=1000).astype(np.float64)
    sums = np.bincount(index, weights=w * d, minlength=1000).astype(np.float64)
    used = counted > 0
    return sums[used] / counted[used], counted[used]


def _within(d: FloatArray, w: FloatArray, spreads: FloatArray, tolerance_um: float) -> float:
    if not np.isfinite(tolerance_um):
        return float("nan")
    if not spreads.any():
        return float(w[np.abs(d) <= tolerance_um].sum())
    shares = [
        float(w @ (ndtr((tolerance_um - d) / sigma) - ndtr((-tolerance_um - d) / sigma)))
        for sigma in spreads
    ]
    return float(np.mean(shares))
