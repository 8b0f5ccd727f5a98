"""Scans with surface that a design does not have, made from the demo crown."""

from __future__ import annotations

from functools import cache

import numpy as np
from cuspwise.standalone_core.demo.crown import DemoCrown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise, Wave
from cuspwise.standalone_core.mesh.triangle_mesh import BoolArray, FloatArray, TriangleMesh
from made.crowns import demo_crown
from scipy.spatial import cKDTree

EDGE_MM = 0.2


@cache
def design() -> DemoCrown:
    return demo_crown(EDGE_MM)


@cache
def sound_scan(seed: int = 1, noise_um: float = 2.0, edge_mm: float = EDGE_MM) -> TriangleMesh:
    """A crown produced with a form error of 6 µm, where the design lies."""
    errors = ProductionErrors(
        waves=(Wave((0.2, 0.5, 1.0), 9.0, 6.0, 75.0),),
        noise=ScannerNoise(noise_um),
        any_pose=False,
    )
    rng = np.random.default_rng(seed)
    return produce(design(), errors, edge_mm=edge_mm, rng=rng).mesh


def with_flash(mesh: TriangleMesh, height_mm: float, share: float) -> TriangleMesh:
    """Draw a share of the rim out to a knife edge, down and away from the crown's axis.

    The tips stand ``height_mm`` from the margin line, less what the rim itself is off it.
    """
    crown = design()
    line = crown.margin_line_mm
    away, at = cKDTree(line).query(mesh.vertices)
    drawn = (away < 0.55 * EDGE_MM) & (at < share * len(line))
    arm = line[at[drawn]] - line.mean(axis=0)
    out = _unit(_unit(arm - np.outer(arm @ crown.insertion, crown.insertion)) - crown.insertion)
    vertices = mesh.vertices.copy()
    vertices[drawn] = line[at[drawn]] + height_mm * out
    return TriangleMesh(vertices, mesh.faces, mesh.name)


def with_short_margin(mesh: TriangleMesh, short_mm: float, share: float) -> TriangleMesh:
    """Cut a share of the rim flat across the path of insertion, so far above the margin line."""
    crown = design()
    away, at = cKDTree(crown.margin_line_mm).query(mesh.vertices)
    above = (mesh.vertices - crown.margin_line_mm[at]) @ crown.insertion
    cut = (at < share * len(crown.margin_line_mm)) & (away < 3 * short_mm) & (above < short_mm)
    vertices = mesh.vertices.copy()
    vertices[cut] += np.outer(short_mm - above[cut], crown.insertion)
    return TriangleMesh(vertices, mesh.faces, mesh.name)


def with_hole(mesh: TriangleMesh, at: FloatArray, radius_mm: float) -> TriangleMesh:
    """Leave out all faces that come nearer to a place than a radius."""
    away = np.linalg.norm(mesh.vertices - at, axis=1)
    return mesh.kept((away > radius_mm)[mesh.faces].all(axis=1))


def with_layer(mesh: TriangleMesh, apart_mm: float, where: BoolArray | None = None) -> TriangleMesh:
    """Add a second sheet outside the first, everywhere or over some vertices."""
    faces = mesh.faces if where is None else mesh.faces[where[mesh.faces].all(axis=1)]
    return joined(mesh, TriangleMesh(mesh.vertices + apart_mm * mesh.vertex_normals, faces))


def with_stub(
    mesh: TriangleMesh, at: FloatArray, along: FloatArray, height_mm: float, radius_mm: float
) -> TriangleMesh:
    """Draw the vertices around a place out along a direction to a post."""
    drawn = np.linalg.norm(mesh.vertices - at, axis=1) < radius_mm
    vertices = mesh.vertices.copy()
    vertices[drawn] += height_mm * _unit(along)
    return TriangleMesh(vertices, mesh.faces, mesh.name)


def joined(*meshes: TriangleMesh) -> TriangleMesh:
    """Put meshes into one, each with vertices of its own."""
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return TriangleMesh(
        np.vstack([mesh.vertices for mesh in meshes]),
        np.vstack([mesh.faces + start for mesh, start in zip(meshes, starts[:-1], strict=True)]),
        meshes[0].name,
    )


def _unit(vectors: FloatArray) -> FloatArray:
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
