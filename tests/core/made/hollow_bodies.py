"""Bodies with a hollow, made ready as crowns are, whose walls and contacts follow from formulas."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import trimesh
from cuspwise.standalone_core.areas.area_set import Area, AreaSet, MarginLine
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.arrays import BoolArray, FloatArray
from cuspwise.standalone_core.fit.crown import FitCrown
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex

FAR_FROM_MARGIN_MM = 10.0
"""There is no margin line on these bodies that anything could lie near to."""
DIRECTIONS = AreaSettings(mesial_direction=(1.0, 0.0, 0.0), buccal_direction=(0.0, 1.0, 0.0))


def ready(mesh: TriangleMesh, inner_faces: BoolArray, spacing_mm: float) -> FitCrown:
    """A body as a crown whose intaglio are the given faces, (m,); the path of insertion is z."""
    evaluation = evaluation_mesh(mesh, spacing_mm)
    n = len(evaluation.points)
    intaglio = np.zeros(n, dtype=bool)
    intaglio[evaluation.mesh.faces[inner_faces[evaluation.source_face]]] = True
    turn = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)], axis=1)
    axis = np.array([0.0, 0.0, 1.0])
    area_set = AreaSet(
        evaluation=evaluation,
        areas={"external": Area("external", ~intaglio), "intaglio": Area("intaglio", intaglio)},
        margin_line=MarginLine(ring),
        insertion=axis,
        settings=DIRECTIONS,
    )
    wall = np.abs(evaluation.normals @ axis) <= DIRECTIONS.wall_share
    parts = {"margin": np.zeros(n, bool), "axial": intaglio & wall, "occlusal": intaglio & ~wall}
    return FitCrown(
        area_set=area_set,
        index=SurfaceIndex(evaluation.mesh, threads=1),
        margin_distance_mm=np.full(n, FAR_FROM_MARGIN_MM),
        parts=MappingProxyType(parts),
    )


def hollow(outer: TriangleMesh, inner: TriangleMesh, spacing_mm: float = 0.5) -> FitCrown:
    """A body with a hollow; both meshes turned away from their middles."""
    count = len(outer.vertices)
    mesh = TriangleMesh(
        np.vstack([outer.vertices, inner.vertices]),
        np.vstack([outer.faces, inner.faces[:, ::-1] + count]),
        "hollow body",
    )
    return ready(mesh, np.arange(len(mesh)) >= len(outer), spacing_mm)


def moved(crown: FitCrown, motion: FloatArray) -> FitCrown:
    """A body after a rigid motion (4, 4), point for point."""
    areas = crown.area_set.moved(motion)
    index = SurfaceIndex(areas.evaluation.mesh, threads=1)
    return replace(crown, area_set=areas, index=index)


def sphere(
    radius_mm: float, subdivisions: int = 4, middle: tuple = (0.0, 0.0, 0.0)
) -> TriangleMesh:
    """A facetted sphere with its vertices on it."""
    ball = trimesh.creation.icosphere(subdivisions=subdivisions)
    unit = ball.vertices / np.linalg.norm(ball.vertices, axis=1, keepdims=True)
    return TriangleMesh(radius_mm * unit + middle, ball.faces, "sphere")


def inner_radius(ball: TriangleMesh) -> float:
    """Radius of the largest sphere about the origin inside a convex body around it."""
    return float(np.einsum("ij,ij->i", ball.triangles[:, 0], ball.face_normals).min())


def box(size: tuple, middle: tuple = (0.0, 0.0, 0.0)) -> TriangleMesh:
    """A box of twelve triangles."""
    made = trimesh.creation.box(extents=size)
    return TriangleMesh(made.vertices + middle, made.faces, "box")


def joined(*meshes: TriangleMesh) -> TriangleMesh:
    """Several meshes as one."""
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return TriangleMesh(
        np.vstack([mesh.vertices for mesh in meshes]),
        np.vstack([mesh.faces + start for mesh, start in zip(meshes, starts, strict=False)]),
    )
