"""The margin line: where external surface and intaglio meet, or the border of an open shell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray, ragged
from ..mesh.graph import trace_loops

if TYPE_CHECKING:
    from ..mesh.triangle_mesh import TriangleMesh
    from .area_set import MarginLine

_PLACES_MM = 0.05


def loop_length_mm(points: FloatArray) -> float:
    """Length of a closed loop of points (k, 3), mm."""
    return float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum())


def longest_loop(mesh: TriangleMesh, loops: list[IntArray]) -> IntArray:
    """Return the loop of vertices that is longest in mm."""
    lengths = [loop_length_mm(mesh.vertices[loop]) for loop in loops]
    return loops[int(np.argmax(lengths))]


def dividing_loop(mesh: TriangleMesh, external: BoolArray) -> IntArray | None:
    """Trace the edges between external and other faces.

    Parameters
    ----------
    mesh : TriangleMesh
    external : (m,) bool

    Returns
    -------
    (k,) int or None
        Vertices in order, the external surface to the left seen from outside; None if the two
        kinds of faces do not meet.
    """
    graph = mesh.graph
    outside = external[graph.face_pairs]
    sides = graph.inner_sides[outside & ~outside[:, ::-1]]
    loops = trace_loops(np.stack([graph.side_starts[sides], graph.side_ends[sides]], axis=1))
    return longest_loop(mesh, loops) if loops else None


def loop_area_mm2(points: FloatArray) -> float:
    """Area that a closed loop (k, 3) encloses, as the size of its vector area, mm²."""
    arms = points - points.mean(axis=0)
    return float(np.linalg.norm(0.5 * np.cross(arms, np.roll(arms, -1, axis=0)).sum(axis=0)))


def length_near_mm(line: MarginLine, points: FloatArray, within_mm: float = 0.25) -> float:
    """Return how much of a margin line lies near some points, mm, in steps of about 0.05 mm.

    Parameters
    ----------
    line : MarginLine
    points : (n, 3) float
        In the line's frame, mm.
    within_mm : float
        What is near.
    """
    from scipy.spatial import cKDTree

    ring = np.vstack([line.points_mm, line.points_mm[:1]]) if line.closed else line.points_mm
    legs = np.diff(ring, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    parts = np.maximum(np.ceil(lengths / _PLACES_MM).astype(np.int64), 1)
    leg, number = ragged(parts)
    places = ring[leg] + ((number + 0.5) / parts[leg])[:, None] * legs[leg]
    if not len(points):
        return 0.0
    away, _ = cKDTree(points).query(places, distance_upper_bound=within_mm)
    return float((lengths / parts)[leg][np.isfinite(away)].sum())
