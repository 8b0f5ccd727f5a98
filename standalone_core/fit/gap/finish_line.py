"""The finish line of a die: given by points or carried over from a design, and laid on the die."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from ...areas.area_set import MarginLine, Origin
from ...areas.margin_line import loop_area_mm2, loop_length_mm
from ...arrays import FloatArray, IntArray, ragged
from ...errors import AreaError
from ...mesh.repair import repair_mesh
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown

MOST_OFF_MM = 0.2
"""A finish line farther than this from the die is not on it; ours, no source."""

CARRIED = "The finish line was carried over from the design's margin line."

_LEAST_POINTS = 8
_STEP_MM = 0.1  # between places that are laid on the die
_SAME_MM = 1e-6  # nearer to each other, two points are one
_LEG_MM = 0.1  # shorter legs may turn anyhow: drawn lines tremble
_COS_BACK = -0.7071  # a turn by more than 135°
_LEAST_ROUND = 0.2  # of the disc of the same circumference; ours: a crown's is above 0.5


@dataclass(frozen=True, eq=False)
class FinishLine:
    """A finish line that lies on its die.

    Attributes
    ----------
    line : MarginLine
        Closed; its points lie on the die, at most 0.1 mm apart.
    off_um : float
        How far off the die what was given lay at most.
    note : str
        Where it comes from, as a sentence; empty for one that was given.
    """

    line: MarginLine
    off_um: float
    note: str = ""


def finish_line_from_points(
    points: ArrayLike,
    die_index: SurfaceIndex,
    origin: Origin = "user",
    *,
    subject: str | Path = "finish line",
) -> FinishLine:
    """Lay a finish line that was given by points on its die.

    Parameters
    ----------
    points : (k, 3) array_like
        In order around the tooth, mm, in the die's frame; the first may be repeated at the end.
        Between two of them the line is straight, until it is laid on the die.
    die_index : SurfaceIndex
    origin : "automatic", "file" or "user"
    subject : str or pathlib.Path
        What errors are about.

    Raises
    ------
    AreaError
        These are no points, or too few; they lie off the die, or the way between two does, as
        where points are out of order or the line is not closed; it doubles back, or does not go
        around anything.

    Notes
    -----
    Each place goes to the closest point of the die, exactly.
    """
    given = _checked(points, subject)
    _refuse_points_off(die_index.closest(given).distance_mm, subject)
    places, leg = _divided(given)
    found = die_index.closest(places)
    _refuse_legs_off(given, leg, found.distance_mm, subject)
    _refuse_disorder(given, subject)
    line = MarginLine(_without_repeats(found.foot), closed=True, origin=origin)
    return FinishLine(line, 1e3 * float(found.distance_mm.max()))


def finish_line_on_steps(
    points: ArrayLike,
    die: TriangleMesh,
    origin: Origin = "user",
    *,
    subject: str | Path = "finish line",
) -> Steps[FinishLine]:
    """Lay a finish line on a die as :func:`finish_line_from_points` does, step by step.

    Parameters
    ----------
    points : (k, 3) array_like
    die : TriangleMesh
        Repaired on a copy first.
    origin : "automatic", "file" or "user"
    subject : str or pathlib.Path
    """
    yield Progress("Looking for faults of the die", 0.0)
    mended = repair_mesh(die)
    yield Progress("Laying the finish line on the die", 0.5)
    return finish_line_from_points(points, SurfaceIndex(mended.mesh), origin, subject=subject)


def carried_finish_line(design_crown: FitCrown, die_index: SurfaceIndex) -> FinishLine:
    """Carry a design's margin line over to the die that it was made on.

    Parameters
    ----------
    design_crown : FitCrown
        In the die's frame.
    die_index : SurfaceIndex

    Raises
    ------
    AreaError
        The design's margin line is open, or does not lie on the die.
    """
    line, name = design_crown.margin_line, design_crown.evaluation.design.name
    if not line.closed:
        raise AreaError(
            "The design's margin line is open, so it gives no finish line.",
            subject=name,
            remedy="Give the die's finish line.",
            arguments=("finish_line",),
        )
    laid = finish_line_from_points(
        line.points_mm, die_index, "automatic", subject=f"margin line of {name}"
    )
    return FinishLine(laid.line, laid.off_um, CARRIED)


def _checked(points: ArrayLike, subject: str | Path) -> FloatArray:
    """The points as an array, none of them twice in a row."""
    try:
        given = np.array(points, dtype=np.float64)
    except (TypeError, ValueError):
        given = np.empty((0, 0))
    if given.ndim != 2 or given.shape[1] != 3 or not np.isfinite(given).all():
        raise AreaError(
            "The finish line is not a list of points of three finite numbers.",
            subject=subject,
            remedy="Give x, y and z in mm for each point.",
        )
    given = _without_repeats(given)
    if len(given) < _LEAST_POINTS:
        raise AreaError(
            f"{len(given)} different points are too few for a finish line.",
            subject=subject,
            remedy=f"Give at least {_LEAST_POINTS}; one every half millimetre follows it well.",
        )
    return given


def _without_repeats(points: FloatArray) -> FloatArray:
    """Points without those that the next one repeats; the last is followed by the first."""
    apart = np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1)
    kept: FloatArray = points[apart > _SAME_MM]
    return kept


def _divided(points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Places along a closed line, its own points among them, and the leg of each."""
    ways = np.roll(points, -1, axis=0) - points
    parts = np.maximum(np.ceil(np.linalg.norm(ways, axis=1) / _STEP_MM), 1).astype(np.int64)
    leg, number = ragged(parts)
    return points[leg] + (number / parts[leg])[:, None] * ways[leg], leg


def _refuse_points_off(off_mm: FloatArray, subject: str | Path) -> None:
    off = off_mm > MOST_OFF_MM
    if off.any():
        raise AreaError(
            f"It does not lie on the die: {int(off.sum())} of its {len(off)} points are more than "
            f"{MOST_OFF_MM:g} mm off, the farthest {off_mm.max():.2f} mm.",
            subject=subject,
            remedy="Give the finish line in the die's own frame and in mm.",
        )


def _refuse_legs_off(
    given: FloatArray, leg: IntArray, off_mm: FloatArray, subject: str | Path
) -> None:
    worst = int(np.argmax(off_mm))
    if off_mm[worst] <= MOST_OFF_MM:
        return
    first = int(leg[worst])
    second = (first + 1) % len(given)
    apart = float(np.linalg.norm(given[second] - given[first]))
    how_far = f"{off_mm[worst]:.2f} mm off the die, more than {MOST_OFF_MM:g} mm"
    if second == 0:
        raise AreaError(
            f"It is not closed: from its last point to its first, {apart:.2f} mm away, the "
            f"straight way runs {how_far}.",
            subject=subject,
            remedy="Go on with it all the way around the tooth.",
        )
    raise AreaError(
        f"Between its points {first + 1} and {second + 1}, {apart:.2f} mm apart, the straight way "
        f"runs {how_far}.",
        subject=subject,
        remedy="Give the points in order around the tooth, and closer to each other.",
    )


def _refuse_disorder(given: FloatArray, subject: str | Path) -> None:
    """Refuse lines that turn back at a point, or that enclose next to nothing."""
    ways = given - np.roll(given, 1, axis=0)
    length = np.linalg.norm(ways, axis=1)
    after = np.roll(length, -1)
    turn = np.einsum("ij,ij->i", ways, np.roll(ways, -1, axis=0)) / (length * after)
    back = np.flatnonzero((turn < _COS_BACK) & (np.minimum(length, after) > _LEG_MM))
    if len(back):
        raise AreaError(
            f"It doubles back at {_points_words(back)}.",
            subject=subject,
            remedy="Give the points in order around the tooth, each of them once.",
        )
    round_mm2 = loop_length_mm(given) ** 2 / (4.0 * np.pi)
    if loop_area_mm2(given) < _LEAST_ROUND * round_mm2:
        raise AreaError(
            f"It does not go around the tooth: it is {loop_length_mm(given):.1f} mm long and "
            f"encloses {loop_area_mm2(given):.1f} mm² only.",
            subject=subject,
            remedy="Give the points in order, once around the tooth.",
        )


def _points_words(rows: IntArray) -> str:
    """Name the first few points by their numbers."""
    shown: Sequence[int] = (rows[:3] + 1).tolist()
    more = f" and {len(rows) - 3} others" if len(rows) > 3 else ""
    return f"point{'s' if len(rows) > 1 else ''} {', '.join(map(str, shown))}{more}"
