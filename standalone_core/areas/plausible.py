"""Whether a cavity can be a crown's intaglio: its size, place and depth, and the wall around it.

Teeth have cavities too (a root canal, an access cavity, the hollow between roots), and so has
many a part that is no crown. None of the limits has a source; they are ours, far from what crowns
by formula, real caps of enamel and teeth by formula come to.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import ConvexHull, QhullError, cKDTree

from ..arrays import BoolArray, FloatArray
from ..mesh.refine import EvaluationMesh

LEAST_OPENING = 0.33
"""Width of a crown's opening by the crown's own, at least; implant crowns go down to 0.4."""
MOST_DEPTH = 3.5
"""Depth of a cavity by its opening's width, at most; with a screw channel crowns reach 2.8."""
MOST_BEYOND = 1.0
"""Material beyond the cavity's end by the crown's width, at most; crowns reach 0.6."""
MOST_LENGTH = 2.0
SLENDER_OPENING = 0.6
"""What is longer than ``MOST_LENGTH`` widths must open at least this wide, by its own width."""
LEAST_CLOSED = 0.25
ARCHED_BEYOND = 0.33
"""Depth at the rim's highest place by that at its lowest, at least, where more material is beyond
the cavity's end than this, by the crown's width: between roots the rim rises up to the end, as it
does on a partial crown, whose end is near."""
MOST_BELOW = 0.15
"""Share of the outside that may lie below the rim: the opening is at the end of a crown."""
BELOW_MM = 1.0
"""Only what lies farther below the rim than this counts as below it, mm."""
MOST_WALL_MM = 4.0
MOST_THICKNESS_MM = 8.0
"""Distance from the cavity to the outside: median and largest."""

_POINTS = 8_000  # outside: of a crown one every 0.2 mm
_WALL_POINTS = 1_500  # from which the wall is measured
_AT_RIM_MM = 1.0  # nearer to the rim the wall runs out


@dataclass(frozen=True, eq=False)
class Cavity:
    """A cavity's numbers, mm, along and across the path of insertion.

    Attributes
    ----------
    opening_mm, width_mm : float
        Across the path: diameters of the circles that have the area inside the rim, and that of
        the part's outline (both made convex).
    length_mm : float
        Of the part, along the path.
    depth_mm : float
        From the rim, at its middle height, to the cavity's deepest place.
    beyond_mm : float
        From there to the end of the part.
    closed : float
        Depth of the cavity at its rim's highest place by that at its lowest.
    below_share : float
        Share of the outside's area more than :data:`BELOW_MM` below the rim beside it, 0 to 1.
    wall_mm, thickness_mm : float
        Distance from the cavity, but for its rim, to the outside: median and largest.
    """

    opening_mm: float
    width_mm: float
    length_mm: float
    depth_mm: float
    beyond_mm: float
    closed: float
    below_share: float
    wall_mm: float
    thickness_mm: float

    @cached_property
    def doubt(self) -> str:
        """Why no crown has such a cavity, as a sentence; empty if one may."""
        opening = self.opening_mm / self.width_mm
        if self.below_share > MOST_BELOW:
            why = (
                f"{100 * self.below_share:.0f} % of the outside lie below its rim, and a crown's "
                "opening is at its end"
            )
        elif opening < LEAST_OPENING:
            why = "no crown opens so narrowly"
        elif self.depth_mm > MOST_DEPTH * self.opening_mm:
            why = "no crown has one so deep for its width"
        elif self.beyond_mm > MOST_BEYOND * self.width_mm:
            why = f"no crown goes on for {self.beyond_mm:.1f} mm beyond the end of its cavity"
        elif self.closed < LEAST_CLOSED and self.beyond_mm > ARCHED_BEYOND * self.width_mm:
            why = "it is open at its sides up to its end, as between the roots of a tooth"
        elif self.length_mm > MOST_LENGTH * self.width_mm and opening < SLENDER_OPENING:
            why = "no crown is so long and opens so narrowly"
        elif self.wall_mm > MOST_WALL_MM or self.thickness_mm > MOST_THICKNESS_MM:
            why = (
                f"its walls are {self.wall_mm:.1f} mm thick (median) and up to "
                f"{self.thickness_mm:.1f} mm, which no crown's are"
            )
        else:
            return ""
        return (
            f"The widest cavity is {self.opening_mm:.1f} mm wide and {self.depth_mm:.1f} mm deep, "
            f"in a part {self.width_mm:.1f} mm across and {self.length_mm:.1f} mm long: {why}."
        )


def cavity_of(
    evaluation: EvaluationMesh,
    external: BoolArray,
    intaglio: BoolArray,
    rim_mm: FloatArray,
    axis: FloatArray,
) -> Cavity:
    """Measure a cavity.

    Parameters
    ----------
    evaluation : EvaluationMesh
    external, intaglio : (n',) bool
        Evaluation points outside and in the cavity.
    rim_mm : (k, 3) float
        The line between them, in order, mm.
    axis : (3,) float
        Path of insertion, into the cavity.

    Returns
    -------
    Cavity
    """
    frame = np.linalg.svd(axis[None])[2]  # two directions across the axis in rows 1 and 2
    frame[0] = axis
    some = np.flatnonzero(external)
    some = some[:: 1 + len(some) // _POINTS]
    outside, inside = evaluation.points[some], evaluation.points[intaglio]
    height, *across = frame @ outside.T
    rim_height, *rim_across = frame @ rim_mm.T
    inner_height = inside @ axis
    top, bottom = max(height.max(), inner_height.max()), min(height.min(), rim_height.min())
    wall, thickness = _walls(outside, inside, rim_mm)
    below = _below(np.array(across), height, np.array(rim_across), rim_height)
    weights, end = evaluation.weights_mm2[some], float(inner_height.max())
    return Cavity(
        opening_mm=_width(np.array(rim_across)),
        width_mm=_width(np.concatenate([across, rim_across], axis=1)),
        length_mm=float(top - bottom),
        depth_mm=end - float(np.median(rim_height)),
        beyond_mm=float(top) - end,
        closed=float((end - rim_height.max()) / max(end - rim_height.min(), 1e-9)),
        below_share=float(weights[below].sum() / weights.sum()),
        wall_mm=wall,
        thickness_mm=thickness,
    )


def _width(across: FloatArray) -> float:
    """Diameter of the circle with the area of the points' (2, k) convex hull; 0 for a line."""
    try:
        return 2.0 * float(np.sqrt(ConvexHull(across.T).volume / np.pi))
    except QhullError:
        return 0.0


def _below(
    across: FloatArray, height: FloatArray, rim_across: FloatArray, rim_height: FloatArray
) -> BoolArray:
    """Which points lie below the rim, each beside the place of the rim at the same angle."""
    middle = rim_across.mean(axis=1, keepdims=True)
    angle, rim_angle = (np.arctan2(*(part - middle)) for part in (across, rim_across))
    order = np.argsort(rim_angle)
    rim_there = np.interp(angle, rim_angle[order], rim_height[order], period=2.0 * np.pi)
    below: BoolArray = height < rim_there - BELOW_MM
    return below


def _walls(outside: FloatArray, inside: FloatArray, rim_mm: FloatArray) -> tuple[float, float]:
    """Median and largest distance from the cavity to the outside, away from the rim, mm."""
    inside = inside[:: 1 + len(inside) // _WALL_POINTS]
    from_rim = np.asarray(cKDTree(rim_mm).query(inside)[0])
    inside = inside[from_rim > min(_AT_RIM_MM, 0.5 * float(from_rim.max()))]
    wall = np.asarray(cKDTree(outside).query(inside)[0])
    return float(np.median(wall)), float(wall.max())
