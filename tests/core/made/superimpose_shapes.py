"""Shapes and poses shared by the tests of superimposition."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.rigid import apply, motion
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.crowns import demo_crown
from scipy.spatial.transform import Rotation


def from_trimesh(mesh: trimesh.Trimesh, name: str = "mesh") -> TriangleMesh:
    return TriangleMesh(mesh.vertices, mesh.faces, name)


def real_mesh(path: Path) -> TriangleMesh:
    loaded = trimesh.load(path, process=True, force="mesh")
    loaded.merge_vertices(merge_tex=True, merge_norm=True)
    return from_trimesh(loaded, path.name)


def prepared(mesh: TriangleMesh) -> PreparedDesign:
    return PreparedDesign(SurfaceIndex(mesh))


def random_poses(count: int, seed: int = 0, reach_mm: float = 50.0) -> list[np.ndarray]:
    rng = np.random.default_rng(seed)
    turns = Rotation.random(count, random_state=rng).as_matrix()
    return [motion(turn, rng.uniform(-reach_mm, reach_mm, 3)) for turn in turns]


def return_error_um(found: np.ndarray, moved_by: np.ndarray, mesh: TriangleMesh) -> float:
    """Root mean square distance of the vertices from where they came from, µm."""
    back = apply(found @ moved_by, mesh.vertices) - mesh.vertices
    return float(1000.0 * np.sqrt((back**2).sum(axis=1).mean()))


def parts_of_demo_crown(edge_mm: float) -> dict[str, TriangleMesh]:
    """The crown whole, without intaglio, and with a fifth of its area missing on one side."""
    crown = demo_crown(edge_mm)
    mesh = crown.mesh
    intaglio = (crown.s < 0.0)[mesh.faces].any(axis=1)
    across = mesh.triangles.mean(axis=1) @ [1.0, 0.3, 0.2]
    order = np.argsort(across)
    reached = np.cumsum(mesh.face_areas[order]) / mesh.area_mm2
    kept = np.zeros(len(mesh.faces), dtype=bool)
    kept[order[reached < 0.8]] = True
    return {
        "whole": mesh,
        "no intaglio": mesh.kept(~intaglio),
        "a fifth missing": mesh.kept(kept),
    }


def with_form_error(
    mesh: TriangleMesh, rng: np.random.Generator, form_mm: float, noise_mm: float
) -> TriangleMesh:
    """The mesh with a smooth deviation along its normals and noise; made for the tests."""
    waves, phases = rng.normal(size=(6, 3)) * 0.6, rng.uniform(0.0, 6.0, 6)
    smooth = np.sin(mesh.vertices @ waves.T + phases).sum(axis=1) / np.sqrt(3.0)
    off = form_mm * smooth + noise_mm * rng.normal(size=len(smooth))
    return TriangleMesh(mesh.vertices + mesh.vertex_normals * off[:, None], mesh.faces)


def flat_sheet(half_mm: float, cells: int) -> TriangleMesh:
    """A square of the plane z = 0 around the origin, facing up."""
    line = np.linspace(-half_mm, half_mm, cells + 1)
    x, y = np.meshgrid(line, line, indexing="ij")
    index = np.arange((cells + 1) ** 2).reshape(cells + 1, cells + 1)
    a, b, c, d = (
        part.ravel() for part in (index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:])
    )
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return TriangleMesh(np.stack([x, y, 0.0 * x], -1).reshape(-1, 3), faces)
