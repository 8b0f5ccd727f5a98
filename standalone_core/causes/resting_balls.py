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
        """For nearest points."""
        return cKDTree(self.points, balanced_tree=False)

    def is_clear(self, centres: FloatArray, radius_mm: float) -> BoolArray:
        """Whether balls about centres (k, 3) hold no point, (k,)."""
        bound = radius_mm - min(FIT_MM, 0.01 * radius_mm)
        distance, _ = self.tree.query(centres, distance_upper_bound=bound)
        clear: BoolArray = ~np.isfinite(distance)
        return clear

    def push_out(self, centres: FloatArray, radius_mm: float) -> FloatArray:
        """Push balls that cut in off their nearest points, again and again, (k, 3)."""
        centres = centres.copy()
        rows: IntArray = np.arange(len(centres))
        last: _Contact | None = None
        for _ in range(_ROUGH):
            distance, nearest = self.tree.query(centres[rows])
            cuts = distance < radius_mm - FIT_MM
            rows, nearest = rows[cuts], nearest[cuts]
            if not len(rows):
                break
            arm = centres[rows] - self.points[nearest]
            normal = self.normals[nearest]
            behind = np.einsum("ij,ij->i", arm, normal) < 0.0
            contact = _contact(self.points[nearest], arm, behind, normal, radius_mm)
            last = None if last is None else last.taken(cuts)
            centres[rows] = _pushed(centres[rows], contact, last, radius_mm)
            last = contact
        return centres


def rest_on_surface(index: SurfaceIndex, centres: FloatArray, radius_mm: float) -> FloatArray:
    """Settle balls on the triangles themselves.

    Beyond an open border there is no surface and no side: the border is taken as the edge of a
    body with nothing behind it. A ball may rest on it, and is pushed straight off it.

    Parameters
    ----------
    index : SurfaceIndex
        The surface, its faces pointing outwards.
    centres : (k, 3) float
        Where the balls start, mm; nearly at rest.
    radius_mm : float

    Returns
    -------
    (j, 3) float
        Centres that cut in by no more than 1 µm, j ≤ k; those that found no rest are left out.
    """
    centres = _thinned(centres, min(_APART_MM, _APART_SHARE * radius_mm))
    at_rest: list[FloatArray] = [centres[:0]]
    last: _Contact | None = None
    for push in range(_EXACT + 1):
        if not len(centres):
            break
        # What lies farther than the radius is of no interest and need not be found.
        found = index.closest(centres, max_distance_mm=radius_mm, signed=True)
        assert found.signed_mm is not None
        behind = (found.signed_mm < 0.0) & ~found.on_border
        rests = (found.distance_mm >= radius_mm - _SETTLED_MM) & ~behind
        at_rest.append(centres[rests])
        if push == _EXACT:
            break
        centres, foot, behind = centres[~rests], found.foot[~rests], behind[~rests]
        arm = centres - foot
        contact = _contact(foot, arm, behind, arm, radius_mm)
        last = None if last is None else last.taken(~rests)
        centres = _pushed(centres, contact, last, radius_mm)
        last = contact
    return np.concatenate(at_rest)


def _contact(
    foot: FloatArray, arm: FloatArray, behind: BoolArray, normal: FloatArray, radius_mm: float
) -> _Contact:
    """Planes a radius in front of feet; ``normal`` where a centre lies on its foot."""
    length = np.linalg.norm(arm, axis=1, keepdims=True)
    away = np.where(behind[:, None], -arm, arm)
    away = np.where(length > 1e-6, away / np.maximum(length, 1e-6), normal)
    return _Contact(away, np.einsum("ij,ij->i", away, foot) + radius_mm)


def _pushed(
    centres: FloatArray, contact: _Contact, last: _Contact | None, radius_mm: float
) -> FloatArray:
    """Least push in front of one plane or, where that falls behind the last one, of both.

    Two pushes at a time find the crease of two planes at once; by turns it is approached by a
    factor cos² of the angle between them, hardly at all where that is small.
    """
    lack = contact.offset_mm - np.einsum("ij,ij->i", contact.normal, centres)
    moved: FloatArray = centres + lack[:, None] * contact.normal
    if last is None:
        return moved
    cosine = np.einsum("ij,ij->i", contact.normal, last.normal)
    sine2 = 1.0 - cosine**2
    lack_last = last.offset_mm - np.einsum("ij,ij->i", last.normal, centres)
    falls_behind = lack_last > cosine * lack + 1e-9
    share = (lack - cosine * lack_last) / np.maximum(sine2, _PARALLEL)
    share_last = (lack_last - cosine * lack) / np.maximum(sine2, _PARALLEL)
    push = share[:, None] * contact.normal + share_last[:, None] * last.normal
    both = falls_behind & (sine2 > _PARALLEL) & (np.linalg.norm(push, axis=1) < radius_mm)
    return np.where(both[:, None], centres + push, moved)


def _thinned(places: FloatArray, spacing_mm: float) -> FloatArray:
    """One place of each occupied cube of a grid."""
    _, kept = np.unique(np.floor(places / spacing_mm).astype(np.int64), axis=0, return_index=True)
    return places[kept]
