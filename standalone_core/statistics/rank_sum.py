"""Mann and Whitney's test, exact also with ties, and the Hodges–Lehmann shift."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import count

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from ..arrays import FloatArray
from .reasons import FIRST, NO_REASON, SECOND, Reason, because
from .samples import Sample, as_sample, check_share, is_constant, too_few

EXACT_PAIRS = 10_000
"""Up to this many pairs of units (100 a group) the distribution of U is computed exactly."""

EXACT = "exact permutation distribution"
EXACT_WITH_TIES = "exact permutation distribution of the tied ranks"
APPROXIMATE = "normal approximation with tie and continuity correction"


@dataclass(frozen=True)
class MannWhitney:
    """Whether one group tends to larger values.

    Attributes
    ----------
    n_a, n_b : int
        Measured units.
    u : float
        Pairs of units where the first group's value is larger, equal ones counted half.
    p : float
        Two-sided p-value.
    p_greater, p_less : float
        One-sided: the first group tends to larger, or to smaller, values.
    smallest_p : float
        Smallest two-sided p-value that groups of this size could have given without ties.
    method : str
        Exact or approximate.
    reason : Reason
        Why a number is NaN, or the test says nothing; empty otherwise.
    """

    n_a: int
    n_b: int
    u: float
    p: float
    p_greater: float
    p_less: float
    smallest_p: float
    method: str
    reason: Reason


@dataclass(frozen=True)
class Shift:
    """How far the first group lies above the second.

    Attributes
    ----------
    estimate : float
        Median of all differences first − second, in the unit of the values.
    ci_low, ci_high : float
        Interval; NaN if the groups are too small for the confidence asked for.
    confidence, achieved_confidence : float
        Asked for; and what the interval has, at least as much.
    method, reason : str
        Exact or approximate; why a number is NaN, empty otherwise.
    """

    estimate: float
    ci_low: float
    ci_high: float
    confidence: float
    achieved_confidence: float
    method: str
    reason: Reason


def mann_whitney(a: ArrayLike, b: ArrayLike) -> MannWhitney:
    """Test whether the values of one group tend to be larger than those of the other.

    Under the hypothesis that both groups come from one distribution, every split of the pooled
    (mid)ranks into groups of these sizes is as likely as any other. All splits are counted, by
    adding one rank after another to a table of "how many subsets of j ranks sum to s" (Streitberg
    & Röhmel 1986, Statistical Software Newsletter 12: 10–17), so the p-value is exact with and
    without ties. Two-sided: all splits with U at least as far from its mean n_a n_b/2. Mann &
    Whitney (1947), Annals of Mathematical Statistics 18: 50–60. Beyond :data:`EXACT_PAIRS`, the
    normal approximation of ``scipy.stats.mannwhitneyu``.

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.

    Returns
    -------
    MannWhitney

    Examples
    --------
    Hollander & Wolfe, Nonparametric Statistical Methods, permeability of membranes:

    >>> x = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]
    >>> result = mann_whitney(x, [1.15, 0.88, 0.90, 0.74, 1.21])
    >>> result.u, round(result.p_greater, 5), round(result.p, 5)
    (35.0, 0.12721, 0.25441)
    """
    first, second = as_sample(a, "first group"), as_sample(b, "second group")
    reason = too_few({FIRST: first, SECOND: second}, 1)
    if reason:
        nan = np.nan
        return MannWhitney(first.n, second.n, nan, nan, nan, nan, nan, "", reason)
    from scipy import stats  # takes as long to load as all the rest of the core

    ranks = stats.rankdata(np.concatenate([first.values, second.values]))
    u = float(ranks[: first.n].sum() - first.n * (first.n + 1) / 2)
    pairs = first.n * second.n
    if pairs <= EXACT_PAIRS:
        tied = len(np.unique(ranks)) < len(ranks)
        method = EXACT_WITH_TIES if tied else EXACT
        greater, less, two_sided = _exact_p(ranks, first.n, u)
    else:
        method = APPROXIMATE
        greater, less, two_sided = _approximate_p(first, second)
    flat = is_constant(np.concatenate([first.values, second.values]))
    return MannWhitney(
        n_a=first.n,
        n_b=second.n,
        u=u,
        p=two_sided,
        p_greater=greater,
        p_less=less,
        smallest_p=smallest_p(first.n, second.n),
        method=method,
        reason=because("all_same_groups") if flat else NO_REASON,
    )


def hodges_lehmann(a: ArrayLike, b: ArrayLike, *, confidence: float = 0.95) -> Shift:
    """Estimate by how much the first group is shifted against the second.

    The estimate is the median of all n_a n_b differences; the interval runs from the C-th smallest
    to the C-th largest, C the largest with 2 P(U ≤ C − 1) ≤ α under the exact distribution of U
    (Hodges & Lehmann 1963, Annals of Mathematical Statistics 34: 598–611; Hollander & Wolfe,
    Nonparametric Statistical Methods, section 4.3). Discrete, so the confidence is at least that
    asked for; with ties it is more than said. Assumes that the groups differ by a shift alone.

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.
    confidence : float
        At least this much.

    Returns
    -------
    Shift
    """
    check_share(confidence, "confidence")
    first, second = as_sample(a, "first group"), as_sample(b, "second group")
    reason = too_few({FIRST: first, SECOND: second}, 1)
    if reason:
        return Shift(np.nan, np.nan, np.nan, confidence, np.nan, "", reason)
    differences = np.sort(np.subtract.outer(first.values, second.values), axis=None)
    below, achieved, method = _outer_count(first.n, second.n, confidence)
    if below < 1:
        sizes = {"first": first.n, "second": second.n}
        reason = because("too_few_for_interval", **sizes, percent=100 * confidence)
    return Shift(
        estimate=float(np.median(differences)),
        ci_low=np.nan if reason else float(differences[below - 1]),
        ci_high=np.nan if reason else float(differences[-below]),
        confidence=confidence,
        achieved_confidence=np.nan if reason else achieved,
        method=method,
        reason=reason,
    )


def smallest_p(n_a: int, n_b: int) -> float:
    """Return the smallest two-sided p that groups of this size can give, by ranks or by permuting.

    2/C(n_a + n_b, n_a): complete separation, either way.

    Examples
    --------
    >>> round(smallest_p(5, 5), 4)
    0.0079
    """
    return min(1.0, 2.0 / float(special.binom(n_a + n_b, n_a)))


def least_by_ranks(alpha: float) -> int:
    """Return how many units in each group are needed for any two-sided p ≤ alpha.

    Examples
    --------
    >>> least_by_ranks(0.05)
    4
    """
    return next(n for n in count(1) if smallest_p(n, n) <= alpha)


def u_distribution(n_a: int, n_b: int) -> FloatArray:
    """Return P(U = 0 … n_a n_b) without ties.

    Returns
    -------
    (n_a n_b + 1,) float
    """
    fewer, more = sorted((n_a, n_b))
    doubled = tuple(range(2, 2 * (fewer + more) + 1, 2))
    return _doubled_sums(doubled, fewer)[fewer * (fewer + 1) :: 2][: n_a * n_b + 1]


@lru_cache(maxsize=64)
def _doubled_sums(doubled_ranks: tuple[int, ...], chosen: int) -> FloatArray:
    """Return how likely each sum of ``chosen`` of these ranks is; the ranks doubled: integers."""
    top = sum(doubled_ranks[-chosen:]) if chosen else 0
    ways = np.zeros((chosen + 1, top + 1))
    ways[0, 0] = 1.0
    for rank in doubled_ranks:
        if rank <= top:
            ways[1:, rank:] += ways[:-1, : top + 1 - rank]
    share: FloatArray = ways[chosen] / ways[chosen].sum()
    share.flags.writeable = False
    return share


def _exact_p(ranks: FloatArray, n_a: int, u: float) -> tuple[float, float, float]:
    """Return the chance of a U as large, as small, and as far from the middle."""
    n_b = len(ranks) - n_a
    fewer = min(n_a, n_b)
    doubled = tuple(np.sort(np.rint(2 * ranks).astype(np.int64)).tolist())
    share = _doubled_sums(doubled, fewer)
    doubled_u = np.arange(len(share)) - fewer * (fewer + 1)
    pairs = n_a * n_b
    seen = round(2 * u) if n_a <= n_b else 2 * pairs - round(2 * u)
    above, below = float(share[doubled_u >= seen].sum()), float(share[doubled_u <= seen].sum())
    far = float(share[np.abs(doubled_u - pairs) >= abs(seen - pairs)].sum())
    greater, less = (above, below) if n_a <= n_b else (below, above)
    return min(greater, 1.0), min(less, 1.0), min(far, 1.0)


def _approximate_p(first: Sample, second: Sample) -> tuple[float, float, float]:
    from scipy import stats

    greater, less, two_sided = (
        float(
            stats.mannwhitneyu(
                first.values, second.values, alternative=side, method="asymptotic"
            ).pvalue
        )
        for side in ("greater", "less", "two-sided")
    )
    return greater, less, two_sided


def _outer_count(n_a: int, n_b: int, confidence: float) -> tuple[int, float, str]:
    """Return which difference from either end bounds the interval, its confidence and method."""
    alpha = 1 - confidence
    if n_a * n_b <= EXACT_PAIRS:
        tail = np.cumsum(u_distribution(n_a, n_b))
        below = int(np.searchsorted(tail, alpha / 2 * (1 + 1e-12), side="right"))
        return below, 1 - 2 * float(tail[below - 1]) if below else np.nan, EXACT
    sd = (n_a * n_b * (n_a + n_b + 1) / 12) ** 0.5
    below = int(np.floor(n_a * n_b / 2 - float(special.ndtri(0.5 + confidence / 2)) * sd))
    return below, confidence, APPROXIMATE
