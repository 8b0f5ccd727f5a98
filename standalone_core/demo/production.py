"""Scans of produced demo crowns, each with a mesh of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from ..arrays import BoolArray, FloatArray
from ..mesh.triangle_mesh import TriangleMesh
from .crown import DemoCrown
from .meshing import SurfaceMesh, mesh_surface
from .produced import ProducedSurface
from .production_errors import Cut, Debris, Hole, ProductionErrors, ScannerNoise
from .quadrature import surface_nodes
from .shape import CrownShape

NOISE_WAVES = 200
"""Plane waves that make up the correlated noise."""


@dataclass(frozen=True, eq=False)
class ProducedCrown:
    """One produced crown as its scan shows it.

    Attributes
    ----------
    mesh : TriangleMesh
        The scan, with vertices of its own, in its own pose.
    T_true_design_scan : (4, 4) array
        Takes scan coordinates back to the design's frame.
    surface : ProducedSurface
        The produced surface by formula, in the design's frame, without noise.
    errors : ProductionErrors
        What went wrong.
    noise_mm : (n,) array
        Noise of each vertex along its normal; vertices of debris come last, with zero.
    theta, s : (k,) array
        Surface parameters of the crown's own vertices, k ≤ n.
    """

    mesh: TriangleMesh
    T_true_design_scan: FloatArray
    surface: ProducedSurface
    errors: ProductionErrors
    noise_mm: FloatArray
    theta: FloatArray
    s: FloatArray


def produce(
    crown: DemoCrown | CrownShape,
    errors: ProductionErrors,
    *,
    edge_mm: float = 0.1,
    rng: np.random.Generator | None = None,
) -> ProducedCrown:
    """Produce a crown and scan it.

    Parameters
    ----------
    crown : DemoCrown or CrownShape
        The design.
    errors : ProductionErrors
        How the produced crown differs from it.
    edge_mm : float
        Mean edge length of the scan. Its rows of edges do not follow the margin line, and its
        vertices are not the design's.
    rng : Generator, optional
        For the scan's sampling, the noise, the debris and the pose, in this order; one that always
        starts alike by default.

    Returns
    -------
    ProducedCrown
        The scan as a mesh, mm, with what is true about it.

    Raises
    ------
    SettingError
        Edge length out of range.

    Examples
    --------
    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.5)
    >>> scan = cuspwise.produce(design, cuspwise.ProductionErrors(offset_um=30), edge_mm=0.5)
    >>> scan.mesh.name, scan.T_true_design_scan.shape
    ('produced crown', (4, 4))
    """
    rng = rng or np.random.default_rng(0)
    shape = crown if isinstance(crown, CrownShape) else crown.shape
    grid = mesh_surface(
        shape.points,
        -shape.intaglio_length_mm,
        shape.external_length_mm,
        edge_mm,
        on_margin=False,
        rng=rng,
    )
    surface = ProducedSurface(shape, errors)
    kept = present(surface, grid.theta, grid.s)
    faces = grid.faces[kept[grid.faces].all(axis=1)]
    used = np.zeros(len(kept), dtype=bool)
    used[faces] = True
    grid = SurfaceMesh(grid.theta[used], grid.s[used], (np.cumsum(used) - 1)[faces])
    points = surface.points(grid.theta, grid.s)
    mesh = TriangleMesh(points, grid.faces, "produced crown")
    noise = scanner_noise(errors.noise, points, rng)
    vertices = points + noise[:, None] * mesh.vertex_normals
    mesh = TriangleMesh(vertices, grid.faces, mesh.name)
    if errors.debris is not None:
        mesh = _with_debris(errors.debris, mesh, rng)
        noise = np.concatenate([noise, np.zeros(len(mesh.vertices) - len(noise))])
    pose = random_pose(rng) if errors.any_pose else np.eye(4)
    back = np.eye(4)
    back[:3, :3] = pose[:3, :3].T
    back[:3, 3] = -pose[:3, :3].T @ pose[:3, 3]
    return ProducedCrown(mesh.moved(pose), back, surface, errors, noise, grid.theta, grid.s)


def random_pose(rng: np.random.Generator, reach_mm: float = 40.0) -> FloatArray:
    """A rigid motion (4, 4): any rotation, each equally likely, and any shift up to a reach."""
    quaternion = rng.normal(size=4)
    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_quat(quaternion / np.linalg.norm(quaternion)).as_matrix()
    pose[:3, 3] = rng.uniform(-reach_mm, reach_mm, 3)
    return pose


def scanner_noise(noise: ScannerNoise, points: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Noise in mm at each point, (n,): independent errors, and a sum of random plane waves."""
    result = np.zeros(len(points))
    if noise.sigma_um:
        result += rng.normal(0.0, 1e-3 * noise.sigma_um, len(points))
    if noise.correlated_um:
        amplitude = 1e-3 * noise.correlated_um * np.sqrt(2.0 / NOISE_WAVES)
        for _ in range(NOISE_WAVES):
            frequency = rng.normal(0.0, 1.0 / noise.correlation_mm, 3)
            result += amplitude * np.cos(points @ frequency + rng.uniform(0.0, 2.0 * np.pi))
    return result


def present(surface: ProducedSurface, theta: FloatArray, s: FloatArray) -> BoolArray:
    """Whether the scan shows the surface at these parameters, (n,)."""
    errors = surface.errors
    shown = np.ones(np.shape(s), dtype=bool)
    if errors.holes or errors.cut is not None:
        points = surface.shape.points(theta, s)
        for hole in errors.holes:
            shown &= ~_in_hole(hole, surface.shape, points, s)
        if errors.cut is not None:
            level = cut_level(surface.shape, errors.cut)
            shown &= points @ np.array(errors.cut.direction) <= level
    if errors.intaglio_missing:
        shown &= s >= 0.0
    return shown


def _in_hole(hole: Hole, shape: CrownShape, points: FloatArray, s: FloatArray) -> BoolArray:
    centre = shape.points(np.array(np.deg2rad(hole.angle_deg)), np.array(hole.s_mm))
    near = np.sum((points - centre) ** 2, axis=-1) < hole.radius_mm**2
    inside: BoolArray = near & (np.sign(s) == np.sign(hole.s_mm))
    return inside


def cut_level(shape: CrownShape, cut: Cut) -> float:
    """Height along the cut's direction beyond which the stated share of the area lies."""
    nodes = surface_nodes(shape, 0.2)
    heights = nodes.points @ np.array(cut.direction)
    order = np.argsort(heights)
    covered = np.cumsum(nodes.weights_mm2[order]) / nodes.weights_mm2.sum()
    return float(np.interp(1.0 - cut.share, covered, heights[order]))


def _with_debris(debris: Debris, mesh: TriangleMesh, rng: np.random.Generator) -> TriangleMesh:
    """Add loose eight-sided grains beside the crown."""
    corners = np.concatenate([np.eye(3), -np.eye(3)])
    sides = np.array(
        [[0, 1, 2], [1, 3, 2], [3, 4, 2], [4, 0, 2], [1, 0, 5], [3, 1, 5], [4, 3, 5], [0, 4, 5]]
    )
    centre = mesh.vertices.mean(axis=0)
    vertices, faces = [mesh.vertices], [mesh.faces]
    for k in range(debris.count):
        direction = rng.normal(size=3)
        direction /= np.linalg.norm(direction)
        reach = float(((mesh.vertices - centre) @ direction).max())
        place = centre + direction * (reach + debris.distance_mm * rng.uniform(0.7, 1.3))
        size = 0.5 * debris.size_mm * rng.uniform(0.6, 1.4, (6, 1))
        vertices.append(place + size * corners)
        faces.append(sides + len(mesh.vertices) + 6 * k)
    return TriangleMesh(np.concatenate(vertices), np.concatenate(faces), mesh.name)
