"""Rims of revolution with margin errors by formula, and the profiles measured on them.

The rim is the lowest part of a crown: an external wall that flares outward from the margin and an
intaglio that rises inward. It is 30 mm around, and turned about z.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from cuspwise.standalone_core.areas.area_set import Area, AreaSet, AreaSettings, MarginLine
from cuspwise.standalone_core.deviation.field import measure_deviation
from cuspwise.standalone_core.deviation.margin_profile import (
    MarginProfile,
    MarginProfileSettings,
    margin_profile,
)
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex

RADIUS_MM = 30.0 / (2.0 * np.pi)
FLARE = 0.2  # of the external wall: outward per height
SLOPE = 1.0  # of the intaglio: height per inward way
WALL_MM = 1.0  # how high both go
SPACING_MM = 0.15  # leaves edges of 0.1 mm and their diagonals as they are
FIN_MM = 0.02  # half the width of what is pulled down as a fin

Points = np.ndarray
Change = Callable[[Points, Points], Points]


def meridian(arm: Points, drop_mm: Points | float = 0.0) -> Points:
    """Places (…, 2) as radius and height along the rim's outline.

    Parameters
    ----------
    arm : array
        Height on the external wall where positive, on the intaglio where negative; 0 is the edge.
    drop_mm : array
        How far the edge is pulled down as a thin fin; negative cuts the rim off flat so high.
    """
    arm, drop = np.broadcast_arrays(arm, drop_mm)
    height = np.abs(arm)
    cut = np.maximum(-drop, 0.0)
    outer, inner = RADIUS_MM + FLARE * cut, RADIUS_MM - cut / SLOPE
    share = np.where(cut > 0, np.minimum(height / np.where(cut > 0, cut, 1.0), 1.0), 1.0)
    middle = 0.5 * (outer + inner)
    radius = np.where(arm >= 0, RADIUS_MM + FLARE * height, RADIUS_MM - height / SLOPE)
    flat = np.where(arm >= 0, middle + share * (outer - middle), middle + share * (inner - middle))
    in_cut = height < cut
    fin = np.maximum(drop, 0.0) * np.maximum(1.0 - height / FIN_MM, 0.0)
    return np.stack([np.where(in_cut, flat, radius), np.where(in_cut, cut, height) - fin], axis=-1)


def levels(edge_mm: float) -> Points:
    """Places along the outline, from the top of the intaglio to that of the external wall."""
    arm = np.concatenate(
        [
            np.linspace(0.0, FIN_MM, 3),
            np.linspace(FIN_MM, WALL_MM, max(3, round(WALL_MM / edge_mm)) + 1)[1:],
        ]
    )
    return np.concatenate([-arm[:0:-1], arm])


def collar(
    edge_mm: float = 0.1,
    *,
    change: Change | None = None,
    drop_mm: Change | None = None,
    turn_deg: float = 0.0,
    name: str = "collar",
) -> TriangleMesh:
    """A rim of revolution.

    Parameters
    ----------
    edge_mm : float
        Length of edges along and around.
    change : callable, optional
        Takes points (n, 3) and angles (n,) to where they are produced.
    drop_mm : callable, optional
        Takes angles to how far the edge is pulled down (or cut off, if negative).
    turn_deg : float
        Where around the first vertices lie.
    """
    arm = levels(edge_mm)
    count = round(30.0 / edge_mm)
    theta = np.arange(count) * (2.0 * np.pi / count) + np.radians(turn_deg)
    drop = 0.0 if drop_mm is None else drop_mm(theta, theta)
    grid = meridian(arm[:, None], np.broadcast_to(drop, (len(arm), count)))
    angles = np.broadcast_to(theta, grid.shape[:2]).ravel()
    radius, height = grid[..., 0].ravel(), grid[..., 1].ravel()
    points = np.stack([radius * np.cos(angles), radius * np.sin(angles), height], axis=1)
    if change is not None:
        points = change(points, angles)
    here = np.arange(count)
    rows = np.arange(len(arm) - 1)[:, None] * count
    a, b = rows + here, rows + (here + 1) % count
    c, d = a + count, b + count
    faces = np.concatenate(
        [np.stack([a, b, d], axis=-1).reshape(-1, 3), np.stack([a, d, c], axis=-1).reshape(-1, 3)]
    )
    return TriangleMesh(points, faces, name)


def mitred(delta_mm: Callable[[Points], Points]) -> Change:
    """Both walls moved outward by δ(θ): their edge goes to where the moved walls meet."""

    def change(points: Points, theta: Points) -> Points:
        radial, up = (delta_mm(theta) * part for part in MITRE)
        return points + np.stack([radial * np.cos(theta), radial * np.sin(theta), up], axis=1)

    return change


def _mitre() -> Points:
    """Way of the edge, outward and up, when both walls move by 1 along their normals."""
    outer = np.array([1.0, -FLARE]) / np.hypot(1.0, FLARE)
    inner = np.array([-SLOPE, -1.0]) / np.hypot(SLOPE, 1.0)
    return np.linalg.solve(np.stack([outer, inner]), [1.0, 1.0])


MITRE = _mitre()


def rim_areas(
    edge_mm: float = 0.1, settings: AreaSettings | None = None, spacing_mm: float = SPACING_MM
) -> AreaSet:
    """The collar as a design, with its edge as margin line and z as path of insertion."""
    evaluation = evaluation_mesh(collar(edge_mm), spacing_mm)
    theta = np.arange(round(30.0 / edge_mm)) * (2.0 * np.pi / round(30.0 / edge_mm))
    line = np.stack([np.cos(theta), np.sin(theta), 0.0 * theta], axis=1) * RADIUS_MM
    return AreaSet(
        evaluation,
        {"whole": Area("whole", np.ones(len(evaluation.points), dtype=bool))},
        margin_line=MarginLine(np.roll(line, -37, axis=0)),
        insertion=np.array([0.0, 0.0, 1.0]),
        settings=settings or AreaSettings(),
    )


def profile_of(
    area_set: AreaSet,
    scan: TriangleMesh,
    tolerance_um: float = 15.0,
    settings: MarginProfileSettings | None = None,
    spacing_mm: float = SPACING_MM,
) -> MarginProfile:
    """Measure a scan that lies on its design along the margin line."""
    there = measure_deviation(area_set.evaluation.mesh, SurfaceIndex(scan), "design_to_scan")
    in_place = evaluation_mesh(scan, spacing_mm)
    index = SurfaceIndex(area_set.evaluation.mesh)
    back = measure_deviation(in_place.mesh, index, "scan_to_design")
    profile = margin_profile(there, back, area_set, in_place, tolerance_um, settings)
    assert profile is not None
    return profile
