"""Mend what can be mended without guessing, on a copy, and say so."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import MeshError
from .graph import components
from .grouping import group_points
from .health import (
    HealthReport,
    count,
    counted,
    debris_faces,
    degenerate_faces,
    duplicate_faces,
    inspect_mesh,
)
from .layers import DoubleLayer, find_overlaps
from .shells import MAX_OPENING_SHARE
from .triangle_mesh import BoolArray, TriangleMesh


@dataclass(frozen=True, eq=False)
class Repair:
    """A mended mesh.

    Attributes
    ----------
    mesh : TriangleMesh
        The very mesh that was given where nothing had to be done.
    actions : tuple of str
        What was done, in words.
    health : HealthReport
        Of the mesh before.
    warnings : tuple of str
        What could not be mended or decided.
    layers : tuple of DoubleLayer
        Second layers of surface that are still there.
    """

    mesh: TriangleMesh
    actions: tuple[str, ...]
    health: HealthReport
    warnings: tuple[str, ...]
    layers: tuple[DoubleLayer, ...] = ()


def repair_mesh(mesh: TriangleMesh, *, ignore_loose_pieces: bool = False) -> Repair:
    """Merge equal vertices, drop useless faces, turn faces to one outward sense.

    - Faces that name a vertex twice and repeats of a face are dropped. Faces with three corners
      on a line are dropped where that opens no edge; elsewhere they seal the surface and stay.
    - In each shell the faces are turned the way the larger part of its area is. Shells that
      are closed, or open by at most ``MAX_OPENING_SHARE`` of their area, are turned outward by
      their volume, unless they are the wall of a void. Other open shells keep their winding.
    - Debris is dropped on request only.

    Parameters
    ----------
    mesh : TriangleMesh
    ignore_loose_pieces : bool
        Drop the pieces that ``inspect_mesh`` counts as debris.

    Returns
    -------
    Repair
        The mended mesh, with what was done and what could not be.

    Raises
    ------
    MeshError
        No triangle with an area is left.

    Examples
    --------
    A tetrahedron, one face of which looks inward:

    >>> import cuspwise
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> faces = [[0, 1, 2], [0, 1, 3], [1, 2, 3], [0, 3, 2]]
    >>> cuspwise.repair_mesh(cuspwise.TriangleMesh(corners, faces)).actions
    ('Mixed winding: turned 1 face to the sense of the larger area beside them.',)
    """
    health = inspect_mesh(mesh)
    actions: list[str] = []
    mended = _merged(mesh, actions)
    if health.degenerate_faces or health.duplicate_faces or mended is not mesh:
        mended = _without_useless_faces(mended, actions)
    if ignore_loose_pieces and health.debris_pieces:
        debris = debris_faces(mended)
        pieces = counted(health.debris_pieces, "debris piece", "debris pieces")
        actions.append(f"Dropped {pieces}.")
        mended = mended.kept(~debris)
    mended = _turned(mended, actions)
    if not mended.area_mm2 > 0:
        raise MeshError(
            "It has no triangle with an area.",
            subject=mesh.name,
            remedy="Export it again as a surface mesh.",
        )
    overlaps = health.overlaps if mended is mesh else find_overlaps(mended)
    warnings = (*_warnings(mended, health, ignore_loose_pieces), *overlaps.words)
    return Repair(mended, tuple(actions), health, warnings, overlaps.layers)


def _merged(mesh: TriangleMesh, actions: list[str]) -> TriangleMesh:
    """Merge exactly equal vertices and leave out those that no face uses."""
    groups = group_points(mesh.vertices)
    merged, unused = len(groups.order) - len(groups.starts), ~mesh.used_vertices
    if merged:
        first, label = groups.by_appearance()
        mesh = TriangleMesh(mesh.vertices[first], label[mesh.faces], mesh.name)
        actions.append(f"Merged {counted(merged, 'vertex', 'vertices')} into equal ones.")
    if unused.any():
        mesh = mesh.kept(np.ones(len(mesh), dtype=bool))
        left_out = counted(count(unused), "vertex", "vertices")
        actions.append(f"Left out {left_out} without faces.")
    return mesh


def _without_useless_faces(mesh: TriangleMesh, actions: list[str]) -> TriangleMesh:
    repeats = duplicate_faces(mesh)
    flat = degenerate_faces(mesh)
    dropped = flat & ~repeats & (mesh.graph.collapsed | ~_seals(mesh, flat | repeats))
    if dropped.any():
        without_area = counted(count(dropped), "face", "faces")
        actions.append(f"Dropped {without_area} without area.")
    if repeats.any():
        duplicates = counted(count(repeats), "duplicate face", "duplicate faces")
        actions.append(f"Dropped {duplicates}.")
    useless = dropped | repeats
    return mesh.kept(~useless) if useless.any() else mesh


def _seals(mesh: TriangleMesh, doubtful: BoolArray) -> BoolArray:
    """Return which faces are the only partner of a sound face along an edge, (m,).

    Their whole connected patch of doubtful faces then stays: without it a crack would open.
    """
    seals = np.zeros(len(mesh), dtype=bool)
    pairs = mesh.graph.face_pairs
    one_doubtful = doubtful[pairs[:, 0]] != doubtful[pairs[:, 1]]
    beside = pairs[one_doubtful]
    seals[beside[doubtful[beside]]] = True
    both = pairs[doubtful[pairs].all(axis=1)]
    if len(both):
        patch = components(both, len(mesh))
        is_seal = np.zeros(len(mesh), dtype=bool)
        is_seal[patch[seals]] = True
        seals |= is_seal[patch]
    return seals


def _turned(mesh: TriangleMesh, actions: list[str]) -> TriangleMesh:
    """Turn faces so that every shell has one sense, outward where that is known."""
    shells = mesh.shells
    inward = shells.inward[shells.shell_of_face]
    turn = shells.turned ^ inward
    if shells.turned.any():
        turned = counted(count(shells.turned), "face", "faces")
        actions.append(
            f"Mixed winding: turned {turned} to the sense of the larger area beside them."
        )
    if inward.any():
        turned = counted(count(shells.inward), "shell that was", "shells that were")
        actions.append(f"Turned {turned} inside out.")
    if not turn.any():
        return mesh
    faces = np.where(turn[:, None], mesh.faces[:, ::-1], mesh.faces)
    return TriangleMesh(mesh.vertices, faces, mesh.name)


def _warnings(
    mended: TriangleMesh, health: HealthReport, ignore_loose_pieces: bool
) -> tuple[str, ...]:
    warnings = []
    if health.debris_pieces and not ignore_loose_pieces:
        pieces = counted(health.debris_pieces, "debris piece", "debris pieces")
        warnings.append(f"Kept {pieces} with {health.debris_triangles:,} triangles.")
    non_manifold = len(mended.graph.non_manifold_edges)
    if non_manifold:
        warnings.append(f"{counted(non_manifold, 'edge has', 'edges have')} more than two faces.")
    flat = count(degenerate_faces(mended))
    if flat:
        warnings.append(f"Kept {counted(flat, 'face', 'faces')} without area that seal a crack.")
    shells = mended.shells
    if shells.one_sided.any():
        warnings.append("A part has only one side, like a Möbius band; it has no outward sense.")
    area = np.bincount(shells.shell_of_face, weights=mended.face_areas)
    largest = int(np.argmax(area))
    if shells.opening_share[largest] > MAX_OPENING_SHARE and shells.volume_mm3[largest] < 0:
        warnings.append(
            "It is open and its faces look into its hollow. That is right for an inner surface; "
            "otherwise turn it round."
        )
    return tuple(warnings)
