"""How probable every cause is: all admissible sets of causes, weighed by BIC, and averaged.

Weights exp(−Δ/2) with Δ the difference of χ²/s² + k log n between sets: Raftery 1995,
Sociological Methodology 25; averaging over models: Buckland, Burnham & Augustin 1997,
Biometrics 53 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .covariance import Covariance
from .model import RIGID, Model

_MOST_INFLATION = 1e4
"""Sets in which a column is the others' sum but for this share of its variance (a variance
inflation factor) are not weighed: they say the same as a smaller set, in numbers without end."""

_RIDGE = 1e-12

_CLIP = 4.0
"""Whitened residuals beyond this many standard deviations are drawn in: stubs, chips."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What a crown's cells say about a model's members, under one covariance.

    Attributes
    ----------
    model : Model
    covariance : Covariance
    weights : (s,) float
        Of the subsets; their sum is 1.
    log_total : float
        Logarithm of the sum of the weights before that: how well the model does as a whole.
    sizes : (s, p − 6) float
        Sizes of all columns in each subset; 0 where it does not hold them.
    spreads : (s, p − 6, p − 6) float
        Their covariance.
    """

    model: Model
    covariance: Covariance
    weights: FloatArray
    log_total: float
    sizes: FloatArray
    spreads: FloatArray

    @property
    def probability(self) -> FloatArray:
        """Of each member, (m,)."""
        held: FloatArray = self.weights @ self.model.subsets
        return np.minimum(held, 1.0)

    def of_any(self, places: IntArray) -> float:
        """Probability that at least one of some members takes part."""
        holds = self.model.subsets[:, places].any(axis=1)
        return min(float(self.weights[holds].sum()), 1.0)

    def sizes_of(
        self, places: Sequence[int], without: Sequence[int] = ()
    ) -> tuple[FloatArray, FloatArray]:
        """Mean sizes of some members over the subsets that hold all of them, and covariance.

        Parameters
        ----------
        places : sequence of int
        without : sequence of int
            Members that the subsets must not hold.

        Returns
        -------
        (k,) float, (k, k) float
            The covariance adds the spread between subsets.
        """
        block = np.concatenate([self.model.blocks[place] for place in places]) - RIGID
        subsets = self.model.subsets
        holds = subsets[:, list(places)].all(axis=1) & ~subsets[:, list(without)].any(axis=1)
        weights = self.weights[holds] + np.finfo(float).tiny
        weights = weights / weights.sum()
        sizes = self.sizes[holds][:, block]
        mean = weights @ sizes
        within = np.tensordot(weights, self.spreads[np.ix_(holds, block, block)], 1)
        away = sizes - mean
        return mean, within + (weights[:, None] * away).T @ away


def weigh(model: Model, values: FloatArray, covariance: Covariance) -> Evidence:
    """Weigh all admissible sets of a model's members.

    Parameters
    ----------
    model : Model
    values : (c,) float
        Mean deviations of the cells, mm.
    covariance : Covariance
        Of what is left.
    """
    white = covariance.whitened(np.column_stack([model.columns, values]))
    columns, target = white[:, :-1], white[:, -1]
    widest = columns[:, model.widest]
    fitted = widest @ np.linalg.lstsq(widest, target, rcond=None)[0]
    rest = target - fitted
    sigma = covariance.sigma_mm
    target = fitted + np.clip(rest, -_CLIP * sigma, _CLIP * sigma)
    # What the rigid columns explain is taken off all others first.
    rigid, _ = np.linalg.qr(columns[:, :RIGID])
    free_columns = columns[:, RIGID:] - rigid @ (rigid.T @ columns[:, RIGID:])
    target = target - rigid @ (rigid.T @ target)
    gram, product = free_columns.T @ free_columns, free_columns.T @ target
    held = _columns_held(model)
    spreads = _inverses(gram, held)
    inflation = (np.diagonal(spreads, axis1=1, axis2=2) * np.diag(gram)).max(axis=1, initial=0.0)
    sizes = np.einsum("sij,sj->si", spreads, held * product)
    explained = np.einsum("si,i->s", sizes, product)
    chi2 = (target @ target - explained) / sigma**2
    score = chi2 + model.parameters * np.log(len(values))
    score = np.where(inflation < _MOST_INFLATION, score, np.inf)
    weights = np.exp(-0.5 * (score - score.min()))
    total = float(weights.sum())
    return Evidence(
        model=model,
        covariance=covariance,
        weights=weights / total,
        log_total=math.log(total) - 0.5 * float(score.min()),
        sizes=sizes,
        spreads=sigma**2 * spreads,
    )


def _columns_held(model: Model) -> BoolArray:
    """Which columns but the rigid ones each subset holds, (s, p − 6)."""
    held = np.zeros((len(model.subsets), model.columns.shape[1] - RIGID), dtype=bool)
    for place, block in enumerate(model.blocks):
        held[:, block - RIGID] = model.subsets[:, place, None]
    return held


def _inverses(gram: FloatArray, held: BoolArray) -> FloatArray:
    """Invert the part of a matrix that each subset holds; 0 elsewhere."""
    scale = 1.0 / np.sqrt(np.maximum(np.diag(gram), np.finfo(float).tiny))
    scaled = gram * scale * scale[:, None]
    both = held[:, :, None] & held[:, None, :]
    matrices = np.where(both, scaled, 0.0)
    diagonal = np.arange(len(gram))
    matrices[:, diagonal, diagonal] += np.where(held, _RIDGE, 1.0)
    inverse: FloatArray = np.where(both, np.linalg.inv(matrices), 0.0)
    return inverse * scale * scale[:, None]
