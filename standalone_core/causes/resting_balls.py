"""Where a ball comes to rest in inside corners: centres that touch without cutting in.

A ball that is pushed out of every place it cuts into slides onto the crease along which it touches
twice. Many start in one corner and end along the same line, so they are pushed roughly by a cloud
of points first, thinned, and only then settled on the triangles.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray, IntArray
from ..surface.closest import SurfaceIndex

FIT_MM = 5e-4
"""How far a ball may cut in and still fit: facets and averaged normals are no better."""
_SETTLED_MM = 1e-3
_ROUGH, _EXACT = 8, 6
"""Pushes by points, and on triangles at most."""
_SEEKING = 3
"""The first pushes seek the place nearest to the point that is to be filled."""
_TOO_DEEP_MM = 5e-3
_SINKING = (0.1, 0.1, 0.05, 0.025, 0.0125, 0.006, 0.003)
"""Steps down, in radii."""
_REACH = 4.0
"""A ball is not sought farther than this many radii from its point at one push."""
_LEAF = 40
_LOOKS, _INSIDE_MM = 8, 0.01
"""Steps along a straight way, and how deep under the surface one has surely left it."""
_APART_MM, _APART_SHARE = 0.05, 0.1
"""Centres are thinned to this spacing: at most 0.05 mm and a tenth of the radius."""
_PARALLEL = 0.02
"""Squared sine of the angle below which two contacts are taken for one."""


class _Contact(NamedTuple):
    """Planes that centres have to stay in front of: ``normal · c ≥ offset``."""

    normal: FloatArray
    """(k, 3), away from the surface."""
    offset_mm: FloatArray
    """(k,)."""

    def taken(self, rows: BoolArray | IntArray) -> _Contact:
        return _Contact(self.normal[rows], self.offset_mm[rows])


@dataclass(frozen=True, eq=False)
class PointCloud:
    """Evaluation points as what a ball must not hold.

    Attributes
    ----------
    points, normals : (n, 3) float
        Spread all over the surface, and the unit normals there. Between points h apart a ball
        may cut in by up to h²/(6 r): 2 µm for 0.1 mm and a radius of 0.9 mm.
    """

    points: FloatArray
    normals: FloatArray

    @cached_property
    def tree(self) -> cKDTree:
        """For nearest points; large leaves, as many lie about equally far from a ball's centre."""
        return cKDTree(self.points, _LEAF)

    def is_clear(self, centres: FloatArray, radius_mm: float) -> BoolArray:
        """Whether balls about centres (k, 3) hold no point, (k,)."""
        bound = radius_mm - min(FIT_MM, 0.01 * radius_mm)
        distance, _ = self.tree.query(centres, distance_upper_bound=bound)
        clear: BoolArray = ~np.isfinite(distance)
        return clear

    def push_out(self, rows: IntArray, radius_mm: float) -> FloatArray:
        """Balls that touch at some points, pushed off all others, as near as may be, (k, 3).

        They come to rest a few µm too deep, so that settling on triangles moves them outwards.
        """
        radius_mm -= min(_TOO_DEEP_MM, 0.05 * radius_mm)
        targets, normals = self.points[rows], self.normals[rows]
        centres = targets + radius_mm * normals
        last = _Contact(normals, np.einsum("ij,ij->i", normals, targets) + radius_mm)
        rows = np.arange(len(centres))
        for push in range(_ROUGH):
            distance, nearest = self.tree.query(centres[rows])
            cuts = distance < radius_mm - FIT_MM
            rows, nearest = rows[cuts], nearest[cuts]
            if not len(rows):
                break
            arm = centres[rows] - self.points[nearest]
            normal = self.normals[nearest]
            behind = np.einsum("ij,ij->i", arm, normal) < 0.0
            contact = _contact(self.points[nearest], arm, behind, normal, radius_mm)
            goals = (targets if push < _SEEKING else centres)[rows]
            centres[rows] = _pushed(centres[rows], goals, contact, last.taken(cuts), radius_mm)
            last = contact
        return centres

    def sink(self, centres: FloatArray, targets: FloatArray, radius_mm: float) -> FloatArray:
        """Let balls slide down towards their targets, (k, 3), by smaller and smaller steps.

        Over edges and pits a push straight off one contact leaves them too high.
        """
        radius_mm -= min(_TOO_DEEP_MM, 0.05 * radius_mm)
        centres = centres.copy()
        for step in _SINKING:
            way = centres - targets
            length = np.linalg.norm(way, axis=1)
            tried = centres - (step * radius_mm / np.maximum(length, radius_mm))[:, None] * way
            for _ in range(2):
                distance, nearest = self.tree.query(tried)
                arm = tried - self.points[nearest]
                short = np.maximum(radius_mm / np.maximum(distance, 0.5 * radius_mm) - 1.0, 0.0)
                tried += short[:, None] * arm
            nearer = np.linalg.norm(tried - targets, axis=1) < length
            centres[nearer] = tried[nearer]
        return centres

    def in_sight(self, targets: FloatArray, centres: FloatArray) -> BoolArray:
        """Whether the straight way from each target to its centre stays outside, (k,).

        A ball that starts in a narrow slot can be pushed out through its far wall.
        """
        steps = np.arange(1, _LOOKS)[:, None, None] / _LOOKS
        places = (targets + steps * (centres - targets)).reshape(-1, 3)
        _, nearest = self.tree.query(places)
        height = np.einsum("ij,ij->i", places - self.points[nearest], self.normals[nearest])
        seen: BoolArray = (height > -_INSIDE_MM).reshape(_LOOKS - 1, -1).all(axis=0)
        return seen


def rest_on_surface(
    index: SurfaceIndex, centres: FloatArray, targets: FloatArray, radius_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Settle balls on the triangles themselves.

    Beyond an open border there is no surface and no side: the border is taken as the edge of a
    body. A ball may rest on it and is pushed straight off it; one that has slipped round it, to
    behind the faces at the border, is left out.

    Parameters
    ----------
    index : SurfaceIndex
        The surface, its faces pointing outwards.
    centres : (k, 3) float
        Where the balls start, mm; nearly at rest.
    targets : (k, 3) float
        What each should come to rest close to.
    radius_mm : float

    Returns
    -------
    centres, targets : (j, 3) float
        Those that cut in by no more than 1 µm, j ≤ k; balls that found no rest are left out.
    """
    at_rest = [(centres[:0], targets[:0])]
    last: _Contact | None = None
    for push in range(_EXACT + 1):
        if not len(centres):
            break
        # What lies farther than the radius is of no interest and need not be found.
        found = index.closest(centres, max_distance_mm=radius_mm, signed=True)
        assert found.signed_mm is not None
        behind = found.signed_mm < 0.0
        rests = (found.distance_mm >= radius_mm - _SETTLED_MM) & ~behind
        at_rest.append((centres[rests], targets[rests]))
        if push == _EXACT:
            break
        goes_on = ~rests & ~(behind & found.on_border)
        centres, targets, foot = centres[goes_on], targets[goes_on], found.foot[goes_on]
        arm = centres - foot
        contact = _contact(foot, arm, behind[goes_on], arm, radius_mm)
        last = None if last is None else last.taken(goes_on)
        goals = targets if push <= _SEEKING else centres
        centres = _pushed(centres, goals, contact, last, radius_mm)
        last = contact
    resting, theirs = zip(*at_rest, strict=True)
    return np.concatenate(resting), np.concatenate(theirs)


def _contact(
    foot: FloatArray, arm: FloatArray, behind: BoolArray, normal: FloatArray, radius_mm: float
) -> _Contact:
    """Planes a radius in front of feet; ``normal`` where a centre lies on its foot."""
    length = np.linalg.norm(arm, axis=1, keepdims=True)
    away = np.where(behind[:, None], -arm, arm)
    away = np.where(length > 1e-6, away / np.maximum(length, 1e-6), normal)
    return _Contact(away, np.einsum("ij,ij->i", away, foot) + radius_mm)


def _pushed(
    centres: FloatArray,
    goals: FloatArray,
    contact: _Contact,
    last: _Contact | None,
    radius_mm: float,
) -> FloatArray:
    """The place nearest to the goals in front of this plane and the last one.

    That lies on the crease of the two; where it would not, centres are pushed straight off this
    plane. Two planes at a time reach a crease at once; by turns it is approached by a factor cos²
    of the angle between them, hardly at all where that is small.
    """
    short = contact.offset_mm - np.einsum("ij,ij->i", contact.normal, centres)
    moved: FloatArray = centres + short[:, None] * contact.normal
    if last is None:
        return moved
    cosine = np.einsum("ij,ij->i", contact.normal, last.normal)
    sine2 = np.maximum(1.0 - cosine**2, _PARALLEL)
    short = contact.offset_mm - np.einsum("ij,ij->i", contact.normal, goals)
    short_last = last.offset_mm - np.einsum("ij,ij->i", last.normal, goals)
    share = (short - cosine * short_last) / sine2
    share_last = (short_last - cosine * short) / sine2
    push = share[:, None] * contact.normal + share_last[:, None] * last.normal
    reached = np.linalg.norm(push, axis=1) < _REACH * radius_mm
    both = reached & (share > 0.0) & (share_last > 0.0) & (sine2 > _PARALLEL)
    return np.where(both[:, None], goals + push, moved)


def thinned(centres: FloatArray, radius_mm: float) -> IntArray:
    """One centre of each occupied cube of a grid that is fine against the radius, (j,) indices."""
    spacing_mm = min(_APART_MM, _APART_SHARE * radius_mm)
    _, kept = np.unique(np.floor(centres / spacing_mm).astype(np.int64), axis=0, return_index=True)
    return kept
