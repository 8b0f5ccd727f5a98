"""What all crowns of a group share: causes found in the mean of their cells, sized crown by crown.

The crowns' own form error shrinks by √m in the mean of m of them, so that it bears what one crown
cannot show, uniform growth above all. Each crown is then fitted by generalised least squares with
the causes that the mean bears; the crowns' sizes, not the surface's points, are the sample.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import stdtrit

from ...arrays import FloatArray
from ...causes.case import Case
from ...causes.design_fields import CauseFields
from ...causes.find import doubt_of
from ...causes.found import Found, find_in_cells
from ...causes.model import RIGID
from ...causes.settings import ProductionFacts

if TYPE_CHECKING:
    from .cause_predictions import PredictedVerdict
    from .common_causes import CommonCause

LEAST_CROWNS = 3
"""Fewer crowns say too little of how causes scatter between crowns. Ours, no source."""

UM = 1e3


@dataclass(frozen=True, eq=False)
class Parts:
    """A group's deviations over the cells, taken apart; root mean squares over the area, µm.

    Attributes
    ----------
    total_um : float
        Of all crowns, after superimposition.
    causes_um : float
        Of what the stated causes explain in all crowns alike, by least squares over the area.
    shared_um : float
        Of what else the crowns share, less what chance adds to it.
    between_um : float
        Of the standard deviation between crowns.
    mean_share : float
        Share of the crowns' mean square that their mean makes up, 0 to 1.
    """

    total_um: float
    causes_um: float
    shared_um: float
    between_um: float
    mean_share: float


@dataclass(frozen=True, eq=False)
class GroupCauses:
    """What one group's crowns share.

    Attributes
    ----------
    group : str
    crowns : tuple of str
        Names of the m crowns that it was found from.
    left_out : mapping of str to str
        The other crowns, and why, as the end of a sentence.
    case : Case or None
        The mean crown, with what it bears; None where there is none.
    sizes : mapping of int to (m, k) float
        Each crown's sizes of each stated member, by its place in the model.
    parts : Parts or None
    predicted : tuple of PredictedVerdict
        Per stated cause, crown and area.
    reason : str
        Why there is no case; empty otherwise.
    """

    group: str
    crowns: tuple[str, ...]
    left_out: Mapping[str, str]
    case: Case | None = None
    sizes: Mapping[int, FloatArray] = field(default_factory=dict)
    parts: Parts | None = None
    predicted: tuple[PredictedVerdict, ...] = ()
    reason: str = ""


@dataclass(frozen=True, eq=False)
class StudyCauses:
    """What the crowns of every group share.

    Attributes
    ----------
    groups : mapping of str to GroupCauses
        Per group with crowns, in the plan's order.
    common : tuple of CommonCause
        Each crown's sizes of the causes that some group has, in one model for all groups.
    repeatability_um : float
        The scanner's, from repeated scans, as root mean square over the surface; NaN if unknown.
    least_um : float
        Smallest root mean square of a cause's deviations that is stated.
    """

    groups: Mapping[str, GroupCauses]
    common: tuple[CommonCause, ...]
    repeatability_um: float
    least_um: float


def mean_of(values: FloatArray) -> FloatArray:
    """Mean over crowns of values (m, n), (n,): of those that are measured; NaN where none is."""
    there = np.isfinite(values)
    count = there.sum(axis=0)
    total = np.where(there, values, 0.0).sum(axis=0)
    mean: FloatArray = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return mean


def shared_case(
    fields: CauseFields,
    cells: FloatArray,
    mean_mm: FloatArray,
    facts: ProductionFacts,
    least_um: float,
    scan_edge_mm: float = np.nan,
) -> Case | None:
    """Find what crowns share; None where too few cells were measured.

    Parameters
    ----------
    fields : CauseFields
    cells : (m, c) float
        The crowns' mean deviations over the cells, mm; NaN where not measured.
    mean_mm : (n,) float
        Mean over the crowns of the deviations at the design's points, mm, facet sag corrected.
    facts : ProductionFacts
    least_um : float
    scan_edge_mm : float
        Mean edge of the scans' triangles.
    """
    found = find_in_cells(fields, mean_of(cells), facts, least_um, doubt_of(fields))
    if found is None:
        return None
    return Case(fields, named_by_crowns(found, cells), facts, mean_mm, scan_edge_mm)


def named_by_crowns(found: Found, cells: FloatArray) -> Found:
    """Name uniform growth where the crowns' outsides and insides grew alike.

    By BIC, outside and inside apart keep a weight of about 1/(1 + √c) over c cells however even
    the growth is, so that one surface hardly ever names it. The crowns can: the 95 % interval of
    outside less inside over them holds 0 and is shorter than the growth itself.

    Parameters
    ----------
    found : Found
        In the mean of the crowns.
    cells : (m, c) float
    """
    names = [member.cause for member in found.best.model.members]
    open_ones = [
        one
        for one in found.statements
        if not one.named and not one.instead and names[one.place] == "growth_uniform"
    ]
    if not open_ones:
        return found
    sides = [names.index("growth_outside"), names.index("growth_inside")]
    others = [place for place in found.explaining if place != open_ones[0].place]
    sizes = _fitted(found, [*others, *sides], cells)
    outside, inside = (sizes[place][:, 0] for place in sides)
    apart = outside - inside
    count = len(apart)
    half = float(stdtrit(count - 1, 0.975) * apart.std(ddof=1) / np.sqrt(count))
    size = abs(float((outside + inside).mean()) / 2.0)
    if abs(float(apart.mean())) > half or 2.0 * half > size:
        return found
    told = tuple(
        replace(one, named=True) if one is open_ones[0] else one for one in found.statements
    )
    return replace(found, statements=told)


def crowns_sizes(found: Found, cells: FloatArray) -> dict[int, FloatArray]:
    """Return each crown's sizes of all that is stated, by generalised least squares.

    Members that are told from other families are fitted together; of two families that look
    alike each member is fitted with those, without the other one.

    Parameters
    ----------
    found : Found
        In the mean of the crowns.
    cells : (m, c) float

    Returns
    -------
    mapping of int to (m, k) float
        By the member's place.
    """
    together = list(found.explaining)
    sizes = _fitted(found, together, cells)
    for one in found.statements:
        if one.instead:
            sizes[one.place] = _fitted(found, [*together, one.place], cells)[one.place]
    return sizes


def _fitted(found: Found, places: Sequence[int], cells: FloatArray) -> dict[int, FloatArray]:
    blocks = [found.best.model.blocks[place] for place in places]
    wanted = np.concatenate([np.arange(RIGID), *blocks])
    sizes = least_squares(found, over_all_cells(found, found.best.model.columns[:, wanted]), cells)
    ends = RIGID + np.cumsum([len(block) for block in blocks], dtype=np.int64)
    return {
        place: sizes[:, end - len(block) : end]
        for place, block, end in zip(places, blocks, ends, strict=True)
    }


def over_all_cells(found: Found, columns: FloatArray) -> FloatArray:
    """Return columns over the measured cells as columns over all, (c, k); NaN elsewhere."""
    whole = np.full((len(found.measured), columns.shape[1]), np.nan)
    whole[found.measured] = columns
    return whole


def least_squares(found: Found, columns: FloatArray, cells: FloatArray) -> FloatArray:
    """Fit columns to each crown's cells by generalised least squares, (m, k).

    b = (XᵀC⁻¹X)⁻¹ XᵀC⁻¹y over the cells that the crown and the columns have.

    Parameters
    ----------
    found : Found
        In the mean of the crowns; its best covariance counts.
    columns : (c, k) float
        NaN in cells that they say nothing of.
    cells : (m, c) float
    """
    factor = found.best.covariance.factor
    matrix = factor @ factor.T
    columns, cells = columns[found.measured], cells[:, found.measured]
    known = np.isfinite(columns).all(axis=1)
    sizes = np.empty((len(cells), columns.shape[1]))
    factors: dict[bytes, tuple[FloatArray, bool]] = {}
    for crown, values in enumerate(cells):
        used = known & np.isfinite(values)
        if used.tobytes() not in factors:
            factors[used.tobytes()] = cho_factor(matrix[np.ix_(used, used)], lower=True)
        weighed = cho_solve(factors[used.tobytes()], columns[used])
        sizes[crown] = np.linalg.solve(weighed.T @ columns[used], weighed.T @ values[used])
    return sizes


def parts_of_group(case: Case, cells: FloatArray) -> Parts:
    """Take a group's deviations over the cells apart: causes, what else is shared, the rest.

    Parameters
    ----------
    case : Case
        Of the mean crown.
    cells : (m, c) float
    """
    found, fields = case.found, case.fields
    used = found.measured
    weights = fields.cell_mm2[used]
    crowns = np.stack([_superimposed(row[used], found, weights) for row in cells])
    there = np.isfinite(crowns)
    count, mean = there.sum(axis=0), mean_of(crowns)
    squares = np.where(there, (crowns - mean) ** 2, 0.0).sum(axis=0)
    several = count > 1
    variance = np.where(several, squares / np.maximum(count - 1, 1), 0.0)
    made = _explained(mean, found, weights)
    total = np.average(np.where(there, crowns**2, 0.0).sum(axis=0) / count, weights=weights)
    chance = np.average(variance / count, weights=weights)
    square = np.average(mean**2, weights=weights)
    shared = np.average((mean - made) ** 2, weights=weights) - chance
    return Parts(
        total_um=UM * float(np.sqrt(total)),
        causes_um=UM * float(np.sqrt(np.average(made**2, weights=weights))),
        shared_um=UM * float(np.sqrt(max(shared, 0.0))),
        between_um=UM * float(np.sqrt(np.average(variance, weights=weights))),
        mean_share=float(square / total) if total > 0 else np.nan,
    )


def _explained(mean: FloatArray, found: Found, weights: FloatArray) -> FloatArray:
    """Return what the explaining causes can make of the superimposed mean crown, (c,), mm.

    By least squares over the area, as shares of the mean square are.
    """
    model = found.best.model
    blocks = [model.columns[:, model.blocks[place]] for place in found.explaining]
    if not blocks:
        return np.zeros(len(mean))
    both = np.column_stack([model.rigid, *blocks])
    root = np.sqrt(weights)
    sizes = np.linalg.lstsq(both * root[:, None], mean * root, rcond=None)[0]
    made: FloatArray = both @ sizes
    return made


def _superimposed(values: FloatArray, found: Found, weights: FloatArray) -> FloatArray:
    """Take the rigid motion off cells (c,) that makes their mean square least."""
    there = np.isfinite(values)
    root = np.sqrt(weights[there])
    rigid = found.best.model.rigid
    motion = np.linalg.lstsq(rigid[there] * root[:, None], values[there] * root, rcond=None)[0]
    left: FloatArray = values - rigid @ motion
    return left
