"""Places where edges of crown and die cut into each other though no vertex does.

Where two bodies overlap, the deepest place is a vertex of either, or lies on an edge: where two
edges cross, both are inside the other body between their ends. Edges are sampled whose ends are
near enough for a sag: with edges L and mean curvature H that is H L²/8, less than ``SAG_SHARE`` L
unless the surface turns by more than about 20° from one end to the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from .motion import placed, undone
from .pair import Pair

SAG_SHARE = 0.05
NEAR_MM = 0.03
"""Edges both of whose ends are farther than this from the other body are not looked at."""

_WIDTHS = (0.5, 0.16, 0.05, 0.016)
_OFFSETS = (-0.66, -0.33, 0.33, 0.66)


@dataclass(frozen=True, eq=False)
class EdgePlaces:
    """Places on edges of one body.

    Attributes
    ----------
    points : (k, 3) float
        In the body's own frame.
    relief_mm : (k,) float
        What is taken off there, less what the surface lies above the edge.
    gap_mm : (k,) float
    """

    points: FloatArray
    relief_mm: FloatArray
    gap_mm: FloatArray


def edge_cuts(pair: Pair, pose: FloatArray, least_mm: float, *, of_crown: bool) -> EdgePlaces:
    """The deepest place of each of one body's edges that overlaps by more than a length.

    Parameters
    ----------
    pair : Pair
    pose : (4, 4) float
    least_mm : float
    of_crown : bool
        The crown's edges against the die, or the die's against the crown.
    """
    vertices, relief, chosen = _edges(pair, of_crown)
    mesh_edges = pair.facets[of_crown].mesh.graph.edges
    motion, facets = pose if of_crown else undone(pose), pair.facets[of_crown]
    gap = np.full(len(vertices), NEAR_MM)
    known = pair.crown_vertices if of_crown else pair.die_vertices
    gap[known] = np.minimum(pair.vertex_gaps(pose, NEAR_MM, of_crown=of_crown), NEAR_MM)
    chosen = chosen[_may_overlap(vertices, mesh_edges[chosen], gap)]
    edges = mesh_edges[chosen]

    def at(share: FloatArray) -> tuple[FloatArray, FloatArray]:
        start, end = edges.T
        places = vertices[start] + share[:, None] * (vertices[end] - vertices[start])
        off = (1.0 - share) * relief[start] + share * relief[end]
        return places, off - facets.along_edges_mm(chosen, share)

    def gaps(share: FloatArray) -> FloatArray:
        places, off = at(share)
        probe = pair.probe(places, of_crown=of_crown, relief_mm=off)
        probe.measure(placed(motion, places), np.arange(len(places)))
        # A side that is told wrongly shows by a gap that differs more than the places do.
        away = np.stack([share, 1.0 - share], axis=1) * _lengths(vertices, edges)[:, None]
        least = (gap[edges] - away).max(axis=1) - 1e-6
        return np.where(probe.gap_mm < least, np.abs(probe.gap_mm), probe.gap_mm)

    # Of a dip with one kink, at least half shows in the middle of the edge.
    share = np.full(len(edges), 0.5)
    low = gaps(share)
    dip = np.maximum(gap[edges].mean(axis=1) - low, 0.0)
    deep = gap[edges].min(axis=1) - 2.0 * dip < -least_mm
    chosen, edges, share, low = chosen[deep], edges[deep], share[deep], low[deep]
    for width in _WIDTHS:
        middle = share
        for offset in _OFFSETS:
            tried = np.clip(middle + width * offset, 0.0, 1.0)
            found = gaps(tried)
            share = np.where(found < low, tried, share)
            low = np.minimum(low, found)
    cut = low < -least_mm
    places, off = at(share)
    return EdgePlaces(places[cut], off[cut], low[cut])


def _edges(pair: Pair, of_crown: bool) -> tuple[FloatArray, FloatArray, IntArray]:
    """One body's vertices, (n, 3), their relief, (n,), and its edges that matter, (e,)."""
    mesh = pair.crown.evaluation.mesh if of_crown else pair.die.mesh
    chosen = pair.rests
    if not of_crown:
        chosen = np.zeros(len(mesh.vertices), dtype=bool)
        chosen[pair.die_vertices] = True
    relief = np.zeros(len(mesh.vertices))
    if of_crown and pair.relief_mm is not None:
        relief = pair.relief_mm
    edges = mesh.graph.edges
    return mesh.vertices, relief, np.flatnonzero(chosen[edges].all(axis=1))


def _may_overlap(vertices: FloatArray, edges: IntArray, gap: FloatArray) -> BoolArray:
    """Edges whose gap may become negative between their ends, (e,)."""
    length = _lengths(vertices, edges)
    near: BoolArray = gap[edges].min(axis=1) < np.minimum(SAG_SHARE * length, NEAR_MM)
    return near


def _lengths(vertices: FloatArray, edges: IntArray) -> FloatArray:
    lengths: FloatArray = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
    return lengths
