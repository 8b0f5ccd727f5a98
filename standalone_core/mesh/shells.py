"""Shells of a mesh: which faces turn the same way, and which way is out.

A shell is what hangs together through edges with exactly two faces. Its faces can be turned to
one sense, unless it has a single side like a Möbius band. Which sense is outward follows from
the enclosed volume, where there is one; the winding of an open surface is believed, since only
whoever made it knows from which side it was seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .graph import components

if TYPE_CHECKING:
    from .triangle_mesh import TriangleMesh

# A shell counts as closed for its orientation up to this share of openings in its area: a scan
# with holes does, an outer shell of a crown without its inner surface (about a quarter) does not.
MAX_OPENING_SHARE = 0.1
# Below this |volume| / area^1.5 a shell is too flat to have an inside (a sphere has 0.094).
MIN_FULLNESS = 1e-6
# How many shells that look inside out are tested for being the wall of a void in another.
MAX_VOIDS_TESTED = 32


@dataclass(frozen=True, eq=False)
class Shells:
    """Orientation of the s shells of a mesh.

    Attributes
    ----------
    shell_of_face : (m,) int
    turned : (m,) bool
        Faces to turn round for each shell to have one sense: the parts of less area.
    one_sided : (s,) bool
        No such sense exists.
    opening_share : (s,) float
        Area of flat caps on the openings over the area of the shell; 0 when closed.
    volume_mm3 : (s,) float
        Signed volume after turning ``turned``, openings capped.
    inward : (s,) bool
        Then still inside out: closed or nearly so, negative volume, and no void of another.
    """

    shell_of_face: IntArray
    turned: BoolArray
    one_sided: BoolArray
    opening_share: FloatArray
    volume_mm3: FloatArray
    inward: BoolArray


def find_shells(mesh: TriangleMesh) -> Shells:
    """Find the shells of a mesh and how they are turned; ``mesh.shells`` keeps it. O(m log m)."""
    if mesh.graph.pair_is_mixed.any():
        shell, turned, one_sided = _unify_winding(mesh)
    else:
        shell = _renumbered(components(mesh.graph.face_pairs, len(mesh)))
        turned = np.zeros(len(mesh), dtype=bool)
        one_sided = np.zeros(int(shell.max(initial=-1)) + 1, dtype=bool)
    volume, opening_share = _capped_volumes(mesh, shell, turned, len(one_sided))
    area = np.bincount(shell, weights=mesh.face_areas, minlength=len(one_sided))
    inward = (
        (volume < -MIN_FULLNESS * area**1.5) & (opening_share <= MAX_OPENING_SHARE) & ~one_sided
    )
    inward &= ~_voids(mesh, shell, volume, inward)
    return Shells(shell, turned, one_sided, opening_share, volume, inward)


def _renumbered(labels: IntArray) -> IntArray:
    return np.unique(labels, return_inverse=True)[1].astype(np.int64)


def _unify_winding(mesh: TriangleMesh) -> tuple[IntArray, BoolArray, BoolArray]:
    """Return shells, faces to turn, and shells with one side.

    Every face is taken twice, as it is and turned round. Neighbours of equal sense join like
    with like, others crosswise. The connected components then come in pairs, the two ways to
    turn a shell; a shell with one side makes a single one.
    """
    count, pairs, mixed = len(mesh), mesh.graph.face_pairs, mesh.graph.pair_is_mixed
    same, crossed = pairs[~mixed], pairs[mixed]
    shift = np.array([0, count])
    crosswise = [crossed + shift, crossed + shift[::-1]]
    label = components(np.concatenate([same, same + count, *crosswise]), 2 * count)
    as_is, reversed_ = label[:count], label[count:]
    shell = _renumbered(np.minimum(as_is, reversed_))
    in_second = as_is > reversed_
    area = mesh.face_areas
    surplus = np.bincount(shell, weights=np.where(in_second, area, -area))
    one_sided = np.zeros(len(surplus), dtype=bool)
    one_sided[shell[as_is == reversed_]] = True
    turned = in_second != (surplus > 0)[shell]
    turned &= ~one_sided[shell]
    return shell, turned, one_sided


def _capped_volumes(
    mesh: TriangleMesh, shell: IntArray, turned: BoolArray, count: int
) -> tuple[FloatArray, FloatArray]:
    """Return signed volume and share of openings of each shell, (count,).

    Divergence theorem: Σ a·(b×c)/6 over the faces, and over a fan of triangles from the middle
    of each opening to its border.
    """
    sign = np.where(turned, -1.0, 1.0)
    origin = mesh.bounds.mean(axis=0)
    height = mesh.vertices[mesh.faces[:, 0]] - origin
    sixfold = np.einsum("ij,ij->i", height, mesh.face_cross)
    volume = np.bincount(shell, weights=sign * sixfold, minlength=count)
    sides = _open_sides(mesh, shell, sign)
    share = np.zeros(count)
    if len(sides):
        face = mesh.graph.sides[sides] // 3
        ends = mesh.vertices[_ends(mesh, sides)] - origin
        ends[turned[face]] = ends[turned[face]][:, ::-1]
        middle = _middles_of_openings(mesh, sides, shell[face], ends)
        normal = np.cross(ends[:, 0] - ends[:, 1], middle - ends[:, 1])
        sixfold = np.einsum("ij,ij->i", middle, normal)
        volume += np.bincount(shell[face], weights=sixfold, minlength=count)
        cap_area = 0.5 * np.linalg.norm(normal, axis=1)
        area = np.bincount(shell, weights=mesh.face_areas, minlength=count)
        opening = np.bincount(shell[face], weights=cap_area, minlength=count)
        share = np.divide(opening, area, out=np.full(count, np.inf), where=area > 0)
    return volume / 6.0, share


def _ends(mesh: TriangleMesh, sides: IntArray) -> IntArray:
    """Start and end vertex of sides, (k, 2)."""
    return np.stack([mesh.graph.side_starts[sides], mesh.graph.side_ends[sides]], axis=1)


def _open_sides(mesh: TriangleMesh, shell: IntArray, sign: FloatArray) -> IntArray:
    """Return the sides where shells end, as indices into the graph's sides.

    At an edge of more than two faces a shell that passes through cancels itself out.
    """
    graph = mesh.graph
    side, edge = graph.other_sides
    face = graph.sides[side] // 3
    forward = graph.side_starts[side] < graph.side_ends[side]
    place = _renumbered(shell[face] * len(graph.edges) + edge)
    balance = np.bincount(place, weights=np.where(forward, sign[face], -sign[face]))
    return side[balance[place] != 0] if len(side) else side


def _middles_of_openings(
    mesh: TriangleMesh, sides: IntArray, shell: IntArray, ends: FloatArray
) -> FloatArray:
    """Return for each open side the middle of its opening, (k, 3), weighted by length."""
    vertex = _ends(mesh, sides)
    node = _renumbered((shell[:, None] * len(mesh.vertices) + vertex).ravel()).reshape(-1, 2)
    opening = _renumbered(components(node, int(node.max()) + 1)[node[:, 0]])
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) + np.finfo(float).tiny
    total = np.bincount(opening, weights=length)
    middle = np.empty((len(sides), 3))
    for axis in range(3):
        moment = np.bincount(opening, weights=length * ends[:, :, axis].mean(axis=1))
        middle[:, axis] = (moment / total)[opening]
    return middle


def _voids(mesh: TriangleMesh, shell: IntArray, volume: FloatArray, inward: BoolArray) -> BoolArray:
    """Return which inward shells bound a void inside a larger outward one, (s,)."""
    voids = np.zeros(len(volume), dtype=bool)
    candidates = np.flatnonzero(inward)
    if not len(candidates) or not (volume > 0).any():
        return voids
    body = int(np.argmax(volume))
    faces = mesh.triangles[shell == body]
    for candidate in candidates[np.argsort(volume[candidates])][:MAX_VOIDS_TESTED]:
        if -volume[candidate] < volume[body]:
            point = mesh.triangles[np.argmax(shell == candidate)].mean(axis=0)
            voids[candidate] = abs(_winding_number(point, faces)) > 0.5
    return voids


def _winding_number(point: FloatArray, triangles: FloatArray) -> float:
    """Sum of signed solid angles over 4π: 1 inside a closed outward surface, 0 outside.

    Formula of Van Oosterom & Strackee (1983), IEEE Trans. Biomed. Eng. 30(2).
    """
    a, b, c = (triangles[:, k] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(corner, axis=1) for corner in (a, b, c))
    numerator = np.einsum("ij,ij->i", a, np.cross(b, c))
    denominator = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", b, c) * la
        + np.einsum("ij,ij->i", c, a) * lb
    )
    return float(np.arctan2(numerator, denominator).sum() / (2.0 * np.pi))
