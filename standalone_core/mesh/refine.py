"""The evaluation mesh: the design's surface with its long edges split."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import SettingError
from .grouping import group_edges
from .triangle_mesh import FloatArray, IntArray, TriangleMesh

MAX_EVALUATION_FACES = 6_000_000
SPACING_MM = 0.1


@dataclass(frozen=True, eq=False)
class EvaluationMesh:
    """A design with every edge at most ``spacing_mm`` long, its surface unchanged.

    Attributes
    ----------
    mesh : TriangleMesh
        n' points, m' faces; its first n vertices are the design's, in order.
    design : TriangleMesh
        n vertices, m faces.
    source_face : (m',) int
        Design face that each face is a part of; ascending.
    point_face : (n',) int
        A design face that each point lies on; −1 for a vertex that no face uses.
    point_barycentric : (n', 3) float
        Where on it: weights of its three corners, summing to 1.
    spacing_mm : float
    """

    mesh: TriangleMesh
    design: TriangleMesh
    source_face: IntArray
    point_face: IntArray
    point_barycentric: FloatArray
    spacing_mm: float

    @property
    def points(self) -> FloatArray:
        """Evaluation points, (n', 3), mm."""
        return self.mesh.vertices

    @property
    def weights_mm2(self) -> FloatArray:
        """Share of the surface that each point stands for, (n',), mm²; sums to the area."""
        return self.mesh.vertex_areas

    @property
    def normals(self) -> FloatArray:
        """Unit normals at the points, (n', 3)."""
        return self.mesh.vertex_normals

    def interpolate(self, values: ArrayLike) -> FloatArray:
        """Carry values at design vertices, (n,) or (n, k), linearly to the points.

        Returns
        -------
        (n',) or (n', k) float
        """
        given = np.asarray(values, dtype=np.float64)
        n = len(self.design.vertices)
        corners = given[self.design.faces[self.point_face[n:]]]
        added = np.einsum("ij,ij...->i...", self.point_barycentric[n:], corners)
        return np.concatenate([given, added])


@dataclass(frozen=True, eq=False)
class _Parts:
    """Faces on their way to being split: corners, design face, corners' barycentric weights."""

    faces: IntArray
    source: IntArray
    weights: FloatArray

    def taken(self, rows: ArrayLike) -> _Parts:
        index = np.asarray(rows)
        return _Parts(self.faces[index], self.source[index], self.weights[index])


def evaluation_mesh(mesh: TriangleMesh, spacing_mm: float = SPACING_MM) -> EvaluationMesh:
    """Split long edges until each is at most ``spacing_mm``.

    In every round all edges that are too long get a point in the middle, and each face is
    divided into two, three or four by its number of such edges: along the line to the opposite
    corner, along the shorter diagonal, into four of its own shape. Both faces at an edge see the
    same point, so the mesh stays conforming. O(points) in time and memory.

    Parameters
    ----------
    mesh : TriangleMesh
        The design; borders, non-manifold edges and degenerate faces are all right.
    spacing_mm : float
        Longest allowed edge, mm.

    Returns
    -------
    EvaluationMesh
        With ``mesh`` itself where no edge was too long.

    Raises
    ------
    SettingError
        The spacing is not positive, or asks for more than ``MAX_EVALUATION_FACES`` faces.
    """
    if not 0 < spacing_mm < np.inf:
        raise SettingError(
            f"{spacing_mm} mm is no spacing.",
            subject="spacing_mm",
            remedy="Give a positive length, such as 0.1.",
        )
    whole = _Parts(
        mesh.faces,
        np.arange(len(mesh.faces)),
        np.broadcast_to(np.eye(3), (len(mesh.faces), 3, 3)),
    )
    points, face_of_point, weights_of_point = _start_points(mesh)
    finished: list[_Parts] = []
    parts, finished_count = whole, 0
    while True:
        is_long = _long_sides(points, parts.faces, spacing_mm)
        needs_split = is_long.any(axis=1)
        finished.append(parts if not needs_split.any() else parts.taken(~needs_split))
        finished_count += len(finished[-1].faces)
        if not needs_split.any():
            break
        parts, is_long = parts.taken(needs_split), is_long[needs_split]
        growing = len(parts.faces) + int(np.count_nonzero(is_long))
        _check_growth(mesh, finished_count + growing, spacing_mm)
        middle, new = _middles(points, parts, is_long)
        points = np.concatenate([points, new.points])
        face_of_point = np.concatenate([face_of_point, new.face])
        weights_of_point = np.concatenate([weights_of_point, new.weights])
        parts = _divide(points, parts, is_long, middle)
    if len(finished) == 1:
        refined, source = mesh, whole.source
    else:
        source = np.concatenate([part.source for part in finished])
        order = np.argsort(source, kind="stable")
        faces = np.concatenate([part.faces for part in finished])[order]
        refined, source = TriangleMesh(points, faces, mesh.name), source[order]
    return EvaluationMesh(refined, mesh, source, face_of_point, weights_of_point, float(spacing_mm))


def _start_points(mesh: TriangleMesh) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return the design's vertices, each with its first face and its weights there."""
    face = np.full(len(mesh.vertices), -1)
    corner = np.zeros(len(mesh.vertices), dtype=np.int64)
    sides = np.arange(mesh.faces.size)[::-1]  # the last assignment wins: the first face
    flat = mesh.faces.ravel()[::-1]
    face[flat], corner[flat] = sides // 3, sides % 3
    return mesh.vertices, face, np.eye(3)[corner]


def _side_squares(points: FloatArray, faces: IntArray) -> FloatArray:
    """Squared length of the three sides of each face, (m, 3)."""
    squares = np.empty(faces.shape)
    for k in range(3):
        side = points[faces[:, (k + 1) % 3]] - points[faces[:, k]]
        squares[:, k] = np.einsum("ij,ij->i", side, side)
    return squares


def _long_sides(points: FloatArray, faces: IntArray, spacing_mm: float) -> NDArray[np.bool_]:
    """Return which sides are too long, (m, 3); the same from both faces of an edge.

    The square of a difference does not depend on its sign, so rounding cannot tell them apart.
    """
    too_long: NDArray[np.bool_] = _side_squares(points, faces) > spacing_mm**2
    return too_long


def _check_growth(mesh: TriangleMesh, face_count: int, spacing_mm: float) -> None:
    if face_count > MAX_EVALUATION_FACES:
        raise SettingError(
            f"A spacing of {spacing_mm:g} mm divides {mesh.name}, {mesh.diagonal_mm:.4g} mm "
            f"across, into more than {MAX_EVALUATION_FACES / 1e6:.0f} million faces.",
            subject="spacing_mm",
            remedy="Check the unit of the mesh, or use a wider spacing.",
        )


@dataclass(frozen=True, eq=False)
class _NewPoints:
    points: FloatArray
    face: IntArray
    weights: FloatArray


def _middles(
    points: FloatArray, parts: _Parts, is_long: NDArray[np.bool_]
) -> tuple[IntArray, _NewPoints]:
    """Put a point in the middle of each long edge.

    Returns
    -------
    middle : (m, 3) int
        Point on each side of each face, −1 on the sides that stay.
    new : _NewPoints
    """
    face, corner = np.nonzero(is_long)
    following = (corner + 1) % 3
    start, end = parts.faces[face, corner], parts.faces[face, following]
    first, label = group_edges(start, end, len(points)).by_appearance()
    middle = np.full(parts.faces.shape, -1)
    middle[face, corner] = len(points) + label
    f, a, b = face[first], corner[first], following[first]
    new = _NewPoints(
        0.5 * (points[start[first]] + points[end[first]]),
        parts.source[f],
        0.5 * (parts.weights[f, a] + parts.weights[f, b]),
    )
    return middle, new


def _divide(
    points: FloatArray, parts: _Parts, is_long: NDArray[np.bool_], middle: IntArray
) -> _Parts:
    """Divide each face by its long sides; every face has at least one."""
    # Corners 0 1 2, then the middles 3 4 5 of the sides from corners 0, 1 and 2.
    nodes = np.concatenate([parts.faces, middle], axis=1)
    count = is_long.sum(axis=1)
    # Turn each face so that its long sides come first: side 0, or sides 0 and 1, or all.
    turn = np.where(count == 2, (np.argmin(is_long, axis=1) + 1) % 3, np.argmax(is_long, axis=1))
    columns = (np.arange(3) + turn[:, None]) % 3
    nodes = np.take_along_axis(nodes, np.concatenate([columns, columns + 3], axis=1), axis=1)
    mids = 0.5 * (parts.weights + parts.weights[:, [1, 2, 0]])
    weights = np.take_along_axis(
        np.concatenate([parts.weights, mids], axis=1),
        np.concatenate([columns, columns + 3], axis=1)[:, :, None],
        axis=1,
    )
    first_diagonal = _first_diagonal_is_shorter(points, nodes)
    pieces = []
    for rows, pattern in (
        (count == 1, [(0, 3, 2), (3, 1, 2)]),
        ((count == 2) & first_diagonal, [(3, 1, 4), (0, 3, 4), (0, 4, 2)]),
        ((count == 2) & ~first_diagonal, [(3, 1, 4), (0, 3, 2), (3, 4, 2)]),
        (count == 3, [(0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)]),
    ):
        index = np.flatnonzero(rows)
        for corners in pattern:
            pieces.append(
                _Parts(nodes[index][:, corners], parts.source[index], weights[index][:, corners])
            )
    return _Parts(
        np.concatenate([p.faces for p in pieces]),
        np.concatenate([p.source for p in pieces]),
        np.concatenate([p.weights for p in pieces]),
    )


def _first_diagonal_is_shorter(points: FloatArray, nodes: IntArray) -> NDArray[np.bool_]:
    """Of the quadrangle 0 3 4 2: whether 0–4 is no longer than 3–2."""
    first = points[nodes[:, 4]] - points[nodes[:, 0]]
    second = points[nodes[:, 3]] - points[nodes[:, 2]]
    shorter: NDArray[np.bool_] = np.einsum("ij,ij->i", first, first) <= np.einsum(
        "ij,ij->i", second, second
    )
    return shorter
