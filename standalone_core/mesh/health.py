"""What is right and wrong with a mesh, in numbers and in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray
from .grouping import group_triples
from .layers import DoubleLayer, Overlaps, PieceOverlap, find_overlaps
from .shells import Shells
from .triangle_mesh import TriangleMesh

# A face with less than this share of the squared longest side of the mesh has no area to speak
# of: 1e-10 mm² on a crown of 10 mm, where the rounding of float32 coordinates decides its normal.
DEGENERATE_AREA_SHARE = 1e-12
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
    double_layers : tuple of DoubleLayer
        Where a second sheet of surface lies close over the first, largest first.
    overlapping_pieces : tuple of PieceOverlap
        Pairs of closed pieces that take up the same space, largest first.
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
    double_layers: tuple[DoubleLayer, ...] = ()
    overlapping_pieces: tuple[PieceOverlap, ...] = ()
    problems: tuple[str, ...] = ()

    @property
    def overlaps(self) -> Overlaps:
        """Surface that lies over surface."""
        return Overlaps(self.double_layers, self.overlapping_pieces)


def inspect_mesh(mesh: TriangleMesh) -> HealthReport:
    """Examine a mesh; nothing is changed. O(m log m).

    Parameters
    ----------
    mesh : TriangleMesh
        With m faces.

    Returns
    -------
    HealthReport
        Counts, sizes in mm, mm² and mm³, and what is wrong in words.

    Examples
    --------
    >>> from cuspwise import TriangleMesh, inspect_mesh
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> report = inspect_mesh(TriangleMesh(corners, [[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]))
    >>> report.closed, report.pieces, round(report.volume_mm3, 6)
    (True, 1, 0.166667)
    """
    graph = mesh.graph
    shells = mesh.shells
    closed = bool(len(mesh)) and not len(graph.border_sides)
    mixed = count(graph.pair_is_mixed)
    debris = debris_faces(mesh)
    overlaps = find_overlaps(mesh, ~(shells.turned ^ shells.inward[shells.shell_of_face]))
    ends = mesh.vertices[graph.border_sides]
    size = mesh.bounds[1] - mesh.bounds[0]
    counts = {
        "pieces": int(graph.piece_of_face.max(initial=-1)) + 1,
        "borders": int(graph.border_of_side.max(initial=-1)) + 1,
        "border_edges": len(graph.border_sides),
        "non_manifold_edges": len(graph.non_manifold_edges),
        "degenerate_faces": count(degenerate_faces(mesh)),
        "duplicate_faces": count(duplicate_faces(mesh)),
        "mixed_winding_edges": mixed,
        "inward_pieces": count(shells.inward),
        "debris_pieces": len(np.unique(graph.piece_of_face[debris])),
        "debris_triangles": count(debris),
    }
    overlap_counts = {
        "double_layers": len(overlaps.layers),
        "overlapping_pieces": len(overlaps.pieces),
    }
    return HealthReport(
        triangles=len(mesh),
        vertices=count(mesh.used_vertices),
        **counts,
        border_length_mm=float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()),
        closed=closed,
        size_mm=(float(size[0]), float(size[1]), float(size[2])),
        area_mm2=mesh.area_mm2,
        volume_mm3=mesh.volume_mm3 if closed and not mixed else None,
        double_layers=overlaps.layers,
        overlapping_pieces=overlaps.pieces,
        problems=_problems(counts | overlap_counts, shells),
    )


def degenerate_faces(mesh: TriangleMesh) -> BoolArray:
    """Return which faces have no area to speak of, (m,); see ``DEGENERATE_AREA_SHARE``."""
    longest_side = float((mesh.bounds[1] - mesh.bounds[0]).max())
    tiny: BoolArray = mesh.face_areas <= DEGENERATE_AREA_SHARE * longest_side**2
    return tiny


def duplicate_faces(mesh: TriangleMesh) -> BoolArray:
    """Return which faces repeat the three vertices of an earlier face, (m,)."""
    a, b, c = mesh.faces.T
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    rows = np.stack([low, a + b + c - low - high, high], axis=1)
    repeats = ~mesh.graph.collapsed
    repeats[group_triples(rows).first] = False
    return repeats


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
        "non_manifold_edges": ("edge with more than two faces", "edges with more than two faces"),
        "degenerate_faces": ("face without area", "faces without area"),
        "duplicate_faces": ("duplicate face", "duplicate faces"),
        "mixed_winding_edges": (
            "edge whose two faces turn opposite ways (mixed winding)",
            "edges whose two faces turn opposite ways (mixed winding)",
        ),
        "inward_pieces": ("shell turned inside out", "shells turned inside out"),
        "debris_pieces": ("debris piece", "debris pieces"),
        "double_layers": ("double layer of surface", "double layers of surface"),
        "overlapping_pieces": ("pair of overlapping pieces", "pairs of overlapping pieces"),
    }
    problems = [counted(counts[key], *forms) for key, forms in words.items() if counts[key]]
    one_sided = count(shells.one_sided)
    if one_sided:
        problems.append(counted(one_sided, "part with one side only", "parts with one side only"))
    return tuple(problem + "." for problem in problems)


def count(mask: BoolArray) -> int:
    """Return how many are true."""
    return int(np.count_nonzero(mask))


def counted(number: int, one: str, many: str) -> str:
    """Return a number with its noun: "1 face", "1,200 faces"."""
    return f"{number:,} {one if number == 1 else many}"
