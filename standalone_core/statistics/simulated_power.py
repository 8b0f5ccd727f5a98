"""The power of tests that have no formula for it: ranks and trimmed means, simulated.

The same normal values serve every size of group, so that power grows with it as smoothly as the
test itself; always the same seed, so that a plan says the same tomorrow.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from ..arrays import BoolArray, FloatArray
from .rank_sum import EXACT_PAIRS, u_distribution
from .trimmed import TRIM

SimulatedTest = Literal["ranks", "trimmed"]

RUNS = 20_000
"""Standard error of a power: at most 0.35 points."""

MOST = 150
"""Units a group."""

_SEED = 20_260

_OneSided = Callable[[FloatArray, FloatArray, float], FloatArray]


def simulated_difference(
    test: SimulatedTest, n: ArrayLike, difference: float, sd_a: float, sd_b: float, alpha: float
) -> FloatArray:
    """Return the power to find a difference of normal groups of n each, two-sided.

    Parameters
    ----------
    test : "ranks" or "trimmed"
        Mann and Whitney's, exact; or Yuen's with a trim of 0.2.
    n : (k,) int, 2 to :data:`MOST`
    difference, sd_a, sd_b, alpha : float

    Returns
    -------
    (k,) float
    """
    powers = []
    for count in np.atleast_1d(np.asarray(n, dtype=np.int64)).tolist():
        a, b = _values(count)
        above = _above(test, difference + sd_a * a, sd_b * b, alpha / 2)
        below = _above(test, sd_b * b, difference + sd_a * a, alpha / 2)
        powers.append(float((above | below).mean()))
    return np.array(powers)


def simulated_equivalence(
    test: SimulatedTest,
    n: ArrayLike,
    limit: float,
    sd_a: float,
    sd_b: float,
    difference: float,
    alpha: float,
) -> FloatArray:
    """Return the power to show equivalence of normal groups of n each, α at either side.

    Parameters
    ----------
    test : "ranks" or "trimmed"
    n : (k,) int, 2 to :data:`MOST`
    limit, sd_a, sd_b, difference, alpha : float

    Returns
    -------
    (k,) float
    """
    powers = []
    for count in np.atleast_1d(np.asarray(n, dtype=np.int64)).tolist():
        a, b = _values(count)
        a, b = difference + sd_a * a, sd_b * b
        both = _above(test, a + limit, b, alpha) & _above(test, b + limit, a, alpha)
        powers.append(float(both.mean()))
    return np.array(powers)


def _above(test: SimulatedTest, a: FloatArray, b: FloatArray, alpha: float) -> BoolArray:
    """Return in which runs a is surely above b, at the one-sided level."""
    return _ranks_above(a, b, alpha) if test == "ranks" else _trimmed_above(a, b, alpha)


def _ranks_above(a: FloatArray, b: FloatArray, alpha: float) -> BoolArray:
    n = a.shape[1]
    order = np.argsort(np.hstack([a, b]), axis=1)
    places = np.where(order < n, np.arange(1, 2 * n + 1), 0).sum(axis=1)
    u = places - n * (n + 1) / 2
    return np.asarray(u >= _critical_u(n, alpha))


@lru_cache(maxsize=512)
def _critical_u(n: int, alpha: float) -> float:
    """Return the least U of two groups of n with P(U or more) ≤ α."""
    if n * n <= EXACT_PAIRS:
        tail = np.cumsum(u_distribution(n, n))  # the distribution is symmetric
        return float(n * n - (np.searchsorted(tail, alpha * (1 + 1e-12), side="right") - 1))
    sd = (n * n * (2 * n + 1) / 12) ** 0.5
    return float(n * n / 2 + 0.5 + special.ndtri(1 - alpha) * sd)


def _trimmed_above(a: FloatArray, b: FloatArray, alpha: float) -> BoolArray:
    (mean_a, d_a, left), (mean_b, d_b, _) = _trimmed(a), _trimmed(b)
    total = d_a + d_b
    df = total**2 * (left - 1) / (d_a**2 + d_b**2)
    return np.asarray(mean_a - mean_b >= special.stdtrit(df, 1 - alpha) * np.sqrt(total))


def _trimmed(values: FloatArray) -> tuple[FloatArray, FloatArray, int]:
    """Return trimmed means, their squared standard errors, and the units left."""
    n = values.shape[1]
    cut = int(TRIM * n + 1e-9)
    left = n - 2 * cut
    kept = np.sort(values, axis=1)
    mean = kept[:, cut : n - cut].mean(axis=1)
    clipped = np.clip(kept, kept[:, [cut]], kept[:, [n - cut - 1]])
    spread = np.var(clipped, axis=1, ddof=1)
    return mean, (n - 1) * spread / (left * (left - 1)), left


@lru_cache(maxsize=1)
def _all_values() -> FloatArray:
    values: FloatArray = np.random.default_rng(_SEED).standard_normal((2, RUNS, MOST))
    values.flags.writeable = False
    return values


def _values(n: int) -> tuple[FloatArray, FloatArray]:
    a, b = _all_values()[:, :, :n]
    return a, b
