"""A scan of the demo crown seated on its die: what a scanner sees of both, in one mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.triangle_mesh import TriangleMesh
from ..superimpose.rigid import inverse
from .crown import DemoCrown
from .die import DemoDie
from .meshing import mesh_surface
from .produced import ProducedSurface
from .production import random_pose, scanner_noise
from .production_errors import ScannerNoise

HIDDEN_BASE = 0.85
"""Share of the root's height below which the die stands in its holder."""


@dataclass(frozen=True, eq=False)
class SeatedScan:
    """A crown on its die as a scan shows them.

    Attributes
    ----------
    mesh : TriangleMesh
        Open: the crown's outside down to its edge, and the die's root below the finish line, with
        a gap between. In its own pose, mm.
    T_true_die_scan : (4, 4) array
        Takes the scan's coordinates to the die's.
    T_die_crown : (4, 4) array
        Where the crown sat: takes the design's coordinates to the die's.
    """

    mesh: TriangleMesh
    T_true_die_scan: FloatArray
    T_die_crown: FloatArray


def seated_scan(
    crown: DemoCrown | ProducedSurface,
    die: DemoDie,
    T_die_crown: FloatArray,
    *,
    edge_mm: float = 0.1,
    noise: ScannerNoise | None = None,
    any_pose: bool = True,
    rng: np.random.Generator | None = None,
) -> SeatedScan:
    """Scan a crown that sits on its die.

    Parameters
    ----------
    crown : DemoCrown or ProducedSurface
        The design, or a produced crown by formula (``ProducedCrown.surface``).
    die : DemoDie
    T_die_crown : (4, 4) array
        Where it sits, from the design's frame to the die's.
    edge_mm : float
        Mean edge length of the scan, whose vertices are neither the crown's nor the die's.
    noise : ScannerNoise, optional
        None by default.
    any_pose : bool
        Whether the scan lies in a random pose, or in the die's.
    rng : Generator, optional
        For sampling, noise and pose; one that always starts alike by default.

    Returns
    -------
    SeatedScan

    Raises
    ------
    SettingError
        Edge length out of range.
    """
    rng = rng or np.random.default_rng(0)
    outside = _outside(crown, edge_mm, rng).moved(T_die_crown)
    root = _root(die, edge_mm, rng)
    vertices = np.concatenate([outside.vertices, root.vertices])
    faces = np.concatenate([outside.faces, root.faces + len(outside.vertices)])
    mesh = TriangleMesh(vertices, faces, "seated scan")
    shift = scanner_noise(noise or ScannerNoise(), vertices, rng)
    pose = random_pose(rng) if any_pose else np.eye(4)
    noisy = TriangleMesh(vertices + shift[:, None] * mesh.vertex_normals, faces, mesh.name)
    return SeatedScan(noisy.moved(pose), inverse(pose), T_die_crown)


def _outside(
    crown: DemoCrown | ProducedSurface, edge_mm: float, rng: np.random.Generator
) -> TriangleMesh:
    """The crown's outside down to its edge, in the design's frame."""
    shape = crown.shape
    ends = -shape.intaglio_length_mm, shape.external_length_mm
    grid = mesh_surface(shape.points, *ends, edge_mm, on_margin=False, rng=rng)
    surface = crown if isinstance(crown, ProducedSurface) else shape
    return _seen(surface.points(grid.theta, grid.s), grid.faces, grid.s >= 0.0)


def _root(die: DemoDie, edge_mm: float, rng: np.random.Generator) -> TriangleMesh:
    """The die's root from the finish line down to its holder."""
    shape = die.shape
    ends = -shape.root_length_mm, shape.prepared_length_mm
    grid = mesh_surface(shape.points, *ends, edge_mm, on_margin=False, rng=rng)
    points = shape.points(grid.theta, grid.s)
    lowest = -HIDDEN_BASE * shape.root_height_mm
    return _seen(points, grid.faces, (grid.s <= 0.0) & (points[:, 2] > lowest))


def _seen(points: FloatArray, faces: IntArray, seen: BoolArray) -> TriangleMesh:
    mesh = TriangleMesh(points, faces)
    return mesh.kept(seen[mesh.faces].all(axis=1))
