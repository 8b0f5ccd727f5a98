"""Rows of causes: which, how sure, how large, what to change; each with its sentence."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray
from .case import Case
from .result import Cause, Correction
from .rings import ORDERS, ring_direction
from .scale_causes import excess_along, strain_across
from .sizes import NORMAL_95, Sized
from .told import growth_told, local_told, margin_told, scale_told, tensor_told, unnamed_told
from .words import CHANGES

_OVAL = 4.0
"""r = r₀ + A cos 2θ: the long diameter exceeds the short one by 4 A."""


def rows_of(case: Case, corrections: tuple[Correction, ...]) -> tuple[Cause, ...]:
    """Return the stated causes of a crown, the largest first.

    Parameters
    ----------
    case : Case
    corrections : tuple of Correction
        Told along with scale.
    """
    rows: list[Cause] = []
    for one in case.found.sized:
        if not one.statement.named or one.statement.instead:
            rows.append(_unnamed_row(case, one))
        elif one.statement.family == "scale":
            continue
        elif one.statement.family == "growth":
            rows.append(_growth_row(case, one))
        elif one.statement.family == "margin":
            rows.append(_margin_row(case, one))
        else:
            rows.append(_local_row(case, one))
    rows += _scale_rows(case, corrections)
    return tuple(sorted(rows, key=lambda row: -row.rms_um))


def _row(
    one: Sized,
    case: Case,
    size: tuple[float, float, float],
    unit: str,
    sentence: str,
    direction: FloatArray | None = None,
    cause: str | None = None,
) -> Cause:
    statement = one.statement
    named = cause if cause is not None else case.found.member(statement.place).cause
    estimate, low, high = size
    x_y_z = None if direction is None else tuple(float(part) for part in direction)
    return Cause(
        cause=named,
        family=statement.family,
        stated=True,
        probability=statement.probability,
        estimate=estimate,
        unit=unit,
        low=low,
        high=high,
        rms_um=case.rms_um.get(statement.place, one.rms_um),
        share_alone=one.share_alone,
        direction=x_y_z,  # type: ignore[arg-type]  # three numbers
        sentence=sentence,
        instead=statement.instead,
        change="" if statement.instead else CHANGES[statement.family],
    )


def _scale_rows(case: Case, corrections: tuple[Correction, ...]) -> list[Cause]:
    """Return the rows of a strain that is told from growth: one number per kind of scale."""
    found = [one for one in case.found.sized if one.statement.place in case.scale_places]
    strain, main = case.strain, case.main
    if strain is None or not found:
        return []
    told = corrections
    if main is not None and not main.uniaxial:
        one = found[0]
        size = _normal(float(main.permille[0]), float(main.sd_permille[0]))
        sentence = tensor_told(case, main, told)
        return [_row(one, case, size, "‰", sentence, main.directions[0])]
    rows = []
    axis = case.build_axis
    causes = {case.found.member(one.statement.place).cause: one for one in found}
    if axis is not None and set(causes) != {"scale"}:
        one = causes.get("scale_along_build") or found[0]
        size = _normal(*excess_along(strain, axis))
        sentence = scale_told(case, "scale_along_build", size, axis, told)
        rows.append(_row(one, case, size, "‰", sentence, axis, "scale_along_build"))
        across = _normal(*strain_across(strain, axis))
        if "scale" in causes or (main is not None and across[1] * across[2] > 0.0):
            sentence = scale_told(case, "scale", across, None, ())
            rows.append(_row(causes.get("scale", one), case, across, "‰", sentence, None, "scale"))
        return rows
    size = _normal(*strain.along_any())
    sentence = scale_told(case, "scale", size, None, told)
    return [_row(found[0], case, size, "‰", sentence, None, "scale")]


def _growth_row(case: Case, one: Sized) -> Cause:
    size = one.along(np.ones(1))
    cause = case.found.member(one.statement.place).cause
    return _row(one, case, size, "µm", growth_told(cause, size))


def _margin_row(case: Case, one: Sized) -> Cause:
    cause = case.found.member(one.statement.place).cause
    order = ORDERS[cause]
    if not order:
        size = one.along(np.ones(1))
        return _row(one, case, size, "µm", margin_told(case, cause, size, None))
    length = float(np.linalg.norm(one.sizes))
    factor = _OVAL if order == 2 else 1.0
    middle, low, high = one.along(one.sizes / length)
    size = factor * middle, factor * low, factor * high
    axis = case.fields.area_set.insertion
    assert axis is not None  # without it there are no rings
    cosine, sine = one.sizes.tolist()
    direction = ring_direction(order, cosine, sine, axis)
    return _row(one, case, size, "µm", margin_told(case, cause, size, direction), direction)


def _local_row(case: Case, one: Sized) -> Cause:
    place = one.statement.place
    size = case.local[place].deepest_um()
    sentence = local_told(case, place, size)
    return _row(one, case, size, "µm", sentence)


def _unnamed_row(case: Case, one: Sized) -> Cause:
    """Return the row of a family whose member, or that itself, cannot be told from another."""
    family = one.statement.family
    if family == "scale" and len(one.sizes) == 6:
        direction = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0]) / 3.0
    elif len(one.sizes) == 1:
        direction = np.ones(1)
    else:
        direction = one.sizes / np.linalg.norm(one.sizes)
    middle, low, high = one.along(direction)
    factor = 1.0
    if case.is_local(one.statement.place):
        factor = 1e3 * float(case.column(one.statement.place).max())
    size = factor * middle, factor * low, factor * high
    unit = "‰" if family == "scale" else "µm"
    return _row(one, case, size, unit, unnamed_told(case, one, size), None, "")


def _normal(estimate: float, sd: float) -> tuple[float, float, float]:
    return estimate, estimate - NORMAL_95 * sd, estimate + NORMAL_95 * sd
