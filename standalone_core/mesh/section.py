"""Cut a triangle surface with many planes, each near one place of a line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from ..arrays import BoolArray, FloatArray, IntArray
    from .triangle_mesh import TriangleMesh

_NEIGHBOURS = 4  # planes on either side of the nearest one that a face is tried with
_ROUNDS = 2  # of the search for the nearest plane


@dataclass(frozen=True, eq=False)
class Sections:
    """The straight pieces in which planes cut the faces of a mesh.

    Attributes
    ----------
    plane : (k,) int
        The plane that each piece lies in.
    ends_mm : (k, 2, 3) float
        Its two ends, each on an edge of the mesh.
    node : (k, 2) int
        A number for each end: two pieces of one plane that meet at an edge share it.
    face : (k,) int
        The face that was cut.
    border : (count of nodes,) bool
        Ends that lie on an open border of the mesh.
    """

    plane: IntArray
    ends_mm: FloatArray
    node: IntArray
    face: IntArray
    border: BoolArray

    def kept(self, pieces: BoolArray) -> Sections:
        """Return the sections with only these pieces; numbers of ends stay."""
        return Sections(
            self.plane[pieces],
            self.ends_mm[pieces],
            self.node[pieces],
            self.face[pieces],
            self.border,
        )

    @property
    def curve(self) -> IntArray:
        """A number for each piece, (k,), the same for all that hang together."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        count = len(self.border)
        links = coo_matrix(
            (np.ones(len(self.node), dtype=np.int8), (self.node[:, 0], self.node[:, 1])),
            shape=(count, count),
        )
        label = connected_components(links, directed=False)[1]
        curve: IntArray = label[self.node[:, 0]].astype(np.int64)
        return curve

    @property
    def loose(self) -> BoolArray:
        """Which ends belong to one piece only, (count of nodes,)."""
        loose: BoolArray = np.bincount(self.node.ravel(), minlength=len(self.border)) == 1
        return loose


def cut_near_places(
    mesh: TriangleMesh,
    places_mm: FloatArray,
    normals: FloatArray,
    *,
    radius_mm: float,
    longest_edge_mm: float,
    closed: bool = True,
) -> Sections:
    """Cut a mesh with a plane through each place, and keep what lies near that place.

    Parameters
    ----------
    mesh : TriangleMesh
    places_mm : (p, 3) float
        Places in order along a line, about evenly spaced.
    normals : (p, 3) float
        Unit normal of each place's plane, roughly along the line.
    radius_mm : float
        Pieces with both ends within this distance of their place are kept.
    longest_edge_mm : float
        No edge of the mesh is longer, as of an evaluation mesh with that spacing; not much more
        than the places are apart.
    closed : bool
        Whether the last place is followed by the first.

    Returns
    -------
    Sections
        Exact to rounding. Where the line bends so sharply that more than eight planes cross one
        face, those far from their own place may miss it.

    Notes
    -----
    O(faces near the line), in time and memory: each face is tried with the few planes about
    the one that its middle lies nearest to.
    """
    faces, nearest = _faces_near(mesh, places_mm, radius_mm + longest_edge_mm)
    face, plane = _pairs(mesh, faces, nearest, places_mm, normals, closed)
    return cut_pairs(mesh, face, plane, places_mm, normals, radius_mm=radius_mm, known=faces)


def cut_pairs(
    mesh: TriangleMesh,
    pair_face: IntArray,
    pair_plane: IntArray,
    places_mm: FloatArray,
    normals: FloatArray,
    *,
    radius_mm: float,
    known: IntArray,
) -> Sections:
    """Cut faces with planes, pair by pair, and keep what lies near each plane's place.

    Parameters
    ----------
    mesh : TriangleMesh
    pair_face, pair_plane : (q,) int
        Faces, and the planes that may cut them; no pair twice.
    places_mm, normals : (p, 3) float
        A place of each plane, and its unit normal.
    radius_mm : float
        Pieces with both ends within this distance of their place are kept.
    known : (f,) int
        The faces that tell whether an edge is a border: those of all pairs, and their neighbours.
    """
    height = _heights(mesh.vertices[mesh.faces[pair_face]], places_mm, normals, pair_plane)
    above = height >= 0.0
    cut = above.any(axis=1) & ~above.all(axis=1)
    face, plane, height, above = pair_face[cut], pair_plane[cut], height[cut], above[cut]
    # The corner alone on its side, and the two edges from it.
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), above.argmin(axis=1))
    corners = mesh.faces[face]
    rows = np.arange(len(face))
    ends, keys = [], []
    for step in (1, 2):
        other = (alone + step) % 3
        pair = np.stack([corners[rows, alone], corners[rows, other]], axis=1)
        at = np.stack([height[rows, alone], height[rows, other]], axis=1)
        ends.append(_crossing(mesh, pair, at))
        keys.append(pair.min(axis=1) * len(mesh.vertices) + pair.max(axis=1))
    ends_mm, edges = np.stack(ends, axis=1), np.stack(keys, axis=1)
    near = np.linalg.norm(ends_mm - places_mm[plane][:, None], axis=2).max(axis=1) <= radius_mm
    face, plane, ends_mm, edges = face[near], plane[near], ends_mm[near], edges[near]
    _, first, node = np.unique(
        plane[:, None] * len(mesh.vertices) ** 2 + edges, return_index=True, return_inverse=True
    )
    border = _is_border(mesh, known, edges.ravel()[first])
    return Sections(plane, ends_mm, node.reshape(edges.shape), face, border)


def _faces_near(
    mesh: TriangleMesh, places: FloatArray, within_mm: float
) -> tuple[IntArray, IntArray]:
    """Faces whose first corner lies within a distance of a place, and the place nearest to it."""
    from scipy.spatial import cKDTree

    low, high = places.min(axis=0) - within_mm, places.max(axis=0) + within_mm
    inside = np.ones(len(mesh.vertices), dtype=bool)
    for axis in range(3):
        coordinate = mesh.vertices[:, axis]
        inside &= (coordinate >= low[axis]) & (coordinate <= high[axis])
    boxed = np.flatnonzero(inside)
    nearest = np.full(len(mesh.vertices), len(places))
    if len(boxed):
        tree = cKDTree(places)
        nearest[boxed] = tree.query(mesh.vertices[boxed], distance_upper_bound=within_mm)[1]
    place = nearest[mesh.faces[:, 0]]
    faces = np.flatnonzero(place < len(places))
    return faces, place[faces]


def _pairs(
    mesh: TriangleMesh,
    faces: IntArray,
    nearest: IntArray,
    places: FloatArray,
    normals: FloatArray,
    closed: bool,
) -> tuple[IntArray, IntArray]:
    """Return faces and planes (both (q,)) that may meet: a face reaches as far as its corners."""
    corners = [mesh.vertices.take(mesh.faces[faces, k], axis=0) for k in range(3)]
    middle = (corners[0] + corners[1] + corners[2]) / 3.0
    arms = [corner - middle for corner in corners]
    reach = np.sqrt(np.max([np.einsum("ij,ij->i", arm, arm) for arm in arms], axis=0))
    count = len(places)
    step = float(np.median(np.linalg.norm(np.diff(places, axis=0), axis=1)))
    levels = np.einsum("ij,ij->i", places, normals)
    for _ in range(_ROUNDS):
        height = _height(middle, nearest, normals, levels)
        jump = np.clip(np.rint(height / step), -_NEIGHBOURS, _NEIGHBOURS).astype(np.int64)
        nearest = nearest + jump
        nearest = nearest % count if closed else np.clip(nearest, 0, count - 1)
    found_faces, found_planes = [], []
    for offset in range(-_NEIGHBOURS, _NEIGHBOURS + 1):
        plane = (nearest + offset) % count
        may = np.abs(_height(middle, plane, normals, levels)) <= reach
        if not closed:
            may &= plane == nearest + offset
        found_faces.append(faces[may])
        found_planes.append(plane[may])
    face, plane = np.concatenate(found_faces), np.concatenate(found_planes)
    if count <= 2 * _NEIGHBOURS:  # so few planes that the same one was tried twice
        face, plane = np.unique(np.stack([face, plane]), axis=1)
    return face, plane


def _height(
    points: FloatArray, plane: IntArray, normals: FloatArray, levels: FloatArray
) -> FloatArray:
    """Height of points (q, 3) above their planes, (q,)."""
    height: FloatArray = np.einsum("ij,ij->i", points, normals.take(plane, axis=0))
    return height - levels.take(plane)


def _heights(
    corners: FloatArray, places: FloatArray, normals: FloatArray, plane: IntArray
) -> FloatArray:
    """Height of corners (q, 3, 3) above their planes, (q, 3)."""
    arms = corners - places[plane][:, None]
    heights: FloatArray = np.einsum("qki,qi->qk", arms, normals[plane])
    return heights


def _crossing(mesh: TriangleMesh, pair: IntArray, height: FloatArray) -> FloatArray:
    """Where edges (q, 2) cross height 0; the same to the last bit from both faces of an edge."""
    swap = pair[:, 0] > pair[:, 1]
    first, second = pair.min(axis=1), pair.max(axis=1)
    here = np.where(swap, height[:, 1], height[:, 0])
    there = np.where(swap, height[:, 0], height[:, 1])
    share = (here / (here - there))[:, None]
    crossing: FloatArray = (1.0 - share) * mesh.vertices[first] + share * mesh.vertices[second]
    return crossing


def _is_border(mesh: TriangleMesh, faces: IntArray, edges: IntArray) -> BoolArray:
    """Whether edges, as first corner times count plus second, have one face only."""
    corners = mesh.faces[faces]
    single = np.zeros(len(edges), dtype=bool)
    if not len(edges):
        return single
    known, number = np.unique(edges, return_inverse=True)
    uses = np.zeros(len(known), dtype=np.int64)
    for k in range(3):
        one, other = corners[:, k], corners[:, (k + 1) % 3]
        keys = np.minimum(one, other) * len(mesh.vertices) + np.maximum(one, other)
        at = np.minimum(np.searchsorted(known, keys), len(known) - 1)
        uses += np.bincount(at[known[at] == keys], minlength=len(known))
    border: BoolArray = uses[number] == 1
    return border
