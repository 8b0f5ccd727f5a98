"""What the search for support marks needs to know of a design, worked out once for all its scans.

Only the side where marks are sought: the external surface, or all of it where the sides are not
known. The level of the surface is read from cells of about 0.4 mm: the median over the cells of a
disc of about 1.7 mm, which neither a mark in the middle of it nor one beside it moves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from ..areas.area_set import AreaSet
from ..areas.support_marks import SUPPORTS
from ..arrays import BoolArray, FloatArray, IntArray

CELL_MM = 0.4
"""Side of the cubes that share the surface out into cells."""
DISC_MM = 1.7
"""Radius of the disc whose cells give the level: twice the reach of the largest mark."""
BALL_MM = 1.0
"""Radius of the ball that tells inside corners."""
CORNER_MM = 0.12
"""How far the ball must cut in: less fills by no more than 10 µm (demo crown, computed)."""
_CELLS_ABOUT = 4  # whose levels a point's own is interpolated from


@dataclass(frozen=True, eq=False)
class MarkGround:
    """The side of a design on which support marks are sought, n points of it.

    Attributes
    ----------
    points : (n,) int
        Evaluation points of the design.
    places_mm, normals : (n, 3) float
    weights_mm2 : (n,) float
    neighbours : (n, n) sparse
        1 for every point and those it shares an edge with.
    tree : cKDTree
        Of the places.
    cell : (n,) int
        Cell of each point, c cells.
    cells_about : (c, k) int
        The cells of the disc around each, nearest first.
    spread : (n, c) sparse
        Carries values of cells to points; rows sum to 1.
    corner : (n,) bool
        In the fossae, or in an inside corner: a ball of 1 mm radius, put on the point, would cut
        in elsewhere by more than 0.12 mm.
    margin_mm : (n,) float
        Distance from the margin line; infinite where it is not known.
    marked : (n,) bool
        In a support mark that is known already.
    """

    points: IntArray
    places_mm: FloatArray
    normals: FloatArray
    weights_mm2: FloatArray
    neighbours: csr_matrix
    tree: cKDTree
    cell: IntArray
    cells_about: IntArray
    spread: csr_matrix
    corner: BoolArray
    margin_mm: FloatArray
    marked: BoolArray


def mark_ground(area_set: AreaSet) -> MarkGround:
    """Work out what finding support marks needs to know of a design.

    Parameters
    ----------
    area_set : AreaSet
        The areas ``external``, ``fossae`` and ``supports`` and the margin line are used as far as
        they are known.
    """
    mesh = area_set.evaluation.mesh
    inside = mesh.used_vertices.copy()
    if "external" in area_set.areas:
        inside &= area_set.areas["external"].points
    points = np.flatnonzero(inside)
    places, normals = mesh.vertices[points], mesh.vertex_normals[points]
    cell, middles = _cells(places)
    tree = cKDTree(places)
    about = max(1, min(len(middles), round(np.pi * (DISC_MM / CELL_MM) ** 2)))
    middle_tree = cKDTree(middles)
    return MarkGround(
        points=points,
        places_mm=places,
        normals=normals,
        weights_mm2=mesh.vertex_areas[points],
        neighbours=_neighbours(mesh.graph.edges, inside),
        tree=tree,
        cell=cell,
        cells_about=_nearest(middle_tree, middles, about)[1],
        spread=_spread(middle_tree, places, len(middles)),
        corner=_holds(area_set, "fossae", points) | _in_corner(tree, places, normals),
        margin_mm=_margin_mm(area_set, places),
        marked=_holds(area_set, SUPPORTS, points),
    )


def _cells(places: FloatArray) -> tuple[IntArray, FloatArray]:
    """Cell of each place, (n,), and the mean place of each cell, (c, 3)."""
    if not len(places):
        return np.zeros(0, dtype=np.int64), np.zeros((0, 3))
    cube = np.floor((places - places.min(axis=0)) / CELL_MM).astype(np.int64)
    _, cell = np.unique(
        np.ravel_multi_index(tuple(cube.T), cube.max(axis=0) + 1), return_inverse=True
    )
    counts = np.bincount(cell)
    middles = np.stack([np.bincount(cell, weights=one) / counts for one in places.T], axis=1)
    return cell, middles


def _neighbours(edges: IntArray, inside: BoolArray) -> csr_matrix:
    """Each point of the side with those it shares an edge with, itself among them."""
    number = np.cumsum(inside) - 1
    count = int(np.count_nonzero(inside))
    start, end = number[edges[inside[edges].all(axis=1)]].T
    own = np.arange(count)
    rows, columns = np.concatenate([start, end, own]), np.concatenate([end, start, own])
    return csr_matrix((np.ones(len(rows)), (rows, columns)), shape=(count, count))


def _nearest(tree: cKDTree, places: FloatArray, count: int) -> tuple[FloatArray, IntArray]:
    """Distance to and number of the nearest of a tree's places, (n, count) each."""
    distance, which = tree.query(places, k=np.arange(1, count + 1))
    return np.asarray(distance), np.asarray(which, dtype=np.int64)


def _spread(tree: cKDTree, places: FloatArray, cells: int) -> csr_matrix:
    """Carry values of cells to places: the nearest cells weighted with exp(−2 d²/cell²)."""
    about = max(1, min(cells, _CELLS_ABOUT))
    distance, which = _nearest(tree, places, about)
    weights = np.exp(-2.0 * (distance**2 - distance[:, :1] ** 2) / CELL_MM**2)
    weights /= weights.sum(axis=1, keepdims=True)
    starts = np.arange(0, about * len(places) + 1, about)
    return csr_matrix((weights.ravel(), which.ravel(), starts), shape=(len(places), cells))


def _in_corner(tree: cKDTree, places: FloatArray, normals: FloatArray) -> BoolArray:
    """Which places lie in an inside corner, (n,); see :class:`MarkGround`."""
    centres = places + BALL_MM * normals
    cut = tree.query(centres, distance_upper_bound=BALL_MM - CORNER_MM)[0]
    found: BoolArray = np.isfinite(np.asarray(cut))
    return found


def _margin_mm(area_set: AreaSet, places: FloatArray) -> FloatArray:
    line = area_set.margin_line
    if line is None:
        return np.full(len(places), np.inf)
    # Points of a margin line lie about as close as those of the surface.
    return np.asarray(cKDTree(line.points_mm).query(places)[0])


def _holds(area_set: AreaSet, name: str, points: IntArray) -> BoolArray:
    area = area_set.areas.get(name)
    if area is None:
        return np.zeros(len(points), dtype=bool)
    inside: BoolArray = area.points[points]
    return inside
