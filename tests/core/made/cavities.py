"""Crowns, teeth and other parts by formula, with cavities of all kinds, for several tests.

Each is the set where a function is negative, made a mesh by libigl's marching cubes. All sizes
are invented, mm; no tooth was measured.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import igl
import numpy as np
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh

Function = Callable[[np.ndarray], np.ndarray]
STEP_MM = 0.25


def meshed(inside: Function, low: tuple, high: tuple, step_mm: float = STEP_MM) -> TriangleMesh:
    """Closed surface of the places (3, k) where a function is negative, between two corners."""
    steps = [np.arange(a, b + step_mm, step_mm) for a, b in zip(low, high, strict=True)]
    z, y, x = np.meshgrid(*reversed(steps), indexing="ij")
    grid = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    vertices, faces, *_ = igl.marching_cubes(inside(grid.T), grid, *map(len, steps), 0.0)
    mesh = repair_mesh(TriangleMesh(vertices, faces)).mesh
    return mesh if mesh.volume_mm3 > 0 else mesh.flipped()


@dataclass(frozen=True)
class Crown:
    """A barrel on the plane z = 0 with a cavity from below.

    Radii at the margin (half its width along x) and the largest, height, wall at the margin,
    thickness of the occlusal part, width along y by that along x, and radius of a screw channel.
    """

    margin: float
    contour: float
    height: float
    wall: float
    roof: float
    y_by_x: float = 1.0
    channel: float = 0.0
    taper: float = 0.06

    def __call__(self, p: np.ndarray) -> np.ndarray:
        x, y, z = p
        rho, up = np.hypot(x, y / self.y_by_x), np.clip(z, 0.0, None)
        share = np.clip(z / self.height, 0.0, 1.0)
        bulge = self.margin + (self.contour - self.margin) * np.sin(0.8 * np.pi * share)
        outer = ((rho / bulge) ** 4 + (up / self.height) ** 4) ** 0.25 * bulge - bulge
        hollow = np.maximum(self.margin - self.wall - self.taper * up, 0.05)
        depth = self.height - self.roof
        inner = ((rho / hollow) ** 6 + (up / depth) ** 6) ** (1 / 6) * hollow - hollow
        solid = np.maximum(np.maximum(outer, -z), -inner)
        return np.maximum(solid, self.channel - np.hypot(x - 0.3, y)) if self.channel else solid

    def mesh(self) -> TriangleMesh:
        reach = self.contour + 0.6
        wide = reach * max(self.y_by_x, 1.0)
        return meshed(self, (-reach, -wide, -0.6), (reach, wide, self.height + 0.6))


def spike(start: tuple, end: tuple, first: float, last: float) -> Function:
    """A rod with round ends, its radius going from the first to the last."""
    a, along = np.array(start, float), np.subtract(end, start).astype(float)

    def inside(p: np.ndarray) -> np.ndarray:
        arm = p - a[:, None]
        t = np.clip(along @ arm / (along @ along), 0.0, 1.0)
        return np.linalg.norm(arm - along[:, None] * t, axis=0) - (first + (last - first) * t)

    return inside


def tooth(
    roots: list[Function],
    *,
    hollow: Function | None = None,
    half: tuple[float, float, float] = (4.2, 3.8, 3.8),
    cut_mm: float = -99.0,
) -> TriangleMesh:
    """An extracted tooth: an ellipsoid for its crown, roots below, perhaps a hollow in it."""

    def inside(p: np.ndarray) -> np.ndarray:
        x, y, z = p
        scaled = np.sqrt((x / half[0]) ** 2 + (y / half[1]) ** 2 + ((z - 2.5) / half[2]) ** 2)
        solid = (scaled - 1.0) * min(half)
        for root in roots:
            other = root(p)  # joined by a fillet
            blend = np.clip(0.5 + 0.5 * (other - solid) / 0.6, 0.0, 1.0)
            solid = other + (solid - other) * blend - 0.6 * blend * (1.0 - blend)
        solid = np.maximum(solid, cut_mm - p[2])
        return solid if hollow is None else np.maximum(solid, -hollow(p))

    return meshed(inside, (-7.0, -7.0, -15.0), (7.0, 7.0, 7.5))


ONE_ROOT = spike((0.0, 0.0, 0.0), (0.3, 0.2, -12.0), 3.3, 1.6)
APEX_MM = -13.6


def roots(count: int, spread: float = 4.5) -> list[Function]:
    """Roots that go apart, from 1.6 mm off the middle to ``spread``."""
    turns = np.arange(count) * 2 * np.pi / count + 0.2
    return [
        spike(
            (1.6 * np.cos(t), 1.6 * np.sin(t), -0.5),
            (spread * np.cos(t), spread * np.sin(t), -11.0),
            2.0,
            1.0,
        )
        for t in turns
    ]
