"""The evaluation mesh: the design's surface with its long edges split."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..arrays import BoolArray, FloatArray, IntArray
from ..errors import SettingError
from ..words.text import plain_number
from .curvature import mean_curvature
from .grouping import group_edges
from .triangle_mesh import TriangleMesh

# Several times a full arch at the usual spacing; keeps memory below 1 GB.
MAX_EVALUATION_FACES = 4_000_000
SPACING_MM = 0.1

# How a face is divided: corners 0 1 2, and the middles 3 4 5 of its sides 0–1, 1–2, 2–0.
_INTO_TWO = np.array([(0, 3, 2), (3, 1, 2)])
_INTO_THREE_ALONG_FIRST = np.array([(3, 1, 4), (0, 3, 4), (0, 4, 2)])
_INTO_THREE_ALONG_SECOND = np.array([(3, 1, 4), (0, 3, 2), (3, 4, 2)])
_INTO_FOUR = np.array([(0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)])


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

    @cached_property
    def curvature(self) -> FloatArray:
        """Mean curvature at the points, (n',), 1/mm, positive on convex places."""
        return mean_curvature(self.mesh)

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

    def moved(self, motion: ArrayLike) -> EvaluationMesh:
        """Return the mesh after a rigid motion (4, 4), point for point and face for face."""
        return replace(self, mesh=self.mesh.moved(motion), design=self.design.moved(motion))


@dataclass(frozen=True, eq=False)
class _Parts:
    """Faces on their way to being split: corners, design face, corners' barycentric weights.

    Weights are halves of halves, at most 22 times before there are too many faces: exact in
    float32.
    """

    faces: IntArray
    source: IntArray
    weights: NDArray[np.float32]

    def taken(self, rows: BoolArray) -> _Parts:
        return _Parts(self.faces[rows], self.source[rows], self.weights[rows])


@dataclass(frozen=True, eq=False)
class _Points:
    """Points with a design face that each lies on and its barycentric weights there."""

    mm: FloatArray
    face: IntArray
    weights: FloatArray

    def followed_by(self, new: _Points) -> _Points:
        return _Points(
            np.concatenate([self.mm, new.mm]),
            np.concatenate([self.face, new.face]),
            np.concatenate([self.weights, new.weights]),
        )


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

    Examples
    --------
    >>> import cuspwise
    >>> triangle = cuspwise.TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    >>> split = cuspwise.evaluation_mesh(triangle, spacing_mm=0.8)
    >>> split.points.shape, float(split.weights_mm2.sum().round(6))
    ((6, 3), 0.5)
    """
    if not 0 < spacing_mm < np.inf:
        raise SettingError(
            f"{spacing_mm} mm is no spacing.",
            subject="spacing_mm",
            remedy="Give a positive length, such as 0.1.",
        )
    # No face whose sides are that short is larger than the equilateral one.
    _check_growth(mesh, mesh.area_mm2 / spacing_mm / spacing_mm / (0.25 * 3**0.5), spacing_mm)
    parts, points = _start(mesh)
    finished, points = _split_long_sides(mesh, parts, points, spacing_mm)
    refined, source = mesh, finished.source
    if len(points.mm) > len(mesh.vertices):
        order = np.argsort(finished.source, kind="stable")
        refined = TriangleMesh(points.mm, finished.faces[order], mesh.name)
        source = source[order]
    return EvaluationMesh(refined, mesh, source, points.face, points.weights, float(spacing_mm))


def _start(mesh: TriangleMesh) -> tuple[_Parts, _Points]:
    """Return the design's faces as parts of themselves, and its vertices on their first faces."""
    parts = _Parts(
        mesh.faces,
        np.arange(len(mesh.faces)),
        np.broadcast_to(np.eye(3, dtype=np.float32), (len(mesh.faces), 3, 3)),
    )
    face = np.full(len(mesh.vertices), -1)
    corner = np.zeros(len(mesh.vertices), dtype=np.int64)
    sides = np.arange(mesh.faces.size)[::-1]  # the last assignment wins: the first face
    vertex = mesh.faces.ravel()[::-1]
    face[vertex], corner[vertex] = sides // 3, sides % 3
    return parts, _Points(mesh.vertices, face, np.eye(3)[corner])


def _split_long_sides(
    mesh: TriangleMesh, parts: _Parts, points: _Points, spacing_mm: float
) -> tuple[_Parts, _Points]:
    finished: list[_Parts] = []
    face_count = 0
    while True:
        is_long = _long_sides(points.mm, parts.faces, spacing_mm)
        needs_split: BoolArray = np.logical_or.reduce(is_long, axis=1)
        finished.append(parts.taken(~needs_split))
        if not needs_split.any():
            return _joined(finished), points
        parts, is_long = parts.taken(needs_split), is_long[needs_split]
        face_count += len(finished[-1].faces)
        _check_growth(
            mesh, face_count + len(parts.faces) + int(np.count_nonzero(is_long)), spacing_mm
        )
        middle, new = _middles(points.mm, parts, is_long)
        points = points.followed_by(new)
        parts = _divide(points.mm, parts, is_long, middle)


def _side_squares(points: FloatArray, faces: IntArray) -> FloatArray:
    """Squared length of the three sides of each face, (m, 3)."""
    squares = np.empty(faces.shape)
    for k in range(3):
        side = points[faces[:, (k + 1) % 3]] - points[faces[:, k]]
        squares[:, k] = np.einsum("ij,ij->i", side, side)
    return squares


def _long_sides(points: FloatArray, faces: IntArray, spacing_mm: float) -> BoolArray:
    """Return which sides are too long, (m, 3); the same from both faces of an edge.

    The square of a difference does not depend on its sign, so rounding cannot tell them apart.
    """
    too_long: BoolArray = _side_squares(points, faces) > spacing_mm**2
    return too_long


def _check_growth(mesh: TriangleMesh, face_count: float, spacing_mm: float) -> None:
    if face_count > MAX_EVALUATION_FACES:
        raise SettingError(
            f"A spacing of {spacing_mm:g} mm divides it, {plain_number(mesh.diagonal_mm, 4)} mm "
            f"across, into more than {MAX_EVALUATION_FACES / 1e6:.0f} million faces.",
            subject=mesh.name,
            remedy="Check its unit, or use a wider spacing.",
            arguments=("spacing_mm",),
        )


def _middles(points: FloatArray, parts: _Parts, is_long: BoolArray) -> tuple[IntArray, _Points]:
    """Put a point in the middle of each long edge.

    Returns
    -------
    middle : (m, 3) int
        Point on each side of each face, −1 on the sides that stay.
    new : _Points
    """
    face, corner = np.nonzero(is_long)
    following = (corner + 1) % 3
    start, end = parts.faces[face, corner], parts.faces[face, following]
    first, label = group_edges(start, end, len(points)).by_appearance()
    middle = np.full(parts.faces.shape, -1)
    middle[face, corner] = len(points) + label
    f, a, b = face[first], corner[first], following[first]
    new = _Points(
        0.5 * (points[start[first]] + points[end[first]]),
        parts.source[f],
        0.5 * (parts.weights[f, a].astype(np.float64) + parts.weights[f, b]),
    )
    return middle, new


def _divide(points: FloatArray, parts: _Parts, is_long: BoolArray, middle: IntArray) -> _Parts:
    """Divide each face by its long sides; every face has at least one."""
    count = is_long.sum(axis=1)
    # Turn each face so that its long sides come first: side 0, or sides 0 and 1, or all.
    turn = np.where(count == 2, (np.argmin(is_long, axis=1) + 1) % 3, np.argmax(is_long, axis=1))
    columns = (np.arange(3) + turn[:, None]) % 3
    corners = np.take_along_axis(parts.faces, columns, axis=1)
    # Corners 0 1 2, then the middles 3 4 5 of the sides from corners 0, 1 and 2.
    nodes = np.concatenate([corners, np.take_along_axis(middle, columns, axis=1)], axis=1)
    along_first = _first_diagonal_is_shorter(points, nodes, count == 2)
    pieces = []
    for chosen, pattern in (
        (count == 1, _INTO_TWO),
        ((count == 2) & along_first, _INTO_THREE_ALONG_FIRST),
        ((count == 2) & ~along_first, _INTO_THREE_ALONG_SECOND),
        (count == 3, _INTO_FOUR),
    ):
        row = np.flatnonzero(chosen)
        weights = np.take_along_axis(parts.weights[row], columns[row, :, None], axis=1)
        weights = np.concatenate([weights, 0.5 * (weights + weights[:, [1, 2, 0]])], axis=1)
        pieces.append(
            _Parts(
                nodes[row][:, pattern].reshape(-1, 3),
                np.repeat(parts.source[row], len(pattern)),
                weights[:, pattern].reshape(-1, 3, 3),
            )
        )
    return _joined(pieces)


def _joined(pieces: list[_Parts]) -> _Parts:
    return _Parts(
        np.concatenate([piece.faces for piece in pieces]),
        np.concatenate([piece.source for piece in pieces]),
        np.concatenate([piece.weights for piece in pieces]),
    )


def _first_diagonal_is_shorter(points: FloatArray, nodes: IntArray, asked: BoolArray) -> BoolArray:
    """Of the quadrangle 0 3 4 2 of the faces asked for: whether 0–4 is no longer than 3–2."""
    first = points[nodes[asked, 4]] - points[nodes[asked, 0]]
    second = points[nodes[asked, 3]] - points[nodes[asked, 2]]
    shorter = np.zeros(len(nodes), dtype=bool)
    shorter[asked] = np.einsum("ij,ij->i", first, first) <= np.einsum("ij,ij->i", second, second)
    return shorter
