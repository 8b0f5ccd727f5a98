"""Where a crown and another tooth come near each other, finely enough to be measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from ...mesh.refine import evaluation_mesh
from ...mesh.triangle_mesh import TriangleMesh
from ...mesh.vicinity import vicinity
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown

FAR_MM = 1e3
"""Stands for the signed distance of what lies too far away or beside an open border."""
_DEEPEST_MM = 3.0
_COARSE_MM, _FINE_MM = 0.1, 0.025
"""Spacing of the places that are looked at around a contact, and at its rim and its bottom."""
_ROUGH_STEPS_MM = (5.0, 1.0, 0.3)


@dataclass(frozen=True, eq=False)
class Placed:
    """A crown in the die's frame.

    Attributes
    ----------
    crown : FitCrown
        In its own frame.
    T_die_crown : (4, 4) float
    points : (n', 3) float
        Its evaluation points in the die's frame, mm.
    """

    crown: FitCrown
    T_die_crown: FloatArray
    points: FloatArray

    @property
    def external(self) -> BoolArray:
        """Which evaluation points, (n',), lie outside: all that are not known to be intaglio."""
        areas = self.crown.area_set.areas
        if "intaglio" not in areas:
            return np.ones(len(self.points), dtype=bool)
        return ~areas["intaglio"].points

    @property
    def middle(self) -> FloatArray:
        """Middle, (3,), of its margin line, or of its box where that is not known."""
        line = self.crown.area_set.margin_line
        middle = self.crown.evaluation.mesh.bounds if line is None else line.points_mm
        return self.from_crown(middle.mean(axis=0))

    @classmethod
    def of(cls, crown: FitCrown, T_die_crown: FloatArray | None) -> Placed:
        """Place a crown; as it lies if there is no pose."""
        pose = np.eye(4) if T_die_crown is None else np.asarray(T_die_crown, dtype=np.float64)
        return cls(crown, pose, crown.evaluation.points @ pose[:3, :3].T + pose[:3, 3])

    def into_crown(self, points: FloatArray) -> FloatArray:
        """Points (k, 3) of the die's frame in the crown's."""
        inside: FloatArray = (points - self.T_die_crown[:3, 3]) @ self.T_die_crown[:3, :3]
        return inside

    def from_crown(self, points: FloatArray) -> FloatArray:
        """Points (k, 3) of the crown's frame in the die's."""
        placed: FloatArray = points @ self.T_die_crown[:3, :3].T + self.T_die_crown[:3, 3]
        return placed

    def on_surface(self, point: FloatArray) -> FloatArray:
        """The place of the crown's surface nearest to a point (3,), both in the die's frame."""
        foot: FloatArray = self.crown.index.closest(self.into_crown(point[None])).foot
        placed: FloatArray = self.from_crown(foot)[0]
        return placed


@dataclass(frozen=True, eq=False)
class Meeting:
    """A crown and a tooth; lengths mm, places in the die's frame.

    Attributes
    ----------
    gap_mm : (n',) float
        Signed distance from each of the crown's evaluation points to the tooth, negative inside
        it; ``FAR_MM`` where it is not near, and on the intaglio.
    near : (f,) int
        The crown's faces near the tooth.
    corners, values : (t, 3, 3), (t, 3) float
        Those faces in small triangles, and the signed distances at their corners.
    part_of : (t,) int
        Place in ``near`` of the face that each triangle is a part of.
    feet, depth : (q, 3), (q,) float
        Places on the crown's near faces nearest to places of the tooth, and the signed distance
        of these from the crown, negative inside it.
    foot_on : (q,) int
        Place in ``near`` of the face that holds each foot.
    """

    gap_mm: FloatArray
    near: IntArray
    corners: FloatArray
    values: FloatArray
    part_of: IntArray
    feet: FloatArray
    depth: FloatArray
    foot_on: IntArray

    def smallest(self, place: FloatArray, radius_mm: float) -> float:
        """The smallest signed distance near a place, mm; NaN where nothing is near."""
        here = np.linalg.norm(self.corners.reshape(-1, 3) - place, axis=1) <= radius_mm
        there = np.linalg.norm(self.feet - place, axis=1) <= radius_mm
        both = np.concatenate([self.values.ravel()[here], self.depth[there]])
        least = float(both.min(initial=FAR_MM))
        return least if least < FAR_MM else np.nan


def meet(placed: Placed, tooth: SurfaceIndex, search_mm: float) -> Meeting:
    """Look at a crown's external surface and a tooth from both sides.

    Signed distances are exact, and taken at most 0.025 mm apart on both surfaces around the rim of
    an overlap and where the surfaces are nearest or deepest.

    Parameters
    ----------
    placed : Placed
    tooth : SurfaceIndex
        In the die's frame, faces turned outward.
    search_mm : float
        Farther away, nothing is near.
    """
    crown = placed.crown
    faces = crown.evaluation.mesh.faces
    gap = np.full(len(placed.points), FAR_MM)
    # Between its corners a face comes nearer by less than its edges are long.
    reach = search_mm + crown.evaluation.spacing_mm
    low, high = tooth.mesh.bounds[0] - reach, tooth.mesh.bounds[1] + reach
    inside = ((placed.points >= low) & (placed.points <= high)).all(axis=1)
    asked = np.flatnonzero(inside & placed.external & crown.evaluation.mesh.used_vertices)
    gap[asked] = signed_to(tooth, placed.points[asked], reach)
    external = placed.external[faces].all(axis=1)
    near = np.flatnonzero(external & (gap[faces].min(axis=1) <= reach))
    gap[gap > search_mm] = FAR_MM
    part = TriangleMesh(placed.points, faces[near])
    corners, values, part_of = _finely(part, tooth, search_mm)
    feet, depth, foot_on = _from_tooth(placed, tooth, near, corners, values, search_mm)
    return Meeting(gap, near, corners, values, part_of, feet, depth, foot_on)


def signed_to(surface: SurfaceIndex, points: FloatArray, search_mm: float) -> FloatArray:
    """Signed distances (k,) of points; ``FAR_MM`` beyond the search or at an open border."""
    if not len(points):
        return np.zeros(0)
    found = surface.closest(points, max_distance_mm=max(search_mm, _DEEPEST_MM), signed=True)
    assert found.signed_mm is not None  # it was asked for
    known = found.found & ~found.on_border & (found.signed_mm <= search_mm)
    return np.where(known, found.signed_mm, FAR_MM)


def _finely(
    part: TriangleMesh, other: SurfaceIndex, search_mm: float
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Small triangles of a surface, signed distances at their corners, and faces they are of."""
    if not len(part):
        return np.zeros((0, 3, 3)), np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    mesh, source = _compact(part), np.arange(len(part))
    edge = float(np.linalg.norm(mesh.triangles - np.roll(mesh.triangles, 1, 1), axis=2).max())
    value = signed_to(other, mesh.vertices, search_mm)[mesh.faces]
    corners, values, sources = [], [], []
    for spacing in (_COARSE_MM, _FINE_MM):
        finer = _worth_dividing(value, edge)
        if edge <= spacing or not finer.any():
            continue
        corners.append(mesh.triangles[~finer])
        values.append(value[~finer])
        sources.append(source[~finer])
        divided = evaluation_mesh(mesh.kept(finer), spacing)
        mesh, source, edge = divided.mesh, source[finer][divided.source_face], spacing
        value = signed_to(other, mesh.vertices, search_mm)[mesh.faces]
    return (
        np.concatenate([*corners, mesh.triangles]),
        np.concatenate([*values, value]),
        np.concatenate([*sources, source]),
    )


def _worth_dividing(value: FloatArray, edge_mm: float) -> BoolArray:
    """Which triangles can hold a rim or the lowest place: a step changes a distance by no more."""
    lowest, highest = value.min(axis=1), value.max(axis=1)
    rim = (lowest <= edge_mm) & (highest >= -edge_mm)
    worth: BoolArray = rim | (lowest <= lowest.min() + edge_mm)
    return worth


def _compact(mesh: TriangleMesh) -> TriangleMesh:
    """Without vertices that no face uses."""
    return mesh.kept(np.ones(len(mesh), dtype=bool))


def _from_tooth(
    placed: Placed,
    tooth: SurfaceIndex,
    near: IntArray,
    corners: FloatArray,
    values: FloatArray,
    search_mm: float,
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Feet on the crown of places of the tooth beside it, their signed distance, and their face."""
    nothing = np.zeros((0, 3)), np.zeros(0), np.zeros(0, dtype=np.int64)
    if float(values.min(initial=FAR_MM)) == FAR_MM:
        return nothing
    least = max(float(values.min()), 0.0)
    beside = corners[values.min(axis=1) <= least + _COARSE_MM].reshape(-1, 3)
    part = vicinity(tooth.mesh, beside, least + _COARSE_MM)[0]
    for spacing in _ROUGH_STEPS_MM:  # large faces are not divided where they lie far away
        part = vicinity(evaluation_mesh(part, spacing).mesh, beside, least + _COARSE_MM)[0]
    if not len(part):
        return nothing
    moved = TriangleMesh(placed.into_crown(part.vertices), part.faces)
    corners, values, _ = _finely(moved, placed.crown.index, search_mm)
    fine = corners[values <= max(float(values.min()), 0.0) + _FINE_MM]
    fine = fine[np.sort(np.unique(fine.round(9), axis=0, return_index=True)[1])]
    found = placed.crown.index.closest(fine, max_distance_mm=_DEEPEST_MM, signed=True)
    assert found.signed_mm is not None  # it was asked for
    place = np.full(len(placed.crown.evaluation.mesh), -1)
    place[near] = np.arange(len(near))
    on = np.where(found.found, place[found.face], -1)
    good = (on >= 0) & ~found.on_border & (found.signed_mm <= search_mm)
    return placed.from_crown(found.foot[good]), found.signed_mm[good], on[good]
