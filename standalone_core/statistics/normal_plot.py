"""Values against the quantiles of a normal distribution, with the band that normal ones keep to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..arrays import FloatArray
from .reasons import NO_REASON, Reason, because
from .samples import as_sample, check_share

LEAST = 3
"""Fewer values lie on a line whatever they are."""


@dataclass(frozen=True, eq=False)
class NormalPlot:
    """A normal quantile–quantile plot of one group, in the unit of its values.

    What cannot be had is empty and ``reason`` says why.

    Attributes
    ----------
    quantiles : (n,) float
        Of the standard normal distribution, at the medians of its order statistics.
    values : (n,) float
        In ascending order.
    low, high : (n,) float
        Band of each ordered value.
    mean, sd : float
        The line: ``mean + sd * quantiles``.
    order : (n,) int
        Place of each ordered value among those given.
    confidence : float
        Chance that one value of a normal sample lies within its band.
    reason : Reason
    """

    quantiles: FloatArray
    values: FloatArray
    low: FloatArray
    high: FloatArray
    mean: float
    sd: float
    order: tuple[int, ...]
    confidence: float
    reason: Reason = NO_REASON


def normal_plot(
    values: ArrayLike, confidence: float = 0.95, *, resamples: int = 10_000, seed: int = 0
) -> NormalPlot:
    """Lay out a normal quantile–quantile plot.

    The quantiles are Φ⁻¹(m_i), m_i the medians of uniform order statistics as Filliben gives
    them: m_n = 0.5^(1/n), m_1 = 1 − m_n, else (i − 0.3175)/(n + 0.365). The band is pointwise and
    simulated: normal samples of the same size, each less its own mean and over its own standard
    deviation, since those of the values are estimated too; quantiles of each order statistic.

    Parameters
    ----------
    values : (n,) float
        One value per unit; NaN counts as missing.
    confidence : float
        Of the band, pointwise.
    resamples : int
        Simulated samples.
    seed : int
        Of the simulation.

    Returns
    -------
    NormalPlot

    Raises
    ------
    SettingError
        Values that are no numbers, or a confidence outside 0 to 1.

    References
    ----------
    Filliben JJ. The probability plot correlation coefficient test for normality. Technometrics
    1975; 17: 111–117. Atkinson AC. Two graphical displays for outlying and influential
    observations in regression. Biometrika 1981; 68: 13–20 (envelopes by simulation).

    Examples
    --------
    >>> found = normal_plot([4.0, 6.0, 5.0])
    >>> found.values.tolist(), [round(q, 3) for q in found.quantiles.tolist()]
    ([4.0, 5.0, 6.0], [-0.819, 0.0, 0.819])
    """
    check_share(confidence, "confidence")
    sample = as_sample(values, "values")
    if sample.n < LEAST:
        return _none(confidence, because("too_few_values", least=LEAST, n=sample.n))
    if sample.constant:
        return _none(confidence, because("all_same"))
    n, mean, sd = sample.n, float(sample.values.mean()), float(sample.values.std(ddof=1))
    order = np.argsort(np.asarray(values, dtype=np.float64), kind="stable")[:n]  # NaN come last
    low, high = mean + sd * _band(n, confidence, resamples, seed)
    return NormalPlot(
        quantiles=stats.norm.ppf(filliben_medians(n)),
        values=np.sort(sample.values),
        low=low,
        high=high,
        mean=mean,
        sd=sd,
        order=tuple(order.tolist()),
        confidence=confidence,
    )


def _band(n: int, confidence: float, resamples: int, seed: int) -> FloatArray:
    """Return the ends of the band of each order statistic of a standardised sample, (2, n)."""
    drawn = np.sort(np.random.default_rng(seed).standard_normal((resamples, n)), axis=1)
    drawn -= drawn.mean(axis=1, keepdims=True)
    drawn /= drawn.std(axis=1, ddof=1, keepdims=True)
    ends = 0.5 - 0.5 * confidence, 0.5 + 0.5 * confidence
    band: FloatArray = np.quantile(drawn, ends, axis=0)
    return band


def _none(confidence: float, reason: Reason) -> NormalPlot:
    empty = np.empty(0)
    return NormalPlot(empty, empty, empty, empty, np.nan, np.nan, (), confidence, reason)


def filliben_medians(n: int) -> FloatArray:
    """Return the medians of n uniform order statistics after Filliben (1975), (n,)."""
    medians: FloatArray = (np.arange(1.0, n + 1.0) - 0.3175) / (n + 0.365)
    medians[-1] = 0.5 ** (1.0 / n)
    medians[0] = 1.0 - medians[-1]
    return medians
