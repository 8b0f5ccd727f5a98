"""A die from a real tooth, and crowns made from it by an offset, so that the fit is known.

The dentine of a human upper central incisor (micro-CT) stands for a prepared tooth, its cervical
outline for the finish line; both from the shared meshes (GPL-2, see there).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.graph import components
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex

EDGE_MM = 0.03
"""Thickness of a crown's rim."""
SHORT_MM = 0.09
"""Edges of the dentine that are shorter are drawn together."""


@dataclass(frozen=True, eq=False)
class RealDie:
    """The dentine, and the part of it above the outline.

    Attributes
    ----------
    mesh : TriangleMesh
        The whole, closed.
    outline_mm : (k, 3) array
        The cervical outline as published, in order.
    """

    mesh: TriangleMesh
    outline_mm: np.ndarray

    @cached_property
    def axis(self) -> np.ndarray:
        """Square to the outline's best plane, towards the incisal edge."""
        centred = self.outline_mm - self.outline_mm.mean(axis=0)
        normal = np.linalg.svd(centred)[2][2]
        heights = (self.mesh.vertices - self.outline_mm.mean(axis=0)) @ normal
        return normal if heights.max() < -heights.min() else -normal  # the root is longer

    @cached_property
    def height_mm(self) -> np.ndarray:
        """Height of each vertex above the outline at its azimuth, (n,)."""
        angle, height = self._cylindrical(self.outline_mm)
        order = np.argsort(angle)
        turns = [angle[order] + k * 2.0 * np.pi for k in (-1, 0, 1)]
        at, up = self._cylindrical(self.mesh.vertices)
        return up - np.interp(at, np.concatenate(turns), np.tile(height[order], 3))

    def _cylindrical(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        across = np.cross(self.axis, [0.0, 0.0, 1.0])
        across /= np.linalg.norm(across)
        arms = points - self.outline_mm.mean(axis=0)
        return np.arctan2(arms @ np.cross(self.axis, across), arms @ across), arms @ self.axis

    @cached_property
    def prepared(self) -> Prepared:
        """What lies above the outline."""
        return _above(self.mesh, self.height_mm)

    @property
    def finish_line_mm(self) -> np.ndarray:
        """The prepared part's border, in order, (k, 3): on the die's surface exactly."""
        loop = max(self.prepared.mesh.graph.border_loops, key=len)
        return self.prepared.mesh.vertices[loop]

    def space_mm(self, cement_um: float, margin_um: float) -> np.ndarray:
        """Cement space at the prepared part's vertices: the latter up to 0.6 mm, fading by 1.4."""
        t = np.clip((self.prepared.height_mm - 0.6) / 0.8, 0.0, 1.0)
        return 1e-3 * (margin_um + (cement_um - margin_um) * t**2 * (3.0 - 2.0 * t))

    @cached_property
    def blocked_out_mm(self) -> np.ndarray:
        """Way (n, 3) that frees the prepared part's vertices of undercuts.

        A tooth is wider above its neck. As in the laboratory, the inner surface keeps away from
        what would lock it: lifted by any height, no place of it comes to lie in the die.
        """
        part = self.prepared
        smooth = _smoothed(part.mesh, part.normals, 10)
        across = smooth - (smooth @ self.axis)[:, None] * self.axis
        wall = np.flatnonzero(part.normals @ self.axis < 0.95)
        way = across[wall] / np.linalg.norm(across[wall], axis=1, keepdims=True)
        index, points = SurfaceIndex(self.mesh), part.mesh.vertices[wall].copy()
        for height in np.tile(np.arange(0.1, part.height_mm.max(), 0.2), 2):
            lifted = points + height * self.axis
            found = index.closest(lifted, max_distance_mm=1.0, signed=True)
            inside = np.where(found.found, np.maximum(-found.signed_mm, 0.0), 0.0)
            points += inside[:, None] * way
        moved = np.zeros_like(part.mesh.vertices)
        moved[wall] = points - part.mesh.vertices[wall]
        return moved

    def crown(self, cement_um: float, margin_um: float, *, freed: bool) -> TriangleMesh:
        """A closed crown whose inner surface is the prepared part moved outward by the space.

        ``freed`` of undercuts it can be lifted off; otherwise the space is the same everywhere.
        """
        part = self.prepared
        space = self.space_mm(cement_um, margin_um)
        wall = np.minimum(EDGE_MM + 0.5 * part.height_mm, 0.8)
        inner = part.mesh.vertices + space[:, None] * part.normals
        if freed:
            inner = inner + self.blocked_out_mm
        outer = inner + wall[:, None] * _smoothed(part.mesh, part.normals, 40)
        count = len(inner)
        start, end = part.mesh.graph.border_sides.T
        rim = [[start, end, end + count], [start, end + count, start + count]]
        faces = [part.mesh.faces[:, ::-1], part.mesh.faces + count]
        faces += [np.stack(side, axis=1) for side in rim]
        return TriangleMesh(np.concatenate([inner, outer]), np.concatenate(faces), "offset crown")


@dataclass(frozen=True, eq=False)
class Prepared:
    """The part of a die above its finish line; n vertices.

    Attributes
    ----------
    mesh : TriangleMesh
        Open at the finish line.
    normals : (n, 3) array
        Of the whole die there.
    height_mm : (n,) array
        Above the finish line.
    """

    mesh: TriangleMesh
    normals: np.ndarray
    height_mm: np.ndarray


def real_die(shared_meshes: Path) -> RealDie:
    folder = shared_meshes / "crowns"
    dentine = read_mesh(folder / "incisor_dentine.ply").mesh
    outline = np.loadtxt(folder / "incisor_cervical_outline.csv", delimiter=",", skiprows=1)
    return RealDie(_without_short_edges(_filled(dentine), SHORT_MM), outline)


def _filled(mesh: TriangleMesh) -> TriangleMesh:
    """Close each hole, all of them small, with a fan."""
    vertices, faces = [mesh.vertices], [mesh.faces]
    for number, loop in enumerate(mesh.graph.border_loops):
        vertices.append(mesh.vertices[loop].mean(axis=0)[None])
        middle = np.full(len(loop), len(mesh.vertices) + number)
        faces.append(np.stack([np.roll(loop, -1), loop, middle], axis=1))
    return TriangleMesh(np.concatenate(vertices), np.concatenate(faces), "dentine")


def _without_short_edges(mesh: TriangleMesh, least_mm: float) -> TriangleMesh:
    """Draw the ends of short edges together: an offset would turn their triangles over."""
    edges = mesh.graph.edges
    length = np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1)
    group = components(edges[length < least_mm], len(mesh.vertices))
    count = np.bincount(group)
    middle = [np.bincount(group, weights=mesh.vertices[:, k]) / count for k in range(3)]
    faces = group[mesh.faces]
    faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
    return repair_mesh(TriangleMesh(np.stack(middle, axis=1), faces, mesh.name)).mesh


def _above(mesh: TriangleMesh, height: np.ndarray) -> Prepared:
    """The part of a mesh where a height at its vertices is above 0, its triangles cut there."""
    height = np.where(np.abs(height) < 0.02, 0.0, height)  # no slivers
    keys, ends = _crossed(mesh, height)
    share = (height[ends[:, 0]] / (height[ends[:, 0]] - height[ends[:, 1]]))[:, None]
    mixed = [
        (1.0 - share) * v[ends[:, 0]] + share * v[ends[:, 1]]
        for v in (mesh.vertices, mesh.vertex_normals)
    ]
    vertices = np.concatenate([mesh.vertices, mixed[0]])
    normals = np.concatenate([mesh.vertex_normals, mixed[1]])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    count = len(mesh.vertices)

    def cut(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        wanted = np.minimum(a, b) * count + np.maximum(a, b)
        return count + np.searchsorted(keys, wanted)

    faces = []
    sign = np.sign(height)[mesh.faces]
    faces.append(mesh.faces[(sign >= 0).all(axis=1) & (sign > 0).any(axis=1)])
    for k in range(3):
        a, b, c = (np.roll(mesh.faces, -k, axis=1)[:, j] for j in range(3))
        sa, sb, sc = (np.roll(sign, -k, axis=1)[:, j] for j in range(3))
        one = (sa > 0) & (sb < 0) & (sc < 0)
        p, q = cut(a[one], b[one]), cut(a[one], c[one])
        faces.append(np.stack([a[one], p, q], axis=1))
        two = (sa < 0) & (sb > 0) & (sc > 0)
        p, q = cut(a[two], b[two]), cut(a[two], c[two])
        faces.append(np.stack([p, b[two], c[two]], axis=1))
        faces.append(np.stack([p, c[two], q], axis=1))
        through = (sa == 0) & (sb > 0) & (sc < 0)
        p = cut(b[through], c[through])
        faces.append(np.stack([a[through], b[through], p], axis=1))
        through = (sa == 0) & (sb < 0) & (sc > 0)
        p = cut(b[through], c[through])
        faces.append(np.stack([a[through], p, c[through]], axis=1))
    whole = TriangleMesh(vertices, np.concatenate(faces), "prepared")
    used = whole.used_vertices
    heights = np.concatenate([np.maximum(height, 0.0), np.zeros(len(ends))])
    part = whole.kept(np.ones(len(whole.faces), dtype=bool))
    return Prepared(part, normals[used], heights[used])


def _crossed(mesh: TriangleMesh, height: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Edges whose ends lie on either side, (k, 2), in the order of their keys."""
    edges = np.sort(mesh.graph.edges, axis=1)
    crossed = edges[height[edges[:, 0]] * height[edges[:, 1]] < 0.0]
    keys = crossed[:, 0] * len(mesh.vertices) + crossed[:, 1]
    order = np.argsort(keys)
    return keys[order], crossed[order]


def _smoothed(mesh: TriangleMesh, directions: np.ndarray, rounds: int) -> np.ndarray:
    """Unit directions, averaged with those of their neighbours so many times."""
    a, b = mesh.graph.edges.T
    for _ in range(rounds):
        total = directions.copy()
        np.add.at(total, a, directions[b])
        np.add.at(total, b, directions[a])
        directions = total / np.linalg.norm(total, axis=1, keepdims=True)
    return directions
