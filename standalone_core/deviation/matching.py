"""Which matches are mutual: between a point and its foot there is material of one surface only.

Where there is excess, the way from a point of the design to its foot on the scan leads through
what the design leaves empty; where material is missing, through what the design fills. A scan
that does not show a surface leaves its points to the nearest one that it does show, perhaps
behind a wall: the way there leads through what both fill. Such a match is refused if its foot is
clearly nearer to another place of the design that faces the same way, which has the better claim
to it, and if the points about it show that the scan ends there.

Conversely a point whose foot faces another way is let in if material is missing all the way to
the foot: the end face of a short margin and the floor of a chip stand across the walls that they
cut off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.graph import components
from ..mesh.patches import with_neighbours
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps, run, scaled
from ..surface.closest import ClosestPoints, SurfaceIndex
from .field import (
    COUNTED,
    NORMALS_DISAGREE,
    NOT_MUTUAL,
    ON_BORDER,
    TOO_FAR,
    DeviationField,
    normals_agree,
)

_FAR_MM = 0.1
"""Longer matches are looked at wherever they are; ours, no source."""
_SHORT_MM = 0.005
"""Shorter ones are not: no wall is that thin. Ours, no source."""
_RINGS = 2
"""Edges from a point without a match within which matches are looked at; ours, no source."""
_LEAST_COSINE = 0.5
"""Of the angle at which a match leaves its point; more aslant than 60° it is looked at."""
_PLACES = np.array([0.2, 0.4, 0.6, 0.8])
"""Where the way to the foot is looked at, as shares of it."""
_CONTRARY = 0.15
"""Depth on the wrong side, as a share of the match, from which on the way there says no. A chord
of a round surface of radius R is an eighth of its length over R off it; ours, no source."""
_MISSING = 0.02
"""Depth inside, as a share of the match, from which on material is missing. Half-way up from a
wall to the floor of a chip it is half the sine of half the edge's angle; ours, no source."""
_NEARER = 0.5
"""A foot that is nearer than this share of its match to another place belongs there."""
_ISLAND_MM2 = 0.05
"""A smaller counted patch in the middle of what the scan does not show is chance; ours."""
_POINTS_PER_STEP = 20_000


@dataclass(frozen=True, eq=False)
class _Matches:
    """Some points and their feet.

    Attributes
    ----------
    points : (k,) int
        Of the field.
    start_mm : (k, 3) float
    feet : ClosestPoints
        k feet on the other surface, with sides.
    """

    points: IntArray
    start_mm: FloatArray
    feet: ClosestPoints

    def __len__(self) -> int:
        return len(self.points)

    @property
    def signed_mm(self) -> FloatArray:
        """Distance of each point in front of the other surface, (k,); negative behind it."""
        assert self.feet.signed_mm is not None  # signed distances were asked for
        return self.feet.signed_mm

    def taken(self, rows: BoolArray) -> _Matches:
        """Return some of them."""
        feet = replace(
            self.feet,
            foot=self.feet.foot[rows],
            distance_mm=self.feet.distance_mm[rows],
            signed_mm=self.signed_mm[rows],
            face=self.feet.face[rows],
            feature=self.feet.feature[rows],
        )
        return _Matches(self.points[rows], self.start_mm[rows], feet)


def mutual_steps(
    field: DeviationField, mesh: TriangleMesh, other: SurfaceIndex, home: SurfaceIndex
) -> Steps[DeviationField]:
    """Judge matches as :func:`mutual` does, step by step."""
    if field.direction == "design_to_scan":
        field = yield from _with_missing_steps(field, mesh, other, home)
    return (yield from scaled(through_no_wall_steps(field, mesh, other, home), 0.5, 1.0))


def mutual(
    field: DeviationField, mesh: TriangleMesh, other: SurfaceIndex, home: SurfaceIndex
) -> DeviationField:
    """Refuse matches that lead through a wall, and let in what is missing at sharp edges.

    Parameters
    ----------
    field : DeviationField
        As measured, with its feet.
    mesh : TriangleMesh
        Its vertices are the field's points.
    other : SurfaceIndex
        The surface that was measured to.
    home : SurfaceIndex
        The surface that the points lie on: of ``mesh``, or of the mesh that it was refined from.

    Returns
    -------
    DeviationField
        Refused points have the status 4 and neither deviation nor foot. Points at which material
        is missing count (from design to scan only), though their feet face another way.

    Notes
    -----
    Only long, aslant or outlying matches are looked at: O(those), two closest points for each
    and four on the way. An end of an open scan looks like a margin that is short there:
    points nearest to an open border never count.
    """
    return run(mutual_steps(field, mesh, other, home))


def through_no_wall_steps(
    field: DeviationField,
    mesh: TriangleMesh,
    other: SurfaceIndex,
    home: SurfaceIndex | None = None,
) -> Steps[DeviationField]:
    """Refuse as :func:`mutual` does, and let nothing in; ``home`` is made of ``mesh`` at need."""
    chosen = np.flatnonzero(_to_look_at(field, mesh))
    claimed = np.zeros(len(field), dtype=bool)
    for start in range(0, len(chosen), _POINTS_PER_STEP):
        yield Progress("Measuring", start / len(chosen))
        home = home or SurfaceIndex(mesh, threads=other.threads)
        matches = _matches(field, chosen[start : start + _POINTS_PER_STEP], other)
        odd = matches.taken(_Ways.of(matches, home).contrary | _aside(matches, mesh))
        claimed[odd.points[_claimed(odd, other, home, field)]] = True
    return _refused(field, mesh, claimed)


def _with_missing_steps(
    field: DeviationField, mesh: TriangleMesh, other: SurfaceIndex, home: SurfaceIndex
) -> Steps[DeviationField]:
    """Let in points at which material is missing, ring by ring from those that count."""
    waiting = field.status == NORMALS_DISAGREE
    ahead = waiting & _near(field.counted, mesh) if waiting.any() else waiting
    while ahead.any():
        yield Progress("Measuring", 0.0)
        waiting &= ~ahead
        matches = _matches(field, np.flatnonzero(ahead), other)
        matches = matches.taken((matches.signed_mm > 0) & ~matches.feet.on_border)
        new = matches.taken(_Ways.of(matches, home).missing)
        field = _counting(field, new)
        ahead = waiting & _near(_mask(new.points, len(field)), mesh)
    return field


def _counting(field: DeviationField, new: _Matches) -> DeviationField:
    """Return the field with some more points of missing material."""
    if not len(new):
        return field
    assert field.foot_mm is not None  # it was measured
    assert field.foot_face is not None
    status, deviation = field.status.copy(), field.deviation_mm.copy()
    foot, face = field.foot_mm.copy(), field.foot_face.copy()
    status[new.points] = COUNTED
    deviation[new.points] = -new.signed_mm
    foot[new.points], face[new.points] = new.feet.foot, new.feet.face
    return replace(field, status=status, deviation_mm=deviation, foot_mm=foot, foot_face=face)


def _to_look_at(field: DeviationField, mesh: TriangleMesh) -> BoolArray:
    """Return which counted matches may be wrong, (n,): long, aslant or near unmeasured points.

    None where the other surface ends nowhere near: whatever is there was seen.
    """
    if not ends_somewhere(field.status):
        return np.zeros(len(field), dtype=bool)
    assert field.foot_mm is not None  # it was measured
    length = np.abs(field.deviation_mm)
    outwards = np.einsum("ij,ij->i", field.foot_mm - field.points_mm, mesh.vertex_normals)
    in_front = (field.deviation_mm > 0) == (field.direction == "scan_to_design")
    aslant = np.where(in_front, -outwards, outwards) < _LEAST_COSINE * length
    doubtful: BoolArray = (length > _FAR_MM) | aslant | _near(~field.counted, mesh)
    return doubtful & field.counted & (length > _SHORT_MM)


def ends_somewhere(status: NDArray[np.uint8]) -> bool:
    """Return whether the other surface ends at any of the points; else no match is refused."""
    return bool(_unseen(status).any())


def _unseen(status: NDArray[np.uint8]) -> BoolArray:
    """Return the points, (n,), at which the other surface ends."""
    unseen: BoolArray = (status == ON_BORDER) | (status == TOO_FAR)
    return unseen


def _near(points: BoolArray, mesh: TriangleMesh) -> BoolArray:
    """Return some points and those within a few edges of them, (n,)."""
    for _ in range(_RINGS):
        points = with_neighbours(points, mesh.faces)
    return points


def _matches(field: DeviationField, points: IntArray, other: SurfaceIndex) -> _Matches:
    """Find the feet of some points again, with the faces that hold them."""
    start = field.points_mm[points]
    feet = other.closest(start, max_distance_mm=field.settings.search_mm, signed=True)
    return _Matches(points, start, feet)


@dataclass(frozen=True, eq=False)
class _Ways:
    """What lies between points and their feet.

    Attributes
    ----------
    contrary : (k,) bool
        The surface's own solid on the way to excess, or emptiness on the way to missing material.
    missing : (k,) bool
        Solid all the way, well inside somewhere.
    """

    contrary: BoolArray
    missing: BoolArray

    @classmethod
    def of(cls, matches: _Matches, home: SurfaceIndex) -> _Ways:
        """Look at a few places on each way."""
        ways = matches.feet.foot - matches.start_mm
        places = matches.start_mm[:, None, :] + _PLACES[:, None] * ways[:, None, :]
        there = home.closest(places.reshape(-1, 3), signed=True)
        assert there.signed_mm is not None  # signed distances were asked for
        height = there.signed_mm.reshape(-1, len(_PLACES))
        known = ~there.on_border.reshape(height.shape)
        length = matches.feet.distance_mm[:, None]
        wrong = np.where(matches.signed_mm[:, None] > 0, height, -height) > _CONTRARY * length
        deep = height < -_MISSING * length
        contrary: BoolArray = np.logical_or.reduce(wrong & known, axis=1)
        missing: BoolArray = np.logical_and.reduce(known, axis=1) & deep.any(axis=1) & ~contrary
        return cls(contrary, missing)


def _aside(matches: _Matches, mesh: TriangleMesh) -> BoolArray:
    """Return the long matches, (k,), that run along their own surface.

    The corner of a short end draws them, if the other surface was seen all about it, or its last
    faces, if it merely goes on unseen.
    """
    way = matches.feet.foot - matches.start_mm
    length = matches.feet.distance_mm
    ahead = np.einsum("ij,ij->i", way, mesh.vertex_normals[matches.points])
    aside: BoolArray = (np.abs(ahead) < _LEAST_COSINE * length) & (length > _FAR_MM)
    return aside


def _claimed(
    matches: _Matches, other: SurfaceIndex, home: SurfaceIndex, field: DeviationField
) -> BoolArray:
    """Return whether feet belong to other, nearer places of the first surface that face alike."""
    feet = matches.feet
    back = home.closest(feet.foot, max_distance_mm=field.settings.search_mm)
    least = float(np.cos(np.radians(field.settings.max_normal_angle_deg)))
    corners = other.mesh.vertex_normals[other.mesh.faces[feet.face]]
    smooth = np.einsum("nk,nkj->nj", feet.barycentric, corners)
    alike = normals_agree(other.mesh.face_normals[feet.face], back, home.mesh, least)
    alike |= normals_agree(smooth, back, home.mesh, least)
    claimed: BoolArray = alike & (back.distance_mm < _NEARER * feet.distance_mm)
    return claimed


def _refused(field: DeviationField, mesh: TriangleMesh, claimed: BoolArray) -> DeviationField:
    """Return the field without the claimed matches where the scan ends, nor islands there."""
    unseen = _unseen(field.status)
    if not unseen.any():
        return field
    sides = np.concatenate([mesh.faces[:, [k, (k + 1) % 3]] for k in range(3)])
    lost = _connected(~field.counted | claimed, unseen, sides)
    islands = _islands(field, field.counted & ~lost, lost, sides)
    refused = (claimed & lost) | islands
    if not refused.any():
        return field
    assert field.foot_mm is not None  # it was measured
    assert field.foot_face is not None
    return replace(
        field,
        status=np.where(refused, NOT_MUTUAL, field.status).astype(np.uint8),
        deviation_mm=np.where(refused, np.nan, field.deviation_mm),
        foot_mm=np.where(refused[:, None], np.nan, field.foot_mm),
        foot_face=np.where(refused, -1, field.foot_face),
    )


def _connected(mask: BoolArray, seeds: BoolArray, sides: IntArray) -> BoolArray:
    """Return the points of a mask, (n,), that sides lead to from seeds among them."""
    piece = components(sides[mask[sides].all(axis=1)], len(mask))
    holds = np.zeros(len(mask), dtype=bool)
    holds[piece[seeds & mask]] = True
    connected: BoolArray = mask & holds[piece]
    return connected


def _islands(
    field: DeviationField, counted: BoolArray, lost: BoolArray, sides: IntArray
) -> BoolArray:
    """Return the points, (n,), of small counted patches beside what the scan does not show."""
    piece = components(sides[counted[sides].all(axis=1)], len(field))
    small = np.bincount(piece, weights=field.weights_mm2) < _ISLAND_MM2
    beside = np.zeros(len(small), dtype=bool)
    for start, end in (sides.T, sides.T[::-1]):
        beside[piece[start[counted[start] & lost[end]]]] = True
    islands: BoolArray = counted & (small & beside)[piece]
    return islands


def _mask(index: IntArray, count: int) -> BoolArray:
    mask = np.zeros(count, dtype=bool)
    mask[index] = True
    return mask
