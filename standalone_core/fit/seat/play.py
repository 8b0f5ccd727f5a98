"""How far a seated crown moves: across under a small sideways load, and rocking.

Without friction an axial load may leave the sideways place open, as on a flat roof alone. The
drop is then unique and the place is not: by convention the crown is put into the middle of its
play.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...arrays import FloatArray
from ...deviation.margin_directions import directions_of
from ...progress import Steps, scaled
from .load import Load
from .motion import lifted, placed, undone
from .pair import Pair
from .result import Play
from .seating import Rest, rest_steps

PLACES = 4
_PARTS = 2 * PLACES + 1
SIDEWAYS = 1 / 20
"""Sideways load by axial load."""

ROCKING_MM = 2.0
"""How far out the load is moved for rocking."""

_FIRST_RADIUS_MM = 0.005
_DONE_MM = 2e-5
"""Moves are told in µm: a step of a fiftieth is none."""

_ROUNDS = 8
_SAME_HEIGHT_MM = 1e-4


@dataclass(frozen=True, eq=False)
class Played:
    """The seat in the middle of its play, and the play.

    Attributes
    ----------
    rest : Rest
    play : tuple of Play
        Empty without rocking.
    """

    rest: Rest
    play: tuple[Play, ...]


def played_steps(pair: Pair, rest: Rest, with_rocking: bool = True) -> Steps[Played]:
    """Measure play and rocking of a crown at rest in four directions, and centre it.

    Parameters
    ----------
    pair : Pair
    rest : Rest
        Under the axial load.
    with_rocking : bool
        Whether to measure rocking; without it the crown is only centred.
    """
    outward = _outward(pair, rest.pose)
    across = np.zeros(PLACES)
    middle = pair.crown.margin_line.points_mm.mean(axis=0)
    for k, direction in enumerate(outward):
        pushed = rest.load.direction + SIDEWAYS * direction
        load = Load(rest.load.place_mm, pushed / np.linalg.norm(pushed))
        moved = yield from scaled(_again(pair, rest, load), k / _PARTS, (k + 1) / _PARTS)
        across[k] = direction @ (placed(moved.pose, middle) - placed(rest.pose, middle))
    # Half the sum over all directions d of d (d·s) is 2 s: opposite places give their middle.
    shift = across @ outward / (PLACES / 2)
    centred = yield from scaled(
        _centred_steps(pair, rest, shift), PLACES / _PARTS, (PLACES + 1) / _PARTS
    )
    if not with_rocking:
        return Played(centred, ())
    if centred is not rest:
        across = across - outward @ (placed(centred.pose, middle) - placed(rest.pose, middle))
    rocking = []
    for k, direction in enumerate(outward):
        part = _rocking_steps(pair, centred, direction)
        rocking.append(
            (yield from scaled(part, (PLACES + 1 + k) / _PARTS, (PLACES + 2 + k) / _PARTS))
        )
    return Played(centred, _rows(pair, across, rocking))


def _outward(pair: Pair, pose: FloatArray) -> FloatArray:
    """Four directions across the die's path of insertion, (4, 3), from mesial on."""
    directions = directions_of(pair.crown.area_set)
    axis = pair.die.axis
    zero = pose[:3, :3] @ directions.zero
    zero = zero - (zero @ axis) * axis
    zero /= np.linalg.norm(zero)
    angle = 2 * np.pi * np.arange(PLACES) / PLACES
    outward: FloatArray = np.outer(np.cos(angle), zero) + np.outer(
        np.sin(angle), np.cross(axis, zero)
    )
    return outward


def _again(pair: Pair, rest: Rest, load: Load) -> Steps[Rest]:
    moved = yield from rest_steps(
        pair,
        rest.pose,
        load,
        working=rest.working,
        radius_mm=_FIRST_RADIUS_MM,
        rounds=_ROUNDS,
        done_mm=_DONE_MM,
        likely=True,
    )
    return moved


def _centred_steps(pair: Pair, rest: Rest, shift: FloatArray) -> Steps[Rest]:
    """The rest in the middle of the play, if the crown stays there under the axial load."""
    length = float(np.linalg.norm(shift))
    if length < _SAME_HEIGHT_MM:
        return rest
    there = lifted(rest.pose, 1.0, shift)
    # As sharp as the seat, which it replaces.
    moved = yield from rest_steps(
        pair, there, rest.load, working=rest.working, radius_mm=_FIRST_RADIUS_MM, rounds=_ROUNDS
    )
    height = [
        float(rest.load.direction @ placed(r.pose, rest.load.place_mm)) for r in (rest, moved)
    ]
    if abs(height[0] - height[1]) > _SAME_HEIGHT_MM:
        return rest
    return replace(moved, steps=rest.steps + moved.steps)


def _rocking_steps(pair: Pair, rest: Rest, direction: FloatArray) -> Steps[tuple[float, float]]:
    """Largest rise and drop of the margin line with the load moved outward, µm."""
    aside = ROCKING_MM * (undone(rest.pose)[:3, :3] @ direction)
    moved = yield from _again(pair, rest, Load(rest.load.place_mm + aside, rest.load.direction))
    line = pair.crown.margin_line.points_mm
    rise = 1e3 * (placed(moved.pose, line) - placed(rest.pose, line)) @ pair.die.axis
    return max(0.0, float(rise.max())), max(0.0, -float(rise.min()))


def _rows(
    pair: Pair, across_mm: FloatArray, rocking: Sequence[tuple[float, float]]
) -> tuple[Play, ...]:
    directions = directions_of(pair.crown.area_set)
    return tuple(
        Play(
            towards=directions.words(360.0 * k / PLACES),
            angle_deg=360.0 * k / PLACES,
            across_um=1e3 * float(across_mm[k]),
            rise_um=rocking[k][0],
            drop_um=rocking[k][1],
        )
        for k in range(PLACES)
    )


def held_sideways_um(pair: Pair, pose: FloatArray) -> float:
    """How far a seated crown must be lifted until its edge clears the die, µm.

    From the lowest place of the crown's edge to the highest of the die inside it, along the die's
    path of insertion: above that the crown can be moved off sideways in any direction.
    """
    axis = pair.die.axis
    edge = placed(pose, pair.crown.margin_line.points_mm)
    middle = edge.mean(axis=0)
    die = pair.die.mesh.vertices[pair.die.mesh.used_vertices]
    inside = _from_axis(die - middle, axis) < _from_axis(edge - middle, axis).min()
    if not inside.any():
        return 0.0
    return 1e3 * max(0.0, float((die[inside] @ axis).max() - (edge @ axis).min()))


def _from_axis(arms: FloatArray, axis: FloatArray) -> FloatArray:
    across: FloatArray = np.linalg.norm(arms - np.outer(arms @ axis, axis), axis=1)
    return across
