"""The seated crown in the die's frame, and the directions around it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import FloatArray
from ...deviation.margin_directions import ZERO_WORDS, Directions, directions_about
from ...mesh.triangle_mesh import TriangleMesh

if TYPE_CHECKING:
    from ...fit.crown import FitCrown
    from ...fit.result import FitResult


@dataclass(frozen=True, eq=False)
class SeatedFrame:
    """Where things lie, in the die's frame.

    Attributes
    ----------
    crown : TriangleMesh
        The crown's evaluation mesh where it was measured; as in its file, and with it all else
        here, if it was not seated.
    middle : (3,) float
        Of the crown's margin line, or of the crown if it has none.
    axis : (3,) float
        Path of insertion.
    directions : Directions
    margin_line_mm : (k, 3) float or None
        The crown's edge.
    """

    crown: TriangleMesh
    middle: FloatArray
    axis: FloatArray
    directions: Directions
    margin_line_mm: FloatArray | None

    def across(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) across the path of insertion, (n, 2), from the middle."""
        axes = np.stack([self.directions.zero, self.directions.quarter], axis=1)
        across: FloatArray = (points - self.middle) @ axes
        return across


def seated_frame(result: FitResult) -> SeatedFrame:
    """Lay the crown of a fit where it was measured; where it was not seated, leave it."""
    motion = result.T_die_crown
    if result.die is None or motion is None:
        return own_frame(result.crown)
    line = result.crown.area_set.margin_line
    edge = None if line is None else line.points_mm @ motion[:3, :3].T + motion[:3, 3]
    margin, axis = result.margin, result.die.axis
    directions = (
        directions_about(axis, result.settings.areas) if margin is None else margin.directions
    )
    return _frame(result.crown.evaluation.mesh.moved(motion), axis, directions, edge)


def own_frame(crown: FitCrown) -> SeatedFrame:
    """Leave a crown where it lies; occlusal is along z if its path of insertion is not known."""
    areas, line = crown.area_set, crown.area_set.margin_line
    axis = np.array([0.0, 0.0, 1.0]) if areas.insertion is None else areas.insertion
    edge = None if line is None else line.points_mm
    directions = directions_about(axis, areas.settings)
    return _frame(crown.evaluation.mesh, axis, directions, edge)


def start_words(directions: Directions) -> str:
    """Say how angles are counted."""
    start = ZERO_WORDS[directions.zero_name]
    return f"Angles start at {start} and grow counter-clockwise, seen from occlusal."


def direction_words(directions: Directions, angle_deg: float) -> str:
    """Name a direction in a word or two: mesial, +x, 90°."""
    words = directions.words(angle_deg)
    if not words.startswith("at "):
        return words
    turned = round(angle_deg) % 360
    axis = directions.zero_name
    if axis in ("x", "y") and turned % 180 == 0:
        return f"{'+' if turned == 0 else '−'}{axis}"
    return f"{turned}°"


def _frame(
    crown: TriangleMesh, axis: FloatArray, directions: Directions, edge: FloatArray | None
) -> SeatedFrame:
    around = crown.vertices if edge is None else edge
    return SeatedFrame(crown, around.mean(axis=0), axis, directions, edge)
