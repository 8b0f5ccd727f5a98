"""How a crown's intaglio lies on a die in one pose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from ...superimpose.rigid import apply, turned
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown

REACH_MM = 1.0
"""A place of the intaglio this near to the die is covered by it; ours, no source."""
LEAST_COVERED = 0.5
"""A die that covers less than this share of the intaglio does not match it."""
_LEAST_COSINE = 0.5
"""Intaglio and die look at each other within 60°, as the two surfaces of a match do elsewhere."""
_POINTS = 6_000


@dataclass(frozen=True, eq=False)
class Lie:
    """Where a die is under an intaglio.

    Attributes
    ----------
    T_die_crown : (4, 4) float
    points : (k,) int
        The crown's evaluation points that were looked at, all on its intaglio.
    distance_mm : (k,) float
        To the die, at most ``REACH_MM``; that, too, where the surfaces do not face each other.
    covered : (k,) bool
        A die that faces them is within reach.
    area_mm2 : (k,) float
        Area that each point stands for.
    inside_out : bool
        The die's faces look into it: it was taken as if they were turned round.
    """

    T_die_crown: FloatArray
    points: IntArray
    distance_mm: FloatArray
    covered: BoolArray
    area_mm2: FloatArray
    inside_out: bool

    @property
    def covered_share(self) -> float:
        """Share of the intaglio's area that the die covers."""
        return float(self.area_mm2[self.covered].sum() / self.area_mm2.sum())

    @property
    def rms_mm(self) -> float:
        """Root mean square of the distances, what is not covered counted at the reach."""
        return float(np.sqrt(self.area_mm2 @ self.distance_mm**2 / self.area_mm2.sum()))

    @property
    def typical_mm(self) -> float:
        """Median distance of what is covered; the reach if nothing is."""
        return float(np.median(self.distance_mm[self.covered])) if self.covered.any() else REACH_MM

    @property
    def matches(self) -> bool:
        """Whether the die covers enough of the intaglio for a seat to be sought."""
        return self.covered_share >= LEAST_COVERED


def lie_of(crown: FitCrown, die: SurfaceIndex, pose: FloatArray, count: int = _POINTS) -> Lie:
    """Look how a crown's intaglio lies on a die.

    Parameters
    ----------
    crown : FitCrown
    die : SurfaceIndex
    pose : (4, 4) float
        ``T_die_crown``.
    count : int
        About how many points are looked at.
    """
    inside = np.flatnonzero(crown.intaglio)
    inside = inside[:: max(1, len(inside) // count)]
    evaluation = crown.evaluation
    found = die.closest(apply(pose, evaluation.points[inside]), max_distance_mm=REACH_MM)
    # The intaglio's normals look out of the crown, so into the die.
    looks = -turned(pose, evaluation.normals[inside])
    facing = np.einsum("nk,nk->n", looks, die.mesh.face_normals[found.face])
    area = evaluation.weights_mm2[inside]
    near = found.found & ~found.on_border
    outward, inward = near & (facing >= _LEAST_COSINE), near & (facing <= -_LEAST_COSINE)
    inside_out = bool(area[inward].sum() > area[outward].sum())
    covered = inward if inside_out else outward
    distance = np.where(covered, found.distance_mm, REACH_MM)
    return Lie(pose, inside, distance, covered, area, inside_out)
