"""Intaglios and dies whose gaps and margins are known by formula; mm, path of insertion along z."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from cuspwise.standalone_core.areas.area_set import Area, AreaSet, AreaSettings, MarginLine
from cuspwise.standalone_core.fit.crown import FitCrown, crown_of_areas
from cuspwise.standalone_core.fit.die import FitDie
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex

AXIS = np.array([0.0, 0.0, 1.0])
SETTINGS = AreaSettings(
    insertion=(0.0, 0.0, 1.0), mesial_direction=(1.0, 0.0, 0.0), buccal_direction=(0.0, 1.0, 0.0)
)


def around(radius_mm: np.ndarray | float, z_mm: np.ndarray | float, count: int) -> np.ndarray:
    """Points (count, 3) at even angles from 0."""
    theta = angles(count)
    r, z = np.broadcast_to(radius_mm, theta.shape), np.broadcast_to(z_mm, theta.shape)
    return np.stack([r * np.cos(theta), r * np.sin(theta), z], axis=1)


def angles(count: int) -> np.ndarray:
    """Even angles from 0, radians."""
    return 2.0 * np.pi * np.arange(count) / count


def band(rows: list[tuple[float, float]], sides: int, name: str = "band") -> TriangleMesh:
    """Open surface of revolution of a profile (r, z) from below upwards; its normals point out."""
    points = np.concatenate([around(r, z, sides) for r, z in rows])
    j, k = np.arange(sides), (np.arange(sides) + 1) % sides
    faces = []
    for p in range(0, (len(rows) - 1) * sides, sides):
        q = p + sides
        faces += [np.stack([p + j, p + k, q + k], 1), np.stack([p + j, q + k, q + j], 1)]
    return TriangleMesh(points, np.concatenate(faces), name)


def intaglio_crown(
    mesh: TriangleMesh, margin_mm: np.ndarray, settings: AreaSettings = SETTINGS
) -> FitCrown:
    """A crown that is an intaglio and nothing else, its normals towards the die."""
    evaluation = evaluation_mesh(mesh, 9.0)
    areas = {"intaglio": Area("intaglio", np.ones(len(evaluation.points), dtype=bool))}
    return crown_of_areas(
        AreaSet(evaluation, areas, MarginLine(margin_mm), AXIS.copy(), settings=settings), threads=1
    )


def with_edge(crown: FitCrown, points_mm: np.ndarray, closed: bool = True) -> FitCrown:
    """A crown with another edge."""
    line = MarginLine(points_mm, closed)
    return replace(crown, area_set=replace(crown.area_set, margin_line=line))


def die_of(mesh: TriangleMesh, finish_mm: np.ndarray | None = None, closed: bool = True) -> FitDie:
    """A die, perhaps with a finish line."""
    line = None if finish_mm is None else MarginLine(finish_mm, closed)
    return FitDie(mesh, SurfaceIndex(mesh, threads=1), AXIS.copy(), line)


def flat_die(finish_mm: np.ndarray, closed: bool = True, half_mm: float = 6.0) -> FitDie:
    """A square of the plane z = 0, on which any finish line can be drawn."""
    corners = half_mm * np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0.0]])
    return die_of(TriangleMesh(corners, [[0, 1, 2], [0, 2, 3]], "flat"), finish_mm, closed)


def any_crown(edge_mm: np.ndarray, closed: bool = True) -> FitCrown:
    """A crown of which only its edge matters."""
    return with_edge(intaglio_crown(ROOF, ROOF.vertices[:3]), edge_mm, closed)


ROOF = TriangleMesh([[1, 0, 1], [0, 1, 1], [-1, -1, 1.0]], [[0, 2, 1]], "roof")
