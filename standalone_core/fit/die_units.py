"""Whether a die that does not match a crown would match it in another unit."""

from __future__ import annotations

import math

from ..errors import MeshError, SuperimpositionError
from ..length_units import MM_PER_UNIT, UNIT_NAMES
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Steps, scaled
from ..surface.closest import SurfaceIndex
from .crown import FitCrown
from .seat.die_search import intaglio_of
from .seat.rough_pose import DOUBT_MM, rough_pose_steps

_LEAST_SIZE, _USUAL_SIZE, _MOST_SIZE = 0.7, 1.1, 2.5
"""Diagonal of a die's file by that of the intaglio on it: from a short preparation to a few teeth.
A factor that brings it there is tried, first the one that brings it to the usual."""
_LEAST_COVERED = 0.9


def refuse_other_unit_steps(
    crown: FitCrown, die: TriangleMesh, *, threads: int | None = None
) -> Steps[None]:
    """Raise the error of a mixed unit if the die fits the crown in another one.

    Parameters
    ----------
    crown : FitCrown
    die : TriangleMesh
        That does not match as it is.
    threads : int, optional
        For the index.

    Raises
    ------
    MeshError
        In the unit that it names the die matches.
    """
    ratio = die.diagonal_mm / intaglio_of(crown).diagonal_mm
    tried = [
        (unit, factor)
        for unit, by in MM_PER_UNIT.items()
        for factor in (by, 1.0 / by)
        if by != 1.0 and _LEAST_SIZE <= ratio * factor <= _MOST_SIZE
    ]
    tried.sort(key=lambda each: abs(math.log(ratio * each[1] / _USUAL_SIZE)))
    for number, (unit, factor) in enumerate(tried):
        scaled_die = TriangleMesh(die.vertices * factor, die.faces, die.name)
        index = SurfaceIndex(scaled_die, threads=threads)
        ends = number / len(tried), (number + 1) / len(tried)
        try:
            pose = yield from scaled(rough_pose_steps(crown, index), *ends)
        except SuperimpositionError:
            continue
        if pose.typical_um < 1000.0 * DOUBT_MM and pose.covered_share > _LEAST_COVERED:
            raise _mixed(crown, die, unit, factor)


def _mixed(crown: FitCrown, die: TriangleMesh, unit: str, factor: float) -> MeshError:
    times, size = (factor, "larger") if factor > 1.0 else (1.0 / factor, "smaller")
    long, short = (unit, "mm") if MM_PER_UNIT[unit] > 1.0 else ("mm", unit)
    return MeshError(
        f"The units of crown and die are mixed: made {times:.5g} times {size}, the die fits "
        f"{crown.evaluation.design.name}, as if {UNIT_NAMES[long]} had been taken for "
        f"{UNIT_NAMES[short]} or the reverse.",
        subject=die.name,
        remedy="Give the unit that each file is in, or export both in millimetres.",
        arguments=("crown_unit", "die_unit"),
    )
