"""What planes across a finish line cut: the prepared surface inside it, and the crown's edge."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ...areas.area_set import MarginLine
from ...arrays import FloatArray, IntArray, ragged
from ...mesh.refine import evaluation_mesh
from ...mesh.section import Sections, cut_pairs
from ...mesh.triangle_mesh import TriangleMesh
from .finish_places import FinishPlaces

INSIDE_MM = (0.1, 0.3)
"""The prepared surface between these distances inside the finish line gives its normal."""
SEARCH_MM = 2.0
"""A crown's edge farther from the finish line than this is missing; ours, no source."""

_SPACING_MM = 0.15  # of the die's triangles where it is cut; its surface stays as it is
_REACH_MM = 0.46  # holds the outline from the finish line to INSIDE_MM, with the piece there
_SHORTEST_MM = 1e-9  # a piece has a direction
_MOST_PIECES = 2000  # followed in a plane; only pieces without any length could be more
_ROWS = 512  # planes tried with all legs of the crown's edge at a time


def prepared_normals(mesh: TriangleMesh, places: FinishPlaces) -> FloatArray:
    """Normal of the prepared surface just inside the finish line at each place, (p, 3).

    In the plane across the line the outline of the die is followed from the place towards
    occlusal or inward. The mean normal between two of its points, by length, is square to the
    chord from one to the other. NaN where the outline ends before.

    Parameters
    ----------
    mesh : TriangleMesh
        The die, its faces turned outward.
    places : FinishPlaces
        On it.
    """
    rows = np.flatnonzero(places.there)
    normals = np.full((len(places), 3), np.nan)
    points, along = places.points_mm[rows], places.along[rows]
    near = evaluation_mesh(_near(mesh, points), _SPACING_MM).mesh
    cut = _cut(near, points, along)
    first, last = _followed(cut, near.face_normals, points, along)
    inward = last - first
    normal = np.cross(along, inward)
    normals[rows] = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    return normals


def edge_places(line: MarginLine, places: FinishPlaces) -> FloatArray:
    """Where a crown's edge crosses the plane across the finish line at each place, (p, 3).

    The crossing nearest to the place; NaN if there is none within 2 mm.

    Parameters
    ----------
    line : MarginLine
        The crown's edge in the die's frame.
    places : FinishPlaces
    """
    ring = np.vstack([line.points_mm, line.points_mm[:1]]) if line.closed else line.points_mm
    edge = np.full((len(places), 3), np.nan)
    there = np.flatnonzero(places.there)
    for start in range(0, len(there), _ROWS):
        rows = there[start : start + _ROWS]
        level = np.einsum("ij,ij->i", places.points_mm[rows], places.along[rows])
        height = places.along[rows] @ ring.T - level[:, None]
        above = height >= 0
        row, leg = np.nonzero(above[:, 1:] != above[:, :-1])
        share = (height[row, leg] / (height[row, leg] - height[row, leg + 1]))[:, None]
        crossing = (1.0 - share) * ring[leg] + share * ring[leg + 1]
        away = np.linalg.norm(crossing - places.points_mm[rows[row]], axis=1)
        nearest = _least(away, row)
        nearest = nearest[away[nearest] <= SEARCH_MM]
        edge[rows[row[nearest]]] = crossing[nearest]
    return edge


def _near(mesh: TriangleMesh, points: FloatArray) -> TriangleMesh:
    """The faces of a mesh that may come within reach of some points."""
    middle = mesh.triangles.mean(axis=1)
    reach = np.linalg.norm(mesh.triangles - middle[:, None], axis=2).max(axis=1)
    away, _ = cKDTree(points).query(middle)
    return mesh.kept(away <= reach + _REACH_MM + _SPACING_MM)


def _cut(mesh: TriangleMesh, points: FloatArray, along: FloatArray) -> Sections:
    """Cut every face near a place with the plane across the line there.

    However sharply the line bends: on its inner side many planes cross one face.
    """
    tree = cKDTree(mesh.triangles.mean(axis=1))
    near = tree.query_ball_point(points, _REACH_MM + _SPACING_MM)
    plane, _ = ragged(np.array([len(faces) for faces in near]))
    face = np.concatenate([np.empty(0, dtype=np.int64), *(np.array(k, np.int64) for k in near)])
    faces = np.arange(len(mesh))
    return cut_pairs(mesh, face, plane, points, along, radius_mm=_REACH_MM, known=faces)


def _least(values: FloatArray, row: IntArray) -> IntArray:
    """For each row that is there, ascending, which value is its least."""
    order = np.lexsort([values, row])
    first = np.ones(len(order), dtype=bool)
    first[1:] = np.diff(row[order]) > 0
    least: IntArray = order[first]
    return least


def _followed(
    cut: Sections, face_normals: FloatArray, points: FloatArray, along: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Points of each plane's outline at the two distances inside its place, (p, 3) each.

    On a surface with outward normal n the way inward (or up to occlusal) is n × t, t being the
    line's direction counter-clockwise: at a finish line that has an edge this leads away from
    the root on one side of it and onto the prepared surface on the other.
    """
    found = np.full((len(INSIDE_MM), len(points), 3), np.nan)
    piece, here = _starts(cut, points)
    plane = cut.plane[piece]
    inward = np.cross(face_normals[cut.face[piece]], along[plane])
    ways = cut.ends_mm[piece, 1] - cut.ends_mm[piece, 0]
    exit_end = (np.einsum("ij,ij->i", ways, inward) > 0).astype(np.int64)
    beside, gone = _beside(cut), np.zeros(len(piece))
    for _ in range(_MOST_PIECES):
        ahead = cut.ends_mm[piece, exit_end]
        step = np.linalg.norm(ahead - here, axis=1)
        for k, wanted in enumerate(INSIDE_MM):
            on = np.flatnonzero((gone < wanted) & (gone + step >= wanted))
            share = ((wanted - gone[on]) / step[on])[:, None]
            found[k, plane[on]] = (1.0 - share) * here[on] + share * ahead[on]
        gone = gone + step
        node = cut.node[piece, exit_end]
        following = np.where(beside[node, 0] == piece, beside[node, 1], beside[node, 0])
        on = np.flatnonzero((gone < INSIDE_MM[-1]) & (following != piece))
        if not len(on):
            break
        here, gone, plane, piece, node = ahead[on], gone[on], plane[on], following[on], node[on]
        exit_end = (cut.node[piece, 0] == node).astype(np.int64)
    return found[0], found[1]


def _starts(cut: Sections, points: FloatArray) -> tuple[IntArray, FloatArray]:
    """The piece that holds each plane's place, and where on it that is."""
    start = cut.ends_mm[:, 0]
    ways = cut.ends_mm[:, 1] - start
    square = np.einsum("ij,ij->i", ways, ways)
    arms = points[cut.plane] - start
    share = np.einsum("ij,ij->i", arms, ways) / np.where(square > 0, square, 1.0)
    foot = start + np.clip(share, 0.0, 1.0)[:, None] * ways
    away = np.linalg.norm(points[cut.plane] - foot, axis=1)
    away[square < _SHORTEST_MM**2] = np.inf
    piece = _least(away, cut.plane)
    return piece, foot[piece]


def _beside(cut: Sections) -> IntArray:
    """The two pieces that meet at each node, (count of nodes, 2); a loose end's one twice."""
    flat = cut.node.ravel()
    order = np.argsort(flat, kind="stable")
    nodes = np.arange(len(cut.border))
    first = order[np.searchsorted(flat[order], nodes, side="left").clip(max=len(order) - 1)]
    last = order[np.searchsorted(flat[order], nodes, side="right") - 1]
    beside: IntArray = np.stack([first, last], axis=1) // 2
    return beside
