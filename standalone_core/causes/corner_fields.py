"""What filled fossae and burs leave in a design's inside corners, for all radii that are tried."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.refine import EvaluationMesh
from ..progress import Progress, Steps
from ..surface.closest import SurfaceIndex
from .ball_excess import ball_excess
from .settings import CausesSettings, ProductionFacts

FOSSA_BALLS_MM = (0.6, 0.9, 1.4)
BURS_MM = (1.0, 0.75, 0.5, 0.35)
"""What is tried where a radius is searched; common practice, no source."""

_THINNED_MM = 0.13
"""Balls are rolled over one point, the most concave one, of each cube of this size."""

_NEIGHBOURS = 3
_LARGEST_BUR_SHARE = 0.25
"""Of the design's largest extent: a ball of more reaches into no corner of a crown."""


@dataclass(frozen=True, eq=False)
class CornerFields:
    """Excess in inside corners at the evaluation points; see :class:`.design_fields.Fields`."""

    fossae: Mapping[float, FloatArray]
    bur_outside: Mapping[float, FloatArray]
    bur_inside: Mapping[float, FloatArray]


def effective_bur_mm(facts: ProductionFacts) -> float | None:
    """Return the radius that the bur left in the crown: it shrank with it, mm."""
    if facts.bur_radius_mm is None:
        return None
    factor = facts.enlargement
    return facts.bur_radius_mm / (factor if factor is not None and 1.0 <= factor <= 1.5 else 1.0)


def usable_bur_mm(facts: ProductionFacts, evaluation: EvaluationMesh) -> float | None:
    """Return the same; None too where it is too large for any corner of the crown."""
    bur = effective_bur_mm(facts)
    largest = float(np.ptp(evaluation.points, axis=0).max())
    return None if bur is None or bur > _LARGEST_BUR_SHARE * largest else bur


def corner_fields_steps(
    evaluation: EvaluationMesh,
    index: SurfaceIndex,
    inside: BoolArray,
    inner: BoolArray,
    settings: CausesSettings,
    productions: Sequence[ProductionFacts],
) -> Steps[CornerFields]:
    """Roll balls over both sides of a design.

    Parameters
    ----------
    evaluation : EvaluationMesh
    index : SurfaceIndex
        Of its mesh.
    inside, inner : (n,) bool
        Which points belong to the intaglio; and which do not lie at the margin.
    settings : CausesSettings
    productions : sequence of ProductionFacts
        Milled crowns ask for burs on the outside, all others for fossae.
    """
    known = {usable_bur_mm(facts, evaluation) for facts in productions}
    burs = tuple(sorted({*BURS_MM, *(bur for bur in known if bur is not None)}, reverse=True))
    ball = settings.fossa_ball_mm
    balls = FOSSA_BALLS_MM if ball is None else (ball,)
    ways = {facts.way for facts in productions}
    wanted = {*(balls if ways - {"milled"} else ()), *(burs if "milled" in ways else ())}
    radii = tuple(sorted(wanted, reverse=True))
    roller = _Roller.of(evaluation, index, inside)
    yield Progress("Rolling balls into the fossae", 0.2)
    distance, normal = roller.excess(~inside & inner, radii)
    yield Progress("Rolling balls into the intaglio", 0.6)
    within, _ = roller.excess(inside & inner, burs)
    return CornerFields(
        fossae={
            radius: column / column.max()
            for radius, column in normal.items()
            if radius in balls and ways - {"milled"}
        },
        bur_outside={
            radius: column
            for radius, column in distance.items()
            if "milled" in ways and radius in burs
        },
        bur_inside=within,
    )


@dataclass(frozen=True, eq=False)
class _Roller:
    """Some of a design's points, over which balls are rolled, and how to reach all others.

    Attributes
    ----------
    evaluation : EvaluationMesh
    index : SurfaceIndex
    few : (k,) int
        The points that were kept.
    nearest : (n, 3) int
        For each point three of them, by their places in ``few``, on its own side.
    shares : (n, 3) float
        Of their values in its own; their sum is 1.
    """

    evaluation: EvaluationMesh
    index: SurfaceIndex
    few: IntArray
    nearest: IntArray
    shares: FloatArray

    @classmethod
    def of(cls, evaluation: EvaluationMesh, index: SurfaceIndex, inside: BoolArray) -> _Roller:
        points = evaluation.points
        box = np.floor((points - points.min(axis=0)) / _THINNED_MM).astype(np.int64)
        order = np.argsort(evaluation.curvature, kind="stable")
        keys = np.column_stack([box, inside])[order]
        _, first = np.unique(keys, axis=0, return_index=True)
        few = np.sort(order[first])
        nearest = np.zeros((len(points), _NEIGHBOURS), dtype=np.int64)
        away = np.ones((len(points), _NEIGHBOURS))
        for side in (False, True):
            there = np.flatnonzero(inside[few] == side)
            asked = inside == side
            if len(there) >= _NEIGHBOURS:
                found = cKDTree(points[few[there]]).query(points[asked], k=_NEIGHBOURS)
                away[asked], nearest[asked] = found[0], there[found[1]]
        weights = 1.0 / np.maximum(away, 1e-9) ** 2
        return cls(evaluation, index, few, nearest, weights / weights.sum(axis=1, keepdims=True))

    def excess(
        self, chosen: BoolArray, radii: tuple[float, ...]
    ) -> tuple[dict[float, FloatArray], dict[float, FloatArray]]:
        """Return distance and normal part, (n,) each, mm, of the radii that leave anything."""
        few, mesh = self.few, self.evaluation.mesh
        found = ball_excess(
            self.index, mesh.vertices[few], mesh.vertex_normals[few], chosen[few], radii
        )
        distance: dict[float, FloatArray] = {}
        normal: dict[float, FloatArray] = {}
        for radius, way, part in zip(radii, found.distance_mm, found.normal_mm, strict=True):
            if np.isfinite(way).all() and way.max(initial=0.0) > 0.0:
                distance[radius] = self._everywhere(way, chosen)
                normal[radius] = self._everywhere(part, chosen)
        return distance, normal

    def _everywhere(self, values: FloatArray, chosen: BoolArray) -> FloatArray:
        full: FloatArray = np.where(
            chosen, np.einsum("ij,ij->i", values[self.nearest], self.shares), 0.0
        )
        return full
