"""Single contacts of a crown with one tooth, out of where the two come near each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ...arrays import BoolArray, FloatArray, IntArray
from ...mesh.graph import components
from ...mesh.triangle_mesh import TriangleMesh
from .meeting import FAR_MM, Meeting, Placed
from .partial import part_below_zero
from .result import ContactKind

APART_MM = {"proximal": 3.0, "occlusal": 0.0}
"""Patches whose middles lie nearer together than this are one contact: a proximal contact is one
place, an occlusal one each cusp's own."""


@dataclass(frozen=True, eq=False)
class Spot:
    """A contact, or the nearest place; lengths mm, in the die's frame.

    Attributes
    ----------
    gap_mm : float
        The smallest signed distance; NaN where nothing is near.
    area_mm2 : float
        Of the crown's surface inside the tooth, as seen along its mean normal.
    place_mm : (3,) float
        On the crown; NaN where nothing is near.
    """

    gap_mm: float
    area_mm2: float
    place_mm: FloatArray


NO_SPOT = Spot(np.nan, 0.0, np.full(3, np.nan))


def spots(placed: Placed, meeting: Meeting, kind: ContactKind, open_mm: float) -> list[Spot]:
    """Return the contacts with a tooth, the deepest first; the nearest place if there is none.

    A contact is a connected patch of faces in which the signed distance falls below ``open_mm``:
    single places that a scan's roughness tears apart stay together.
    """
    lowest = _lowest_of_faces(meeting)
    if float(lowest.min(initial=FAR_MM)) == FAR_MM:
        return [NO_SPOT]
    touching = lowest < open_mm
    if not touching.any():
        return [_spot(placed, meeting, np.ones(len(lowest), dtype=bool))]
    patch = _joined(placed, meeting, _patches(placed, meeting, touching), kind)
    found = [_spot(placed, meeting, patch == k) for k in range(int(patch.max()) + 1)]
    return sorted(found, key=lambda spot: spot.gap_mm)


def overlap_mm2(meeting: Meeting) -> float:
    """Area of the crown's surface inside the tooth, along the surface, mm²."""
    share = part_below_zero(meeting.values, meeting.corners)[0]
    return float((share * np.linalg.norm(_area_vectors(meeting.corners), axis=1)).sum())


def _lowest_of_faces(meeting: Meeting) -> FloatArray:
    """The smallest signed distance in each near face, (f,), from both sides."""
    lowest = np.full(len(meeting.near), FAR_MM)
    np.minimum.at(lowest, meeting.part_of, meeting.values.min(axis=1))
    np.minimum.at(lowest, meeting.foot_on, meeting.depth)
    return lowest


def _patches(placed: Placed, meeting: Meeting, touching: BoolArray) -> IntArray:
    """Number of the connected patch of each near face, (f,); −1 for those that do not touch."""
    faces = placed.crown.evaluation.mesh.faces[meeting.near[touching]]
    pairs = TriangleMesh(placed.points, faces).graph.face_pairs
    patch = np.full(len(touching), -1)
    patch[touching] = components(pairs, len(faces))
    return patch


def _joined(placed: Placed, meeting: Meeting, patch: IntArray, kind: ContactKind) -> IntArray:
    """Patches, with those made one whose middles lie near together."""
    count = int(patch.max()) + 1
    if count < 2 or not APART_MM[kind]:
        return patch
    middles = np.stack([_spot(placed, meeting, patch == k).place_mm for k in range(count)])
    pairs = cKDTree(middles).query_pairs(APART_MM[kind], output_type="ndarray")
    joined = components(pairs.astype(np.int64), count)
    return np.where(patch >= 0, joined[patch], -1)


def _spot(placed: Placed, meeting: Meeting, faces: BoolArray) -> Spot:
    """The contact within some of the near faces, (f,) bool."""
    mine = faces[meeting.part_of]
    corners, values = meeting.corners[mine], meeting.values[mine]
    depth, feet = meeting.depth[faces[meeting.foot_on]], meeting.feet[faces[meeting.foot_on]]
    share, middle = part_below_zero(values, corners)
    vectors = share[:, None] * _area_vectors(corners)
    sizes = np.linalg.norm(vectors, axis=1)
    every = np.concatenate([values.ravel(), depth])
    lowest = int(every.argmin())
    if sizes.sum() > 0.0:
        place = placed.on_surface(sizes @ middle / sizes.sum())
    else:
        place = np.concatenate([corners.reshape(-1, 3), feet])[lowest]
    return Spot(float(every[lowest]), float(np.linalg.norm(vectors.sum(axis=0))), place)


def _area_vectors(corners: FloatArray) -> FloatArray:
    """Normals (t, 3) of triangles, as long as their areas, mm²."""
    vectors: FloatArray = 0.5 * np.cross(
        corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    )
    return vectors
