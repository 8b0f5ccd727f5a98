"""The crest of a crown's rim where no row of the mesh's edges follows it.

A mesh that was not laid out along the margin cuts its thin rim off: its vertices lie on either
side of the crest, up to an edge away, and a polyline along edges zigzags between them. The crest
is found from both sides instead: the external surface and the intaglio near the rim are each
continued to where they meet, less the rim's own rounding, which the vertices that happen to lie
on the crest give away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.triangle_mesh import TriangleMesh

_STRAIGHT_SHARE = 0.15  # edges that follow the margin stray less than this from their neighbours
_SMOOTHING_EDGES = 1.5
_RINGS = 5
_NEIGHBOURS = 24
_REACH_EDGES = 2.0  # how fast the weight of a neighbour falls with its distance
_LEAST_OPENING = 0.7  # of the two sheets, as a difference of slopes; about 40°
_LEAST_OPEN_SHARE = 0.9
_MOST_AHEAD = 0.1  # edges by which vertices may stand out beyond the sheets' meeting points
_CREST_PERCENT = 15.0  # this share of the zigzag's vertices lies on the crest, or nearly so


@dataclass(frozen=True, eq=False)
class _Frames:
    """Places along the rim with directions along it, out of it and across it to external."""

    origin: FloatArray
    along: FloatArray
    out: FloatArray
    across: FloatArray

    def local(self, points: FloatArray) -> FloatArray:
        """Coordinates (out, across, along) of (k, j, 3) points, j for each frame."""
        arms = points - self.origin[:, None]
        axes = np.stack([self.out, self.across, self.along], axis=2)
        local: FloatArray = np.einsum("kji,kia->kja", arms, axes)
        return local


def crest_points(mesh: TriangleMesh, external: BoolArray, loop: IntArray) -> FloatArray:
    """Place the margin line on the crest of the rim.

    Parameters
    ----------
    mesh : TriangleMesh
    external : (m,) bool
        External faces.
    loop : (k,) int
        Vertices between external and other faces, in order.

    Returns
    -------
    (j, 3) float
        The loop's own vertices if they follow the crest; else points about half an edge apart
        that may lie just off the mesh, where it cuts the rim off.
    """
    points = mesh.vertices[loop]
    edge = float(np.median(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)))
    if np.percentile(_stray(points), 95) < _STRAIGHT_SHARE * edge:
        return points
    rim_faces = _faces_about(mesh, loop)
    rim = mesh.kept(rim_faces)
    sheets = _sheet_vertices(rim, external[rim_faces])
    if min(map(len, sheets)) < _NEIGHBOURS:
        return points
    places = _resampled(points, 0.5 * edge)
    spread = 2.0 * _SMOOTHING_EDGES  # in steps of half an edge
    places, along = _smoothed(places, spread), _smoothed(places, spread, slope=True)
    near = [
        rows[np.asarray(cKDTree(rim.vertices[rows]).query(places, k=_NEIGHBOURS)[1])]
        for rows in sheets
    ]
    frames = _frames(rim, places, along, near)
    outer, inner = (_sheet(frames.local(rim.vertices[rows]), edge) for rows in near)
    nearest = np.asarray(cKDTree(places).query(points)[1])
    tips = _meeting_points(frames, outer, inner, edge)
    behind = np.einsum("ij,ij->i", tips[nearest] - points, frames.out[nearest])
    rounding = float(np.percentile(behind, _CREST_PERCENT))
    is_open = np.abs(outer[:, 1] - inner[:, 1]) > _LEAST_OPENING
    if is_open.mean() < _LEAST_OPEN_SHARE or rounding < -_MOST_AHEAD * edge:
        # Sheets that run side by side, or bend too much, do not tell where they meet.
        ahead = np.einsum("ij,ij->i", points - places[nearest], frames.out[nearest])
        foremost = float(np.percentile(ahead, 100.0 - _CREST_PERCENT))
        zigzag_crest: FloatArray = places + foremost * frames.out
        return zigzag_crest
    return _smoothed(tips - rounding * frames.out, 2.0)


def _stray(points: FloatArray) -> FloatArray:
    """Distance of each point of a closed polyline from the line through its neighbours."""
    before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
    chord = _unit(after - before)
    stray: FloatArray = np.linalg.norm(np.cross(points - before, chord), axis=1)
    return stray


def _faces_about(mesh: TriangleMesh, loop: IntArray) -> BoolArray:
    """Faces within a few rings of the loop."""
    near = np.zeros(len(mesh.vertices), dtype=bool)
    near[loop] = True
    for _ in range(_RINGS):
        a, b, c = (near[mesh.faces[:, k]] for k in range(3))
        faces: BoolArray = a | b | c
        near[mesh.faces[faces].ravel()] = True
    return faces


def _sheet_vertices(mesh: TriangleMesh, external: BoolArray) -> tuple[IntArray, IntArray]:
    """Vertices of external faces only and of other faces only."""
    touched = np.zeros((2, len(mesh.vertices)), dtype=bool)
    touched[0, mesh.faces[external].ravel()] = True
    touched[1, mesh.faces[~external].ravel()] = True
    return np.flatnonzero(touched[0] & ~touched[1]), np.flatnonzero(touched[1] & ~touched[0])


def _resampled(points: FloatArray, step_mm: float) -> FloatArray:
    ring = np.vstack([points, points[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    count = max(8, round(length[-1] / step_mm))
    places = np.arange(count) * (length[-1] / count)
    return np.stack([np.interp(places, length, ring[:, k]) for k in range(3)], axis=1)


def _smoothed(points: FloatArray, spread: float, *, slope: bool = False) -> FloatArray:
    """Gaussian smoothing of a closed polyline, spread in steps; or its unit tangents."""
    waves = 2.0 * np.pi * np.fft.fftfreq(len(points))
    kept = np.exp(-0.5 * (waves * spread) ** 2) * (1j * waves if slope else 1.0)
    smooth: FloatArray = np.real(np.fft.ifft(np.fft.fft(points, axis=0) * kept[:, None], axis=0))
    return _unit(smooth) if slope else smooth


def _unit(vectors: FloatArray) -> FloatArray:
    unit: FloatArray = vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12)
    return unit


def _frames(
    mesh: TriangleMesh, places: FloatArray, along: FloatArray, near: list[IntArray]
) -> _Frames:
    """Out of the rim is half-way between the normals of its two sheets."""
    outer, inner = (_unit(mesh.vertex_normals[rows].mean(axis=1)) for rows in near)
    out = outer + inner
    out = _unit(out - np.einsum("ij,ij->i", out, along)[:, None] * along)
    across = np.cross(along, out)
    facing = np.einsum("ij,ij->i", across, outer - inner)
    return _Frames(places, along, out, across * np.sign(facing)[:, None])


def _sheet(local: FloatArray, edge: float) -> FloatArray:
    """Fit a sheet: across = c·(1, out, along, out², out·along, along²); (k, 6) coefficients.

    Neighbours count less the farther they are, and those within an edge less the closer they
    are: they lie on the rim's rounding.
    """
    out, across, along = (local[:, :, k] for k in range(3))
    gap = np.linalg.norm(local, axis=2) / edge
    weight = np.exp(-((gap / _REACH_EDGES) ** 2)) * np.minimum(gap, 1.0) ** 4
    terms = np.stack([np.ones_like(out), out, along, out**2, out * along, along**2], axis=2)
    weighted = terms * weight[:, :, None]
    square = np.einsum("kji,kjl->kil", weighted, terms) + 1e-9 * np.eye(6)
    right = np.einsum("kji,kj->ki", weighted, across)
    coefficients: FloatArray = np.linalg.solve(square, right[:, :, None])[:, :, 0]
    return coefficients


def _meeting_points(
    frames: _Frames, outer: FloatArray, inner: FloatArray, edge: float
) -> FloatArray:
    """Where the two sheets meet in the plane across the rim, at most an edge away."""
    level, slope, bend = (outer[:, k] - inner[:, k] for k in (0, 1, 3))
    slope = np.where(np.abs(slope) < _LEAST_OPENING, -_LEAST_OPENING, slope)
    out = np.clip(-level / slope, -edge, edge)
    for _ in range(5):  # Newton on level + slope·out + bend·out² = 0
        steep = slope + 2.0 * bend * out
        steep = np.where(np.abs(steep) < 0.2 * np.abs(slope), slope, steep)
        out = np.clip(out - (level + slope * out + bend * out**2) / steep, -edge, edge)
    powers = np.stack([np.ones_like(out), out, out**2], axis=1)
    across = 0.5 * np.einsum("ij,ij->i", outer[:, [0, 1, 3]] + inner[:, [0, 1, 3]], powers)
    tips: FloatArray = frames.origin + out[:, None] * frames.out + across[:, None] * frames.across
    return tips
