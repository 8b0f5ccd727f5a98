"""How large the stated causes are, with intervals; what they explain, and what is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray, IntArray
from .averaged import Averaged
from .evidence import Evidence
from .model import RIGID, Model
from .rule import Statement, rms_um

NORMAL_95 = 1.959963984540054
"""Quantile of the normal distribution for 95 % both ways."""


@dataclass(frozen=True, eq=False)
class Sized:
    """A stated cause with its sizes.

    Attributes
    ----------
    statement : Statement
    sizes : (k,) float
        Of its columns, in the cause's own unit.
    covariance : (k, k) float
        Of the sizes.
    rms_um : float
        Root mean square of its deviations, µm.
    share_alone : float
        Share of the variance that is lost if it alone is left out.
    """

    statement: Statement
    sizes: FloatArray
    covariance: FloatArray
    rms_um: float
    share_alone: float

    def along(self, direction: FloatArray) -> tuple[float, float, float]:
        """Return the size along a combination (k,) of its columns, with its 95 % interval."""
        middle = float(direction @ self.sizes)
        half = NORMAL_95 * float(np.sqrt(direction @ self.covariance @ direction))
        return middle, middle - half, middle + half


@dataclass(frozen=True, eq=False)
class Fitted:
    """All stated causes fitted together.

    Attributes
    ----------
    columns : (k,) int
        Of the model, without the rigid ones.
    sizes : (k,) float
    rigid : (6,) float
        The motion that goes with them.
    """

    columns: IntArray
    sizes: FloatArray
    rigid: FloatArray

    def in_cells(self, model: Model) -> FloatArray:
        """Deviations that causes and motion make in the cells, (c,), mm."""
        made: FloatArray = model.columns[:, self.columns] @ self.sizes + model.rigid @ self.rigid
        return made


def sized(
    evidence: Averaged,
    found: Sequence[Statement],
    values: FloatArray,
    weights: FloatArray,
    gram: FloatArray,
) -> tuple[Sized, ...]:
    """Give each stated cause its size.

    Parameters
    ----------
    evidence : Averaged
    found : sequence of Statement
    values, weights : (c,) float
        The cells' deviations, mm, and areas.
    gram : (p − 6, p − 6) float
        See :func:`.rule.field_gram`.
    """
    model = evidence.model
    kept = [one.place for one in found]
    together = explained_share(model, kept, values, weights)
    results = []
    for one in found:
        # "If it is that" is asked of the sets that do not hold the other family.
        without = model.families[one.instead].tolist() if one.instead else []
        mean, spread = evidence.sizes_of([one.place], without)
        others = [place for place in kept if place != one.place]
        alone = together - explained_share(model, others, values, weights)
        size = rms_um(model, gram, one.place, mean)
        results.append(Sized(one, mean, spread, size, max(alone, 0.0)))
    return tuple(results)


def fitted(evidence: Evidence, places: Sequence[int], values: FloatArray) -> Fitted:
    """Fit some members together, by generalised least squares."""
    model = evidence.model
    columns = _columns(model, places)
    both = np.concatenate([np.arange(RIGID), columns])
    white = evidence.covariance.whitened(np.column_stack([model.columns[:, both], values]))
    sizes: FloatArray = np.asarray(
        np.linalg.lstsq(white[:, :-1], white[:, -1], rcond=None)[0], dtype=np.float64
    )
    return Fitted(columns, sizes[RIGID:], sizes[:RIGID])


def explained_share(
    model: Model, places: Sequence[int], values: FloatArray, weights: FloatArray
) -> float:
    """Share of the cells' variance after superimposition that some members explain, 0 to 1.

    By least squares over the area: R², of what the rigid motion leaves.
    """
    root = np.sqrt(weights)[:, None]
    rigid, _ = np.linalg.qr(model.rigid * root)
    target = values * root[:, 0]
    target = target - rigid @ (rigid.T @ target)
    total = float(target @ target)
    if not len(places) or total <= 0.0:
        return 0.0
    columns = model.columns[:, _columns(model, places)] * root
    columns = columns - rigid @ (rigid.T @ columns)
    fit = columns @ np.linalg.lstsq(columns, target, rcond=None)[0]
    rest = target - fit
    return 1.0 - float(rest @ rest) / total


def _columns(model: Model, places: Sequence[int]) -> IntArray:
    blocks = [model.blocks[place] for place in places]
    return np.concatenate(blocks) if blocks else np.zeros(0, dtype=np.int64)
