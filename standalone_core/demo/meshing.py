"""Near-uniform triangles over a closed surface given by two parameters.

The vertices lie on rings around the surface. Every meridian is divided into the same number of
steps of equal length, every ring into steps of equal length, and neighbouring rings are joined
by a zip of triangles. One ring lies exactly on the margin line (or not, when asked).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..arrays import FloatArray, IntArray
from ..errors import SettingError
from .periodic import turn_angles

Surface = Callable[[FloatArray, FloatArray], FloatArray]

MERIDIANS = 180
"""Meridians on which lengths are measured to place the rings."""


@dataclass(frozen=True, eq=False)
class SurfaceMesh:
    """Vertices by their surface parameters, and outward faces.

    Attributes
    ----------
    theta, s : (n,) array
        Parameters of the vertices.
    faces : (m, 3) array
        Vertex indices, counter-clockwise seen from outside.
    """

    theta: FloatArray
    s: FloatArray
    faces: IntArray


def mesh_surface(
    surface: Surface,
    s_roof: float,
    s_occlusal: float,
    edge_mm: float,
    *,
    on_margin: bool = True,
    rng: np.random.Generator | None = None,
) -> SurfaceMesh:
    """Cover a closed surface with near-uniform triangles.

    Parameters
    ----------
    surface : callable
        Points (..., 3) in mm at parameters theta, s.
    s_roof, s_occlusal : float
        The two ends of s (poles); the margin line is at 0 between them.
    edge_mm : float
        Mean edge length in mm, from 0.02 to 1.
    on_margin : bool
        Put a ring of vertices on the margin line. If false, the rings are spread over the whole
        meridian and tilted against it, so that no row of edges follows the margin.
    rng : Generator, optional
        Shifts the start of the rings and jitters the vertices within their rings, for a
        sampling of its own.

    Raises
    ------
    SettingError
        Edge length out of range.
    """
    if not 0.02 <= edge_mm <= 1.0:
        raise SettingError(
            f"An edge length of {edge_mm} mm cannot be made.",
            subject="edge_mm",
            remedy="Give a length between 0.02 and 1 mm.",
        )
    rings = _ring_levels(surface, s_roof, s_occlusal, edge_mm, on_margin, rng)
    theta, s = _ring_vertices(surface, rings, edge_mm, rng)
    counts = np.array([len(ring) for ring in theta])
    first = np.concatenate([[0], np.cumsum(counts)])
    roof, occlusal = int(first[-1]), int(first[-1]) + 1
    faces = [_fan(first[0], counts[0], roof, reverse=True)]
    for k in range(len(theta) - 1):
        faces.append(_zip(theta[k], theta[k + 1], int(first[k]), int(first[k + 1])))
    faces.append(_fan(first[-2], counts[-1], occlusal, reverse=False))
    return SurfaceMesh(
        np.concatenate([*theta, [0.0, 0.0]]) % (2.0 * np.pi),
        np.concatenate([*s, [s_roof, s_occlusal]]),
        np.concatenate(faces),
    )


def _ring_levels(
    surface: Surface,
    s_roof: float,
    s_occlusal: float,
    edge_mm: float,
    on_margin: bool,
    rng: np.random.Generator | None,
) -> FloatArray:
    """Values of s of each ring on each of the :data:`MERIDIANS`, (rings, MERIDIANS)."""
    angles = turn_angles(MERIDIANS)
    spans = [(s_roof, 0.0), (0.0, s_occlusal)] if on_margin else [(s_roof, s_occlusal)]
    parts = []
    for low, high in spans:
        fine, length = _meridians(surface, low, high)
        share = length / length[:, -1:]
        count = max(3, round(float(length[:, -1].mean()) / (0.866 * edge_mm)))
        even = np.linspace(0.0, 1.0, count + 1)
        wanted = np.repeat(even[:, None], MERIDIANS, axis=1)
        if not on_margin:
            wanted = wanted + _tilt(even, angles, count, rng)
        columns = [np.interp(wanted[:, m], share[m], fine) for m in range(MERIDIANS)]
        parts.append(np.stack(columns, axis=1))
    levels = parts[0] if len(parts) == 1 else np.concatenate([parts[0], parts[1][1:]])
    return levels[1:-1]


@lru_cache(maxsize=4)  # all scans of one crown's shape are spread along the same meridians
def _meridians(surface: Surface, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Fine levels of s, and the length of each meridian up to them, (MERIDIANS, levels)."""
    fine = _fine_levels(low, high)
    points = surface(turn_angles(MERIDIANS)[:, None], fine[None, :])
    steps = np.linalg.norm(np.diff(points, axis=1), axis=2)
    return fine, np.concatenate([np.zeros((MERIDIANS, 1)), np.cumsum(steps, axis=1)], axis=1)


def _fine_levels(low: float, high: float) -> FloatArray:
    """Levels of s for measuring lengths: 0.01 mm apart, and finer across the rim."""
    plain = np.linspace(low, high, 2 + int((high - low) / 0.01))
    rim = np.linspace(-0.1, 0.1, 201)
    rim = rim[(rim > low) & (rim < high)]
    return np.unique(np.concatenate([plain, rim]))


def _tilt(
    wanted: FloatArray, angles: FloatArray, count: int, rng: np.random.Generator | None
) -> FloatArray:
    """Shift of the rings along the meridian: several rows over one turn, none at the poles."""
    phase = 0.0 if rng is None else float(rng.uniform(0.0, 2.0 * np.pi))
    rows = min(6.0, 0.12 * count)
    wave = np.sin(angles + phase) + 0.4 * np.sin(2.0 * angles + 2.0 * phase)
    envelope = 16.0 * (wanted * (1.0 - wanted)) ** 2
    return rows / count * envelope[:, None] * wave[None, :]


def _ring_vertices(
    surface: Surface, rings: FloatArray, edge_mm: float, rng: np.random.Generator | None
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Angles (increasing) and levels of the vertices of each ring, equally far along it."""
    turn = 2.0 * np.pi
    count = 4 * MERIDIANS
    fine = np.linspace(0.0, turn, count + 1)
    grid = np.linspace(0.0, turn, MERIDIANS + 1)
    levels = np.stack([np.interp(fine, grid, np.append(ring, ring[0])) for ring in rings])
    steps_mm = np.linalg.norm(np.diff(surface(fine[None, :], levels), axis=1), axis=2)
    theta: list[FloatArray] = []
    s: list[FloatArray] = []
    for k, ring in enumerate(rings):
        length = np.concatenate([[0.0], np.cumsum(steps_mm[k])])
        number = max(6, round(length[-1] / edge_mm))
        steps = np.arange(number) + 0.5 * (k % 2)
        if rng is not None:
            steps = steps + rng.uniform(0.0, 0.3, number)
        angles = np.interp(steps / number * length[-1], length, fine)
        theta.append(angles)
        s.append(np.interp(angles % turn, grid, np.append(ring, ring[0])))
    return theta, s


def _fan(first: int, count: int, pole: int, *, reverse: bool) -> IntArray:
    """Triangles from one ring to a pole."""
    here = first + np.arange(count)
    following = first + (np.arange(count) + 1) % count
    ends = (following, here) if reverse else (here, following)
    faces: IntArray = np.stack([*ends, np.full(count, pole)], axis=1)
    return faces


def _zip(lower: FloatArray, upper: FloatArray, first_lower: int, first_upper: int) -> IntArray:
    """Triangles between two rings: their edges taken in the order of their middle angles."""
    n, m = len(lower), len(upper)
    keys = np.concatenate([_edge_middles(lower), _edge_middles(upper)])
    order = np.argsort(keys, kind="stable")
    is_lower = order < n
    done_lower: IntArray = np.cumsum(is_lower) - is_lower
    done_upper: IntArray = np.cumsum(~is_lower) - ~is_lower
    a = first_lower + done_lower % n
    a_next = first_lower + (done_lower + 1) % n
    b = first_upper + done_upper % m
    b_next = first_upper + (done_upper + 1) % m
    third = np.where(is_lower, a_next, b_next)
    faces: IntArray = np.stack([a, third, b], axis=1).astype(np.int64)
    return faces


def _edge_middles(angles: FloatArray) -> FloatArray:
    """Middle angle of each edge of a ring, increasing."""
    following = np.append(angles[1:], angles[0] + 2.0 * np.pi)
    middles: FloatArray = 0.5 * (angles + following)
    return middles
