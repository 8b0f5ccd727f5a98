"""A crown meshed like a piece from a lathe: rows crowded at the margin, fans at both poles.

Designs out of CAD programs are more like this than like the even demo crown: triangles three to
ten times as long as they are wide, and much smaller ones beside the margin.
"""

from __future__ import annotations

import numpy as np
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.rigid import motion, rotation_from_vector

TURNS_PER_LEVEL = 0.7
"""Places around for each row: the rows lie closer than the places within one."""
CROWDING = 2.5
"""How much closer the rows lie at the margin than halfway to a pole."""
POSE = motion(rotation_from_vector([1.3, -2.0, 0.7]), [30.0, -12.0, 55.0])


def lathe_crown(triangles: int) -> TriangleMesh:
    """The demo crown's shape in about so many triangles."""
    levels = int(np.sqrt(triangles / (2.0 * TURNS_PER_LEVEL)))
    turns = int(TURNS_PER_LEVEL * levels)
    shape = CrownShape()
    theta = 2.0 * np.pi * np.arange(turns) / turns
    s = _rows(-shape.intaglio_length_mm, shape.external_length_mm, levels)
    grid = np.meshgrid(theta, s)
    poles = np.zeros(2), np.array([-shape.intaglio_length_mm, shape.external_length_mm])
    angles, lengths = (np.append(one, other) for one, other in zip(grid, poles, strict=True))
    mesh = TriangleMesh(
        shape.points(angles, lengths).reshape(-1, 3), _faces(turns, levels), "lathe"
    )
    return mesh if mesh.volume_mm3 > 0 else mesh.flipped()


def scan_of_lathe_crown(triangles: int, seed: int) -> TriangleMesh:
    """A scan in such triangles, in another pose: 12 µm of form error, 2 µm of noise."""
    rng = np.random.default_rng(seed)
    mesh = lathe_crown(triangles)
    waves, phases = rng.normal(size=(4, 3)) * 0.5, rng.uniform(0.0, 6.0, 4)
    off = 0.012 * np.sin(mesh.vertices @ waves.T + phases).mean(axis=1)
    off += 0.002 * rng.normal(size=len(off))
    moved = mesh.vertices + off[:, None] * mesh.vertex_normals
    return TriangleMesh(moved, mesh.faces, "scan").moved(POSE)


def _rows(low: float, high: float, levels: int) -> np.ndarray:
    """Places of the rows between two poles, crowded about the margin at 0, none on a pole."""
    below = max(round(levels * -low / (high - low)), 2)
    inner, outer = (
        np.sinh(CROWDING * np.arange(1, count + 1) / (count + 1)) / np.sinh(CROWDING)
        for count in (below, levels - below - 1)
    )
    return np.concatenate([low * inner[::-1], [0.0], high * outer])


def _faces(turns: int, levels: int) -> np.ndarray:
    """Strips between rows, and a fan from each pole, the last two vertices."""
    this = np.arange(turns) + turns * np.arange(levels - 1)[:, None]
    after = np.roll(this, -1, axis=1)
    low, high, last = turns * levels, turns * levels + 1, turns * (levels - 1)
    first, round_it = np.arange(turns), np.roll(np.arange(turns), -1)
    return np.concatenate(
        [
            np.stack([this, after, after + turns], axis=-1).reshape(-1, 3),
            np.stack([this, after + turns, this + turns], axis=-1).reshape(-1, 3),
            np.stack([np.full(turns, low), round_it, first], axis=-1),
            np.stack([np.full(turns, high), last + first, last + round_it], axis=-1),
        ]
    )
