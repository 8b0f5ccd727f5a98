"""The mouth of a crown's cavity and the path of insertion, in any orientation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError, cKDTree

from ..arrays import FloatArray, IntArray, ragged
from ..mesh.triangle_mesh import TriangleMesh

_HULL_POINTS = 8_000  # of a crown: one every 0.2 mm, enough for the mouth
_SAMPLE_MM2 = 0.1  # hull area per sample
_SAMPLES_PER_FACET = 500
_PLASTIC = 1.3247179572447460  # plastic number: its powers spread points evenly over a triangle
_LARGEST_TURN_DEG = 25.0  # walls that would turn the axis further are no walls of a cavity


@dataclass(frozen=True, eq=False)
class Mouth:
    """The widest hollow of a surface, seen as the gap between it and its convex hull.

    Attributes
    ----------
    axis : (3,) float
        Unit vector into the hollow.
    centre_mm : (3,) float
        Middle of the part of the hull that spans the hollow.
    radius_mm : float
        Radius of the largest ball about a point of the hull that meets no surface.
    """

    axis: FloatArray
    centre_mm: FloatArray
    radius_mm: float


def find_mouth(mesh: TriangleMesh, surface_points: FloatArray) -> Mouth | None:
    """Find the widest hollow: where the convex hull is farthest from the surface.

    The hull spans the mouth of a crown's cavity like a lid, millimetres away from the surface,
    and lies close to it elsewhere. The axis is the mean of the hull's inward normal there,
    weighted by area and square of the gap.

    Parameters
    ----------
    mesh : TriangleMesh
    surface_points : (n, 3) float
        Points all over the surface, mm.

    Returns
    -------
    Mouth or None
        None for a flat or empty mesh, which has no hull.
    """
    is_used = np.zeros(len(mesh.vertices), dtype=bool)
    is_used[mesh.faces.ravel()] = True
    used = np.flatnonzero(is_used)
    corners = mesh.vertices[used[:: 1 + len(used) // _HULL_POINTS]]
    try:
        hull = ConvexHull(corners)
    except (QhullError, ValueError, IndexError):
        return None
    samples, facet, weight = _hull_samples(corners[hull.simplices])
    tree = cKDTree(surface_points[:: 1 + len(surface_points) // _HULL_POINTS])
    gap = np.asarray(tree.query(samples)[0])
    widest = int(gap.argmax())
    # Only the lid about the widest gap: the occlusal basin may lie on the other side.
    near = np.linalg.norm(samples - samples[widest], axis=1) < 2.0 * gap[widest]
    inward = -hull.equations[facet, :3]
    lid = (gap > 0.5 * gap[widest]) & near & (inward @ inward[widest] > 0)
    pull = (weight * gap**2)[lid]
    axis = pull @ inward[lid]
    return Mouth(
        axis / np.linalg.norm(axis),
        pull @ samples[lid] / pull.sum(),
        float(gap[widest]),
    )


def _hull_samples(facets: FloatArray) -> tuple[FloatArray, IntArray, FloatArray]:
    """Points spread evenly over triangles (k, 3, 3), the triangle and the area of each."""
    cross = np.cross(facets[:, 1] - facets[:, 0], facets[:, 2] - facets[:, 0])
    areas = 0.5 * np.linalg.norm(cross, axis=1)
    counts = np.clip(np.ceil(areas / _SAMPLE_MM2), 1, _SAMPLES_PER_FACET).astype(np.int64)
    facet, place = ragged(counts)
    u, v = (0.5 + place / _PLASTIC) % 1.0, (0.5 + place / _PLASTIC**2) % 1.0
    outside = u + v > 1.0
    u, v = np.where(outside, 1.0 - u, u), np.where(outside, 1.0 - v, v)
    first, second, third = (facets[facet, k] for k in range(3))
    points = first + u[:, None] * (second - first) + v[:, None] * (third - first)
    return points, facet, (areas / counts)[facet]


def shell_axis(mesh: TriangleMesh, border_points: FloatArray) -> FloatArray:
    """Axis of an open shell: normal to its border, from the border towards the shell.

    The border's vector area ½ Σ p × p' does not depend on how the loop winds up and down.

    Parameters
    ----------
    mesh : TriangleMesh
    border_points : (k, 3) float
        The border loop, in order, mm.
    """
    middle = border_points.mean(axis=0)
    arms = border_points - middle
    axis = 0.5 * np.cross(arms, np.roll(arms, -1, axis=0)).sum(axis=0)
    axis = axis / np.linalg.norm(axis)
    shell_middle = mesh.face_areas @ mesh.triangles.mean(axis=1) / mesh.area_mm2
    towards_shell: FloatArray = axis if axis @ (shell_middle - middle) > 0 else -axis
    return towards_shell


def evenly_inclined_axis(
    normals: FloatArray, areas: FloatArray, axis: FloatArray, wall_share: float
) -> FloatArray | None:
    """Axis to which the walls are inclined as evenly as possible.

    Minimises Σ A (n·a − mean)² over the faces that are walls, |n·a| < wall_share: the
    eigenvector of the walls' normals with the least variance. For a cone or a pyramid of even
    taper that is its axis exactly.

    Parameters
    ----------
    normals : (m, 3) float
        Unit normals of the cavity's faces.
    areas : (m,) float
    axis : (3,) float
        First guess.
    wall_share : float

    Returns
    -------
    (3,) float or None
        None if the walls do not show it (no walls, or an answer far from the guess).
    """
    refined = axis
    for _ in range(3):
        wall = np.abs(normals @ refined) < wall_share
        weight = areas[wall]
        if weight.sum() < 0.2 * areas.sum():
            return None
        spread = normals[wall] - weight @ normals[wall] / weight.sum()
        _, vectors = np.linalg.eigh((spread * weight[:, None]).T @ spread)
        least = vectors[:, 0]
        refined = least if least @ axis > 0 else -least
    if refined @ axis < np.cos(np.deg2rad(_LARGEST_TURN_DEG)):
        return None
    return refined
