"""Crowns of several groups sized by one model, so that their causes can be compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...arrays import FloatArray
from ...causes.case import Case
from ...causes.found import LOCAL_FAMILIES
from ...causes.model import EXCLUDED, RIGID, Member
from ...causes.result import Family
from ...causes.rule import rms_um
from ...causes.strain import parts_of
from .shared_causes import GroupCauses, least_squares, over_all_cells

OVAL = 4.0
"""r = r₀ + A cos 2θ: the long diameter exceeds the short one by 4 A."""


@dataclass(frozen=True, eq=False)
class CommonCause:
    """Each crown's size of one cause, in a model of all that the groups have.

    Attributes
    ----------
    cause, family, unit : str
    values : mapping of str to (m,) float
        Per group, one size per crown, in ``unit``.
    crowns : mapping of str to tuple of str
        Their names.
    """

    cause: str
    family: Family
    unit: str
    values: Mapping[str, FloatArray]
    crowns: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, eq=False)
class _Part:
    """A member of the common model: its columns in each group, and how its sizes are read."""

    member: Member
    columns: Mapping[str, FloatArray]
    weights: FloatArray


def common_sizes(
    groups: Sequence[GroupCauses], cells: Mapping[str, FloatArray]
) -> tuple[CommonCause, ...]:
    """Size every crown by the causes that any group has, all in one model.

    Scale along the build direction counts along each group's own one. Where the groups' causes
    do not go together, the wider one stands for those that it holds. Families that look like
    another one are left out.

    Parameters
    ----------
    groups : sequence of GroupCauses
        Those with a case.
    cells : mapping of str to (m, c) float
        Their crowns' cells.
    """
    if len(groups) < 2:
        return ()
    parts = _parts(groups)
    if not parts:
        return ()
    values = {group.group: _values(group, parts, cells[group.group]) for group in groups}
    crowns = {group.group: group.crowns for group in groups}
    return tuple(
        CommonCause(
            cause=part.member.cause,
            family=part.member.family,
            unit="‰" if part.member.family == "scale" else "µm",
            values={name: sizes[:, place] for name, sizes in values.items()},
            crowns=crowns,
        )
        for place, part in enumerate(parts)
    )


def _values(group: GroupCauses, parts: Sequence[_Part], cells: FloatArray) -> FloatArray:
    """Return one size per crown and part, (m, p)."""
    assert group.case is not None
    found = group.case.found
    rigid = over_all_cells(found, found.best.model.rigid)
    blocks = [part.columns[group.group] for part in parts]
    sizes = least_squares(found, np.column_stack([rigid, *blocks]), cells)
    ends = RIGID + np.cumsum([block.shape[1] for block in blocks])
    rows = [
        sizes[:, end - block.shape[1] : end] @ part.weights
        for part, block, end in zip(parts, blocks, ends, strict=True)
    ]
    return np.column_stack(rows)


def _parts(groups: Sequence[GroupCauses]) -> list[_Part]:
    """Return the members of the common model."""
    cases = {group.group: group.case for group in groups if group.case is not None}
    stated = {
        case.found.member(place).cause for case in cases.values() for place in case.found.explaining
    }
    parts = []
    for cause in _admissible(stated):
        found = [_part(cause, name, case, cases) for name, case in cases.items()]
        # A shape that was searched comes from the group in which the cause is largest.
        known = [one for one in found if one is not None]
        if known:
            parts.append(max(known, key=lambda one: one[0])[1])
    return parts


def _admissible(stated: set[str]) -> list[str]:
    """Return causes that may go together and hold all that are stated, in order."""
    kept = set(stated)
    for one, other in EXCLUDED:
        if one in kept and other in kept:
            if one == "growth_uniform":
                kept = kept - {one} | {"growth_outside", "growth_inside"}
            else:
                kept.discard(other)
    return sorted(kept)


def _part(
    cause: str, group: str, case: Case, cases: Mapping[str, Case]
) -> tuple[float, _Part] | None:
    """Return one cause as a group's model has it, and how large it is there."""
    place = _place(cause, case)
    if place is None:
        return None
    found, member = case.found, case.found.member(place)
    columns = {name: _columns(member, case, other) for name, other in cases.items()}
    if place not in found.explaining:
        return 0.0, _Part(member, columns, np.ones(len(member.columns[0])))
    large = rms_um(found.best.model, found.gram, place, case.sizes(place))
    return large, _Part(member, columns, _weights(case, place))


def _place(cause: str, case: Case) -> int | None:
    names = [member.cause for member in case.found.best.model.members]
    return names.index(cause) if cause in names else None


def _columns(member: Member, case: Case, other: Case) -> FloatArray:
    """Return a member's columns over all cells for another group: along its own build axis."""
    own = _place(member.cause, other)
    if member.cause == "scale_along_build" and own is not None:
        return over_all_cells(other.found, other.found.member(own).columns)
    return over_all_cells(case.found, member.columns)


def _weights(case: Case, place: int) -> FloatArray:
    """Return what makes one number of a member's sizes (k,), in ‰ or µm."""
    member = case.found.member(place)
    if member.cause == "scale_per_direction":
        return parts_of(np.eye(3)) / 3.0
    if member.family in LOCAL_FAMILIES:
        return np.array([1e3 * float(case.column(place).max()) * point_ratio(case, place)])
    if member.columns.shape[1] == 1:
        return np.ones(1)
    size = case.sizes(place)
    factor = OVAL if member.cause == "oval_margin" else 1.0
    return factor * size / max(float(np.linalg.norm(size)), np.finfo(float).tiny)


def point_ratio(case: Case, place: int) -> float:
    """Return how much larger a local cause is at its deepest places than in cells: of the mean."""
    in_cells = float(case.sizes(place)[0])
    return case.local[place].top_share / in_cells if in_cells else 1.0
