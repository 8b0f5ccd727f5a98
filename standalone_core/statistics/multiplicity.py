"""p-values that allow for having asked many questions."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from ..errors import SettingError


def holm(p: ArrayLike) -> FloatArray:
    """Return p-values adjusted by Holm's step-down method, for any dependence between tests.

    With p(1) ≤ … ≤ p(m): p'(i) = max over j ≤ i of min(1, (m − j + 1) p(j)). Rejecting where
    p' ≤ α keeps the chance of even one false rejection at α or below. Holm (1979), Scandinavian
    Journal of Statistics 6: 65–70.

    Parameters
    ----------
    p : array of float, any shape
        NaN stands for a test that was not made: it stays NaN and does not count.

    Returns
    -------
    array of the same shape

    Raises
    ------
    SettingError
        A p-value outside 0 to 1.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03, 0.005]).round(4).tolist()
    [0.03, 0.06, 0.06, 0.02]
    """
    return _adjusted(p, _holm_sorted)


def step_down_exclusive(p: ArrayLike, q: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return p-values of pairs of hypotheses that cannot both be true, adjusted as one family.

    "There is no difference" and "the difference is not within its limit" exclude each other, so of
    m pairs m hypotheses at most are true. A step-down method that uses it: with all 2m p-values
    sorted, p'(i) = max over j ≤ i of min(1, k(j) p(j)), k(j) the number of pairs with a hypothesis
    that is not rejected before step j. The chance of even one false rejection where p' ≤ α is α
    at most, for any dependence. Shaffer (1986), Journal of the American Statistical Association
    81: 826–831. With one hypothesis per pair it is :func:`holm`.

    Parameters
    ----------
    p, q : (m,) float
        Of the first and the second hypothesis of each pair; NaN stands for a test that was not
        made.

    Returns
    -------
    p_adjusted, q_adjusted : (m,) float

    Raises
    ------
    SettingError
        A p-value outside 0 to 1.

    Examples
    --------
    >>> p, q = step_down_exclusive([0.01, 0.30], [0.60, 0.02])
    >>> p.round(4).tolist(), q.round(4).tolist()
    ([0.02, 0.6], [0.6, 0.04])
    """
    pairs = np.concatenate([np.arange(len(np.atleast_1d(p)))] * 2)
    both = np.concatenate([np.atleast_1d(p), np.atleast_1d(q)]).astype(np.float64)
    made = ~np.isnan(both)

    def rule(ordered: FloatArray) -> FloatArray:
        places = pairs[made][np.argsort(both[made], kind="stable")]
        left = [len(np.unique(places[i:])) for i in range(len(places))]
        raised: FloatArray = np.maximum.accumulate(ordered * np.array(left))
        return raised

    adjusted = _adjusted(both, rule)
    half = len(both) // 2
    return adjusted[:half], adjusted[half:]


def benjamini_hochberg(p: ArrayLike) -> FloatArray:
    """Return p-values adjusted for the false discovery rate.

    With p(1) ≤ … ≤ p(m): p'(i) = min over j ≥ i of min(1, m p(j)/j). Of all that is rejected where
    p' ≤ q, a share of q is expected to be false, for independent or positively dependent tests:
    neighbouring points of a surface are. Benjamini & Hochberg (1995), Journal of the Royal
    Statistical Society B 57: 289–300. O(m log m).

    Parameters
    ----------
    p : array of float, any shape
        NaN stands for a test that was not made: it stays NaN and does not count.

    Returns
    -------
    array of the same shape

    Raises
    ------
    SettingError
        A p-value outside 0 to 1.

    Examples
    --------
    >>> benjamini_hochberg([0.01, 0.04, 0.03, 0.005]).round(4).tolist()
    [0.02, 0.04, 0.04, 0.02]
    """
    return _adjusted(p, _hochberg_sorted)


def _holm_sorted(p: FloatArray) -> FloatArray:
    raised: FloatArray = np.maximum.accumulate(p * np.arange(len(p), 0, -1))
    return raised


def _hochberg_sorted(p: FloatArray) -> FloatArray:
    scaled = p * (len(p) / np.arange(1, len(p) + 1))
    lowered: FloatArray = np.minimum.accumulate(scaled[::-1])[::-1]
    return lowered


def _adjusted(p: ArrayLike, rule: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Apply a rule for sorted p-values to the tests that were made."""
    given = np.asarray(p, dtype=np.float64)
    made = ~np.isnan(given)
    tested = given[made]
    if ((tested < 0) | (tested > 1)).any():
        raise SettingError(
            "A p-value lies outside 0 to 1.",
            subject="p",
            remedy="Give p-values, with NaN for a test that was not made.",
        )
    order = np.argsort(tested, kind="stable")
    adjusted = np.empty_like(tested)
    adjusted[order] = np.minimum(1.0, rule(tested[order]))
    result = np.full_like(given, np.nan)
    result[made] = adjusted
    return result
