"""How many units a group are needed, for a difference or for equivalence."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray, IntArray
from ..errors import SettingError
from .planned_test import PlannedTest
from .samples import check_positive, check_share
from .simulated_power import MOST as SIMULATED
from .simulated_power import (
    SimulatedTest,
    simulated_difference,
    simulated_equivalence,
)
from .welch_power import power_of_difference, power_of_equivalence

MOST = 100_000
"""A plan that needs more units a group than this is refused."""

WORTH: Mapping[SimulatedTest, float] = MappingProxyType({"ranks": 3 / np.pi, "trimmed": 0.8736})
"""How many units of Welch's test one of these is worth, of normal values and many units: the
asymptotic relative efficiency. Ranks: Hodges & Lehmann 1956, Annals of Mathematical Statistics 27:
324–335. Trimmed means at 0.2: the variance of a normal mean over that of a trimmed one."""

METHODS: Mapping[PlannedTest, str] = MappingProxyType(
    {
        "welch": "Welch's test, by integration",
        "ranks": "Mann and Whitney's test, simulated with normal values",
        "trimmed": "Yuen's test of trimmed means, simulated with normal values",
    }
)


@dataclass(frozen=True)
class SampleSize:
    """A plan for two groups of the same size.

    Attributes
    ----------
    purpose : {"difference", "equivalence"}
    n : int
        Smallest count per group that reaches the power.
    power, target_power : float
        What n reaches, and what was asked for.
    difference, limit : float
        True difference of means that is assumed; limit (NaN for a difference).
    sd_a, sd_b, alpha : float
        Standard deviations; level (two-sided for a difference, each side for equivalence).
    curve_n : (k,) int
        From 2 to about twice n: counts per group.
    curve_power : (k,) float
        The power that each reaches.
    test : "welch", "ranks" or "trimmed"
    method : str
        The test and how its power was computed, in words.
    """

    purpose: Literal["difference", "equivalence"]
    n: int
    power: float
    target_power: float
    difference: float
    limit: float
    sd_a: float
    sd_b: float
    alpha: float
    curve_n: IntArray
    curve_power: FloatArray
    test: PlannedTest
    method: str


def size_for_difference(
    difference: float,
    sd_a: float,
    sd_b: float | None = None,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    test: PlannedTest = "welch",
) -> SampleSize:
    """Return how many per group show a difference of means.

    The smallest n whose two-sided test rejects with the wanted power: see
    :func:`power_for_difference`.

    Parameters
    ----------
    difference : float
        That is to be shown, not 0, in the unit of the values.
    sd_a, sd_b : float
        Standard deviations of the groups, from a pilot; one alone counts for both. A pilot of a
        few units may err by a factor of two: try its upper limit too.
    power, alpha : float
        Chance of success wanted; two-sided level.
    test : "welch", "ranks" or "trimmed"
        The test that will decide.

    Returns
    -------
    SampleSize

    Raises
    ------
    SettingError
        A number outside what is allowed, or more than :data:`MOST` needed.
    """
    sd_b = sd_a if sd_b is None else sd_b
    _check(sd_a, sd_b, power, alpha)
    check_positive(abs(difference), "difference")

    def reached(n: ArrayLike) -> FloatArray:
        return power_for_difference(n, difference, sd_a, sd_b, alpha=alpha, test=test)

    return _plan(
        "difference",
        reached,
        power,
        difference=difference,
        limit=np.nan,
        sd_a=sd_a,
        sd_b=sd_b,
        alpha=alpha,
        test=test,
    )


def size_for_equivalence(
    limit: float,
    sd_a: float,
    sd_b: float | None = None,
    *,
    difference: float = 0.0,
    power: float = 0.8,
    alpha: float = 0.05,
    test: PlannedTest = "welch",
) -> SampleSize:
    """Return how many per group show that two means differ by less than a limit.

    The smallest n whose two one-sided tests both reject with the wanted power: see
    :func:`power_for_equivalence`.

    Parameters
    ----------
    limit : float
        Above 0, in the unit of the values.
    sd_a, sd_b : float
        Standard deviations of the groups, from a pilot; one alone counts for both.
    difference : float
        True difference that is assumed, inside ± limit. 0 is the hopeful case.
    power, alpha : float
        Chance of success wanted; level of each one-sided test.
    test : "welch", "ranks" or "trimmed"
        The test that will decide.

    Returns
    -------
    SampleSize

    Raises
    ------
    SettingError
        A number outside what is allowed, or more than :data:`MOST` needed.
    """
    sd_b = sd_a if sd_b is None else sd_b
    _check(sd_a, sd_b, power, alpha)
    check_positive(limit, "limit")
    if not abs(difference) < limit:
        raise SettingError(
            f"A true difference of {difference:g} is not within the limit of {limit:g}.",
            subject="difference",
            remedy="Equivalence cannot then be shown; assume a smaller one or widen the limit.",
        )

    def reached(n: ArrayLike) -> FloatArray:
        return power_for_equivalence(
            n, limit, sd_a, sd_b, difference=difference, alpha=alpha, test=test
        )

    return _plan(
        "equivalence",
        reached,
        power,
        difference=difference,
        limit=limit,
        sd_a=sd_a,
        sd_b=sd_b,
        alpha=alpha,
        test=test,
    )


def power_for_difference(
    n: ArrayLike,
    difference: float,
    sd_a: float,
    sd_b: float,
    *,
    alpha: float = 0.05,
    test: PlannedTest = "welch",
) -> FloatArray:
    """Return the power of a two-sided test for groups of n each, normal values.

    Welch's exactly (:mod:`.welch_power`); the others by simulation, and beyond what is simulated
    as Welch's with so many units as are worth the same, :data:`WORTH`.

    Parameters
    ----------
    n : (k,) int, from 2
    difference, sd_a, sd_b, alpha : float
    test : "welch", "ranks" or "trimmed"

    Returns
    -------
    (k,) float
    """
    return _power(
        n,
        test,
        lambda count: power_of_difference(count, difference, sd_a, sd_b, alpha=alpha),
        lambda count, name: simulated_difference(name, count, difference, sd_a, sd_b, alpha),
    )


def power_for_equivalence(
    n: ArrayLike,
    limit: float,
    sd_a: float,
    sd_b: float,
    *,
    difference: float = 0.0,
    alpha: float = 0.05,
    test: PlannedTest = "welch",
) -> FloatArray:
    """Return the power of two one-sided tests for groups of n each, normal values.

    As :func:`power_for_difference`.

    Parameters
    ----------
    n : (k,) int, from 2
    limit, sd_a, sd_b, difference : float
    alpha : float
        Of each side.
    test : "welch", "ranks" or "trimmed"

    Returns
    -------
    (k,) float
    """
    return _power(
        n,
        test,
        lambda count: power_of_equivalence(
            count, limit, sd_a, sd_b, difference=difference, alpha=alpha
        ),
        lambda count, name: simulated_equivalence(
            name, count, limit, sd_a, sd_b, difference, alpha
        ),
    )


def _power(
    n: ArrayLike,
    test: PlannedTest,
    exact: Callable[[ArrayLike], FloatArray],
    simulated: Callable[[ArrayLike, SimulatedTest], FloatArray],
) -> FloatArray:
    count = np.atleast_1d(np.asarray(n, dtype=np.float64))
    if test == "welch":
        return exact(count)
    power = np.empty(len(count))
    few = count <= SIMULATED
    power[few] = simulated(count[few], test)
    power[~few] = exact(WORTH[test] * count[~few])
    return power


def _plan(
    purpose: Literal["difference", "equivalence"],
    reached: Callable[[ArrayLike], FloatArray],
    power: float,
    *,
    difference: float,
    limit: float,
    sd_a: float,
    sd_b: float,
    alpha: float,
    test: PlannedTest,
) -> SampleSize:
    """Find the smallest n, then the curve about it."""
    n = _smallest(reached, power, purpose)
    points = 100 if test == "welch" else 25
    curve_n = np.unique(np.linspace(2, max(2 * n, 10), points).astype(np.int64))
    curve_n = np.union1d(curve_n, [n])
    return SampleSize(
        purpose=purpose,
        n=n,
        power=float(reached([n])[0]),
        target_power=power,
        difference=difference,
        limit=limit,
        sd_a=sd_a,
        sd_b=sd_b,
        alpha=alpha,
        curve_n=curve_n,
        curve_power=reached(curve_n),
        test=test,
        method=METHODS[test],
    )


def _smallest(reached: Callable[[ArrayLike], FloatArray], power: float, purpose: str) -> int:
    """Return the smallest n that reaches a power, by doubling and halving."""
    high = 2
    while reached([high])[0] < power:
        if high >= MOST:
            raise SettingError(
                f"More than {MOST} units a group would be needed.",
                subject=f"plan for {purpose}",
                remedy="Ask for a larger difference or limit, or a smaller power.",
            )
        high = min(2 * high, MOST)
    low = 1 if high == 2 else high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reached([middle])[0] >= power else (middle, high)
    return high


def _check(sd_a: float, sd_b: float, power: float, alpha: float) -> None:
    check_positive(sd_a, "sd_a")
    check_positive(sd_b, "sd_b")
    check_share(power, "power")
    check_share(2 * alpha, "alpha (doubled)")
