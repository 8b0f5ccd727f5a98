"""The seated crown in the die's frame, and the directions around it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import FloatArray
from ...deviation.margin_directions import ZERO_WORDS, Directions, directions_about, directions_of
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
        The crown's evaluation mesh where it was measured; as in its file if it was not seated.
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
    """Lay the crown of a fit where it was measured."""
    motion = result.T_die_crown
    motion = np.eye(4) if motion is None else motion
    mesh = result.crown.evaluation.mesh.moved(motion)
    line = result.crown.area_set.margin_line
    edge = None if line is None else line.points_mm @ motion[:3, :3].T + motion[:3, 3]
    around = mesh.vertices if edge is None else edge
    return SeatedFrame(mesh, around.mean(axis=0), result.die.axis, _directions(result), edge)


def own_frame(crown: FitCrown) -> SeatedFrame:
    """Leave a crown, whose path of insertion is known, where it lies."""
    line = crown.area_set.margin_line
    mesh = crown.evaluation.mesh
    edge = None if line is None else line.points_mm
    around = mesh.vertices if edge is None else edge
    directions = directions_of(crown.area_set)
    return SeatedFrame(mesh, around.mean(axis=0), crown.axis, directions, edge)


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


def _directions(result: FitResult) -> Directions:
    if result.margin is not None:
        return result.margin.directions
    return directions_about(result.die.axis, result.settings.areas)
