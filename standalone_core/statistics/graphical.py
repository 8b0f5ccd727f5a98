"""Claims in an order that was chosen beforehand, sharing one level: a graph of passed-on alpha."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from ..errors import SettingError

_ROUNDING = 1e-12


def graphical(p: ArrayLike, weights: ArrayLike, passes: ArrayLike) -> FloatArray:
    """Return p-values adjusted by a graph of passed-on levels, for any dependence between tests.

    Hypothesis i is tested at weights[i] α; once it is rejected, its level goes to hypothesis j by
    the share passes[i, j], and the graph closes over the gap. Rejecting where the adjusted p ≤ α
    keeps the chance of even one false rejection at α or below. Bretz, Maurer, Brannath & Posch
    (2009), Statistics in Medicine 28: 586–604, algorithms 1 and 2. Fixed orders, Holm's method and
    the fallback procedure are such graphs.

    Parameters
    ----------
    p : (m,) float
        NaN stands for a test that was not made: it rejects nothing and passes nothing on.
    weights : (m,) float
        0 or more, with a sum of at most 1.
    passes : (m, m) float
        0 or more, rows with a sum of at most 1, a diagonal of 0.

    Returns
    -------
    (m,) float

    Raises
    ------
    SettingError
        A p-value outside 0 to 1, or weights that share out more than there is.

    Examples
    --------
    Holm's method, and an order:

    >>> graphical([0.02, 0.01], [0.5, 0.5], [[0, 1], [1, 0]]).tolist()
    [0.02, 0.02]
    >>> graphical([0.01, 0.04, 0.03], [1, 0, 0], [[0, 1, 0], [0, 0, 1], [0, 0, 0]]).tolist()
    [0.01, 0.04, 0.04]
    """
    given = np.asarray(p, dtype=np.float64)
    share, to = np.array(weights, dtype=np.float64), np.array(passes, dtype=np.float64)
    _check(given, share, to)
    adjusted = np.full(len(given), np.nan)
    left = ~np.isnan(given)
    adjusted[left] = 1.0
    reached = 0.0
    while left.any():
        ratio = np.full(len(given), np.inf)
        usable = left & (share > 0)
        ratio[usable] = given[usable] / share[usable]
        first = int(np.argmin(ratio))
        if not np.isfinite(ratio[first]) or ratio[first] > 1.0:
            break
        reached = max(reached, float(ratio[first]))
        adjusted[first] = reached
        left[first] = False
        share, to = _without(first, share, to)
    return adjusted


def chains(orders: Sequence[Sequence[int]], m: int) -> tuple[FloatArray, FloatArray]:
    """Return the graph of several orders that share the level equally.

    Each order is tested from its first hypothesis on, at its part of the level; an order that has
    come to its end passes its level on to the first hypotheses of the others.

    Parameters
    ----------
    orders : sequence of sequences of int
        Hypotheses, each in one order at most; empty orders take no part.
    m : int
        Number of hypotheses; those in no order have no level.

    Returns
    -------
    weights : (m,) float
    passes : (m, m) float

    Examples
    --------
    >>> weights, passes = chains([[0, 1], [2]], 3)
    >>> weights.tolist(), passes.tolist()
    ([0.5, 0.0, 0.5], [[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
    """
    weights, passes = np.zeros(m), np.zeros((m, m))
    several = [order for order in orders if order]
    for order in several:
        weights[order[0]] = 1 / len(several)
        for one, following in pairwise(order):
            passes[one, following] = 1.0
        for other in several:
            if other is not order:
                passes[order[-1], other[0]] = 1 / (len(several) - 1)
    return weights, passes


def _without(gone: int, share: FloatArray, to: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the graph without a rejected hypothesis, whose level is passed on."""
    new_share = share + share[gone] * to[gone]
    back = to[:, gone] * to[gone]  # what would come back to where it came from
    with np.errstate(divide="ignore", invalid="ignore"):
        new_to = (to + np.outer(to[:, gone], to[gone])) / (1 - back)[:, None]
    new_to[back >= 1 - _ROUNDING] = 0.0
    np.fill_diagonal(new_to, 0.0)
    new_share[gone] = 0.0
    new_to[gone], new_to[:, gone] = 0.0, 0.0
    return new_share, new_to


def _check(p: FloatArray, weights: FloatArray, passes: FloatArray) -> None:
    tested = p[~np.isnan(p)]
    if ((tested < 0) | (tested > 1)).any():
        raise SettingError(
            "A p-value lies outside 0 to 1.",
            subject="p",
            remedy="Give p-values, with NaN for a test that was not made.",
        )
    most = 1 + _ROUNDING
    if (weights < 0).any() or weights.sum() > most:
        raise SettingError(
            "The weights share out more than there is.",
            subject="weights",
            remedy="Give weights of 0 or more with a sum of at most 1.",
        )
    if (passes < 0).any() or (passes.sum(axis=1) > most).any() or passes.diagonal().any():
        raise SettingError(
            "A hypothesis passes on more than it has, or to itself.",
            subject="passes",
            remedy="Give shares of 0 or more, rows with a sum of at most 1, and a diagonal of 0.",
        )
