"""Which group is more alike within itself: precision compared by permuting units.

The n(n − 1)/2 pairs of a group share units, so they are no sample. And units of two groups whose
means differ are not exchangeable under "equally precise": shuffling them between the groups, and
taking their pairs anew, would take the difference of the means for spread. What is exchangeable is
how far each unit lies from the middle of its own group. Those distances are permuted.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from ..arrays import FloatArray
from ..errors import SettingError
from .reasons import Reason, because
from .samples import GroupValues, as_samples, check_share, is_constant, too_few
from .welch import welch_test

EXACT_SPLITS = 200_000
"""Up to this many ways to divide the units between two groups, all are tried (10 + 10: 184 756)."""

_STEPS = 500  # of the spatial median, which settles to 1e-10 in far fewer
_BATCH = 2_000  # permutations at a time, so that memory stays flat


@dataclass(frozen=True)
class PrecisionTest:
    """Spread within groups, compared.

    Attributes
    ----------
    distances : mapping of group name to n floats
        Of each unit from its group's middle, times √(n/(n − 1)); in the unit of the pairs.
    means : mapping of group name to float
        Of the distances. Smaller is more precise.
    missing : mapping of group name to int
        Units without values, left out.
    f : float
        Statistic: analysis of variance of the distances.
    p : float
        Share of the permutations with a statistic at least as large.
    permutations : int
        How many were tried, the actual one included.
    exact : bool
        Whether those are all there are.
    difference, ci_low, ci_high, confidence : float
        Two groups: mean distance of the first minus the second, with Welch's interval, which is
        approximate and not adjusted for other comparisons; NaN for more groups.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    distances: Mapping[str, tuple[float, ...]]
    means: Mapping[str, float]
    missing: Mapping[str, int]
    f: float
    p: float
    permutations: int
    exact: bool
    difference: float
    ci_low: float
    ci_high: float
    confidence: float
    reason: Reason


def compare_distances(
    distances: GroupValues,
    *,
    rng: np.random.Generator,
    permutations: int = 9_999,
    confidence: float = 0.95,
) -> PrecisionTest:
    """Test whether groups are equally precise: units equally far from their group's middle.

    Of distances from the spatial median (:func:`distances_from_pairs`) it is the test of
    multivariate dispersions of Anderson (2006), Biometrics 62: 245–253, whose one-dimensional form
    is Brown and Forsythe's. Distances from the mean would reject up to four times too often in
    small groups, since one far unit draws the mean and lengthens the distances of all others
    together. For groups of five to eight it is careful: fewer than 5 % false alarms; so it is for
    unequal groups of the same spread, four against twelve.

    The statistic is F of a one-way analysis of variance of the distances. Two groups with few
    enough divisions are divided in every way, and p is the share with an F as large; otherwise
    p = (b + 1)/(m + 1) with b of m random divisions as large (Phipson & Smyth 2010, Statistical
    Applications in Genetics and Molecular Biology 9: 39).

    Parameters
    ----------
    distances : mapping of group name to (n,) float
        Not negative; from the group's median, times √(n/(n − 1)). NaN counts as missing.
    rng : numpy.random.Generator
        Used only where there are more than :data:`EXACT_SPLITS` divisions, or more than two groups.
    permutations : int
        How many are then drawn.
    confidence : float
        Of the interval of the difference.

    Returns
    -------
    PrecisionTest

    Raises
    ------
    SettingError
        Fewer than two groups, an infinite distance, no permutation, or a confidence that is no
        share.
    """
    check_share(confidence, "confidence")
    if permutations < 1:
        raise SettingError(
            f"It is {permutations}.", subject="permutations", remedy="Give 999 or more."
        )
    samples = as_samples(distances, at_least=2)
    rows = {name: sample.values for name, sample in samples.items()}
    pooled = np.concatenate(list(rows.values()))
    reason = too_few(samples, 3)
    if not reason and is_constant(pooled):
        reason = because("equally_far_from_middle")
    f, p, tried, exact = np.nan, np.nan, 0, False
    if not reason:
        f, p, tried, exact = _permute(
            pooled, [len(row) for row in rows.values()], rng, permutations
        )
    pair = welch_test(*rows.values(), confidence=confidence) if len(rows) == 2 else None
    shown = pair is not None and not reason
    return PrecisionTest(
        distances={name: tuple(row.tolist()) for name, row in rows.items()},
        means={name: float(row.mean()) if len(row) else np.nan for name, row in rows.items()},
        missing={name: sample.missing for name, sample in samples.items()},
        f=f,
        p=p,
        permutations=tried,
        exact=exact,
        difference=pair.difference if pair else np.nan,
        ci_low=pair.ci_low if pair and shown else np.nan,
        ci_high=pair.ci_high if pair and shown else np.nan,
        confidence=confidence,
        reason=reason,
    )


def distances_from_pairs(pairs: FloatArray) -> FloatArray:
    """Return how far each unit lies from its group's spatial median, from the pairs alone.

    The squared pair distances, doubly centred, are inner products of the units about their mean
    (Gower 1966, Biometrika 53: 325–338); their eigenvectors place the units in n − 1 dimensions,
    where Weiszfeld's iteration finds the point with the least sum of distances. Pairs that are no
    distances in a space give negative eigenvalues too: places on imaginary axes, with a median of
    their own, whose squared distance is taken off: √|d₊² − d₋²| (Anderson 2006, Biometrics 62:
    245–253). The results are multiplied by √(n/(n − 1)), since a middle drawn from n units lies
    nearer to them than the true one; the mean square of a group's pairs is then twice that of its
    units' distances from their mean.

    Parameters
    ----------
    pairs : (n, n) float
        Symmetric, complete.

    Returns
    -------
    (n,) float
        NaN for fewer than two units.
    """
    n = len(pairs)
    if n < 2:
        return np.full(n, np.nan)
    squared = np.asarray(pairs, dtype=np.float64) ** 2
    row = squared.mean(axis=1)
    inner = -0.5 * (squared - row[:, None] - row[None, :] + squared.mean())
    values, vectors = np.linalg.eigh(inner)
    real, imaginary = (
        _from_median(vectors * np.sqrt(np.maximum(sign * values, 0.0))) for sign in (1, -1)
    )
    return np.sqrt(np.abs(real**2 - imaginary**2) * (n / (n - 1)))


def _from_median(places: FloatArray) -> FloatArray:
    distance: FloatArray = np.linalg.norm(places - _spatial_median(places), axis=1)
    return distance


def _spatial_median(places: FloatArray) -> FloatArray:
    """Return the point with the least sum of distances to the given ones.

    Sought from the medians of the coordinates, at which it stays where it is not the only one: on
    a line, between two middle units.
    """
    middle: FloatArray = np.median(places, axis=0)
    reach = float(np.linalg.norm(places - middle, axis=1).max())
    if reach == 0:
        return middle
    for _ in range(_STEPS):
        weight = 1 / np.maximum(np.linalg.norm(places - middle, axis=1), 1e-9 * reach)
        moved = weight @ places / weight.sum()
        step = float(np.linalg.norm(moved - middle))
        middle = moved
        if step <= 1e-10 * reach:
            break
    return middle


def _permute(
    pooled: FloatArray, sizes: Sequence[int], rng: np.random.Generator, permutations: int
) -> tuple[float, float, int, bool]:
    """Return F, its p-value, how many divisions were tried, and whether these were all."""
    actual = _between(pooled[None], sizes)[0]
    total = float(((pooled - pooled.mean()) ** 2).sum())
    within = (total - actual) / (len(pooled) - len(sizes))
    f = float(actual / (len(sizes) - 1) / within) if within > 0 else np.inf
    least = actual - 1e-9 * total  # rounding must not part equal divisions
    if len(sizes) == 2 and comb(len(pooled), sizes[0]) <= EXACT_SPLITS:
        sums = pooled[_splits(len(pooled), sizes[0])].sum(axis=1)
        found = _between_two(sums, pooled, sizes)
        return f, float((found >= least).mean()), len(found), True
    larger = 0
    for start in range(0, permutations, _BATCH):
        count = min(_BATCH, permutations - start)
        drawn = rng.permuted(np.broadcast_to(pooled, (count, len(pooled))), axis=1)
        larger += int((_between(drawn, sizes) >= least).sum())
    return f, (larger + 1) / (permutations + 1), permutations + 1, False


def _between(rows: FloatArray, sizes: Sequence[int]) -> FloatArray:
    """Return the sum of squares between groups for every row of pooled values."""
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    means = np.add.reduceat(rows, starts, axis=1) / np.asarray(sizes)
    overall = rows.mean(axis=1, keepdims=True)
    found: FloatArray = (np.asarray(sizes) * (means - overall) ** 2).sum(axis=1)
    return found


def _between_two(sums: FloatArray, pooled: FloatArray, sizes: Sequence[int]) -> FloatArray:
    """Return the same for two groups, from the sums of the first."""
    overall = pooled.mean()
    away = sums / sizes[0] - overall
    return np.asarray(away**2 * sizes[0] * len(pooled) / sizes[1])


@lru_cache(maxsize=4)
def _splits(total: int, chosen: int) -> NDArray[np.int16]:
    """Return every way to choose so many of all, one a row."""
    flat: Iterable[int] = chain.from_iterable(combinations(range(total), chosen))
    return np.fromiter(flat, dtype=np.int16).reshape(-1, chosen)
