"""What is right and wrong with a mesh, in numbers and in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .grouping import Groups, KeyArray, group_rows
from .shells import Shells, find_shells
from .triangle_mesh import BoolArray, IntArray, TriangleMesh

# A face whose height is below this share of its longest side has no area to speak of; the
# rounding of float32 coordinates alone leaves about 1e-5 on a scan.
DEGENERATE_HEIGHT_RATIO = 1e-9
# Pieces with less than this share of the largest piece's area are debris (common practice, no
# source: dust specks and stray triangles of a scanner stay far below, a tooth never is).
DEBRIS_AREA_SHARE = 0.01


@dataclass(frozen=True)
class HealthReport:
    """State of a mesh.

    Attributes
    ----------
    triangles, vertices : int
        As they are, bad ones included; only vertices that faces use.
    pieces : int
        Parts not joined by a vertex.
    borders : int
        Open borders: runs of border edges joined by vertices.
    border_edges : int
        Edges with one face.
    border_length_mm : float
    non_manifold_edges : int
        Edges with more than two faces.
    degenerate_faces : int
        Faces without area.
    duplicate_faces : int
        Faces with the same three vertices as an earlier one, whichever way round.
    mixed_winding_edges : int
        Edges whose two faces turn in opposite senses.
    inward_pieces : int
        Shells that are closed, or nearly so, and turned inside out.
    debris_pieces, debris_triangles : int
        Pieces with less than ``DEBRIS_AREA_SHARE`` of the largest piece's area.
    closed : bool
        No border edge.
    size_mm : (3,) tuple of float
        Sides of the bounding box.
    area_mm2 : float
    volume_mm3 : float or None
        Enclosed volume; None unless closed and wound in one sense.
    problems : tuple of str
        What is wrong, in words; empty for a sound mesh.
    """

    triangles: int
    vertices: int
    pieces: int
    borders: int
    border_edges: int
    border_length_mm: float
    non_manifold_edges: int
    degenerate_faces: int
    duplicate_faces: int
    mixed_winding_edges: int
    inward_pieces: int
    debris_pieces: int
    debris_triangles: int
    closed: bool
    size_mm: tuple[float, float, float]
    area_mm2: float
    volume_mm3: float | None
    problems: tuple[str, ...] = ()


def inspect_mesh(mesh: TriangleMesh) -> HealthReport:
    """Examine a mesh; nothing is changed. O(m log m).

    Examples
    --------
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> report = inspect_mesh(TriangleMesh(corners, [[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]))
    >>> report.closed, report.pieces, round(report.volume_mm3, 6)
    (True, 1, 0.166667)
    """
    graph = mesh.graph
    shells = find_shells(mesh)
    closed = bool(len(mesh)) and not len(graph.border_sides)
    mixed = int(np.count_nonzero(graph.pair_is_mixed))
    debris = debris_faces(mesh)
    ends = mesh.vertices[graph.border_sides]
    size = mesh.bounds[1] - mesh.bounds[0]
    counts = {
        "pieces": int(graph.piece_of_face.max(initial=-1)) + 1,
        "borders": int(graph.border_of_side.max(initial=-1)) + 1,
        "border_edges": len(graph.border_sides),
        "non_manifold_edges": len(graph.non_manifold_edges),
        "degenerate_faces": int(np.count_nonzero(degenerate_faces(mesh))),
        "duplicate_faces": int(np.count_nonzero(duplicate_faces(mesh))),
        "mixed_winding_edges": mixed,
        "inward_pieces": int(np.count_nonzero(shells.inward)),
        "debris_pieces": len(np.unique(graph.piece_of_face[debris])),
        "debris_triangles": int(np.count_nonzero(debris)),
    }
    return HealthReport(
        triangles=len(mesh),
        vertices=int(np.count_nonzero(np.bincount(mesh.faces.ravel()))) if len(mesh) else 0,
        **counts,
        border_length_mm=float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()),
        closed=closed,
        size_mm=(float(size[0]), float(size[1]), float(size[2])),
        area_mm2=mesh.area_mm2,
        volume_mm3=mesh.volume_mm3 if closed and not mixed else None,
        problems=_problems(counts, shells),
    )


def degenerate_faces(mesh: TriangleMesh) -> BoolArray:
    """Return which faces have no area, (m,): a vertex twice, or three corners on a line."""
    corners = mesh.triangles
    longest_square = np.zeros(len(mesh))
    for k in range(3):
        side = corners[:, (k + 1) % 3] - corners[:, k]
        np.maximum(longest_square, np.einsum("ij,ij->i", side, side), out=longest_square)
    flat: BoolArray = 2.0 * mesh.face_areas <= DEGENERATE_HEIGHT_RATIO * longest_square
    return flat


def duplicate_faces(mesh: TriangleMesh) -> BoolArray:
    """Return which faces repeat the vertices of an earlier face, (m,)."""
    groups = _groups_of_same_corners(mesh.faces)
    repeats = np.ones(len(mesh), dtype=bool)
    repeats[groups.first] = False
    return repeats


def _groups_of_same_corners(faces: IntArray) -> Groups:
    rows: KeyArray = np.sort(faces, axis=1).astype(np.uint64)
    return group_rows(rows)


def debris_faces(mesh: TriangleMesh) -> BoolArray:
    """Return which faces belong to debris, (m,); see ``DEBRIS_AREA_SHARE``."""
    if not len(mesh):
        return np.zeros(0, dtype=bool)
    piece = mesh.graph.piece_of_face
    area = np.bincount(piece, weights=mesh.face_areas)
    is_debris: BoolArray = area < DEBRIS_AREA_SHARE * area.max()
    return is_debris[piece]


def _problems(counts: dict[str, int], shells: Shells) -> tuple[str, ...]:
    words = {
        "non_manifold_edges": "{:,} edges with more than two faces.",
        "degenerate_faces": "{:,} faces without area.",
        "duplicate_faces": "{:,} duplicate faces.",
        "mixed_winding_edges": "Mixed winding: {:,} edges whose faces turn opposite ways.",
        "inward_pieces": "{:,} shells turned inside out.",
        "debris_pieces": "{:,} debris pieces.",
    }
    problems = [text.format(counts[key]) for key, text in words.items() if counts[key]]
    one_sided = int(np.count_nonzero(shells.one_sided))
    if one_sided:
        problems.append(f"{one_sided:,} shells with only one side, like a Möbius band.")
    return tuple(problems)
