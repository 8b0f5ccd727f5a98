"""The space between a seated crown's intaglio and its die: the cement space as it came out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...arrays import BoolArray, FloatArray
from ...deviation.measures import weighted_percentile
from ...mesh.curvature import mean_curvature
from ...mesh.triangle_mesh import TriangleMesh
from ...shares import share_words
from ...superimpose.rigid import apply, turned
from ..crown import PARTS, FitCrown
from ..die import FitDie
from ..settings import GapSettings
from .result import AreaGap, GapMap

SEARCH_MM = 2.0
"""Where the die is farther away than this there is none; ours, no source."""
LEAST_COVERAGE = 0.9
"""Of a part of the intaglio, the least share measured that is not told about; ours, no source."""

_COS_FACING = 0.5  # within 60°, as where deviations are measured
_TOUCHING_MM = 1e-6  # so near, the way to the foot has no direction


@dataclass(frozen=True, eq=False)
class _Intaglio:
    """The faces of the intaglio alone: their points, and what each of these stands for."""

    points: FloatArray
    normals: FloatArray
    weights_mm2: FloatArray
    curvature: FloatArray
    number: BoolArray


def gap_map(crown: FitCrown, die: FitDie, T_die_crown: FloatArray, settings: GapSettings) -> GapMap:
    """Measure the gap from the intaglio of a seated crown to its die.

    The gap at a point is the exact distance to the die, negative inside it. There is none where
    the die is farther than 2 mm, where the foot lies on the die's open border, and where the
    surfaces do not face each other within 60°, as beside the edge of a crown that is longer than
    its preparation.

    Parameters
    ----------
    crown : FitCrown
    die : FitDie
    T_die_crown : (4, 4) float
        Where the crown lies in the die's frame.
    settings : GapSettings

    Returns
    -------
    GapMap
        Numbers are weighted by the area of the intaglio's faces.

    Notes
    -----
    The volume between a surface and its parallel at distance g along its normals is
    ∫ (g + H g² + K g³ / 3) dA (Steiner's formula) with H the mean and K the Gaussian curvature,
    here of the intaglio, its normals into the cavity: H is negative where the cavity is hollow.
    The first two terms are taken: exact on cylinders and cones, and otherwise short by about
    g³ K / 3, 0.003 of the volume where a gap of 0.1 mm goes with radii of 1 mm. On the last half
    row of triangles, where the curvature is not defined, it is the first term. Overlap counts 0.
    """
    own = _intaglio(crown)
    gap_mm = _gaps(own, die, T_die_crown)
    gap_um = np.full(len(crown.evaluation.points), np.nan)
    gap_um[own.number] = 1e3 * gap_mm
    areas = [_area("whole", np.ones(len(gap_mm), dtype=bool), own, gap_mm, settings)]
    areas += [_area(name, crown.parts[name][own.number], own, gap_mm, settings) for name in PARTS]
    return GapMap(gap_um, tuple(areas), _warnings(areas[0]))


def _intaglio(crown: FitCrown) -> _Intaglio:
    """The intaglio as a surface of its own: beside the margin line the outside must not count."""
    mesh = crown.evaluation.mesh
    faces = crown.intaglio[mesh.faces].all(axis=1)
    inside: TriangleMesh = mesh.kept(faces)
    number = np.zeros(len(mesh.vertices), dtype=bool)
    number[mesh.faces[faces].ravel()] = True
    return _Intaglio(
        points=inside.vertices,
        normals=inside.vertex_normals,
        weights_mm2=inside.vertex_areas,
        curvature=mean_curvature(inside, rounds=0),
        number=number,
    )


def _gaps(own: _Intaglio, die: FitDie, motion: FloatArray) -> FloatArray:
    """Signed distance of each point to the die, mm; NaN where there is none."""
    points, normals = apply(motion, own.points), turned(motion, own.normals)
    found = die.index.closest(points, max_distance_mm=SEARCH_MM, signed=True)
    assert found.signed_mm is not None  # it was asked for
    gap = found.signed_mm
    # The die's outward direction at the foot; on an edge that is the way from there to the point.
    touching = np.abs(gap) < _TOUCHING_MM
    away = (points - found.foot) / np.where(touching, 1.0, gap)[:, None]
    away[touching] = die.mesh.face_normals[found.face[touching]]
    facing = np.einsum("ij,ij->i", away, normals) <= -_COS_FACING
    return np.where(found.found & ~found.on_border & facing, gap, np.nan)


def _area(
    name: str, inside: BoolArray, own: _Intaglio, gap_mm: FloatArray, settings: GapSettings
) -> AreaGap:
    """Sum the gap up over one part."""
    measured = inside & np.isfinite(gap_mm)
    gap, weight = gap_mm[measured], own.weights_mm2[measured]
    total, area = float(own.weights_mm2[inside].sum()), float(weight.sum())
    coverage = area / total if total > 0 else np.nan
    if not area > 0:
        return AreaGap(name, 0.0, coverage, *[np.nan] * 9)
    mean = float((weight * gap).sum()) / area
    sd = float(np.sqrt((weight * (gap - mean) ** 2).sum() / area))
    percentiles = weighted_percentile(gap, weight, np.array([5.0, 50.0, 95.0]))
    space = settings.margin_space_um if name == "margin" else settings.cement_space_um
    open_mm = np.maximum(gap, 0.0)
    volume = float((weight * open_mm * (1.0 + own.curvature[measured] * open_mm)).sum())
    p5, p50, p95 = (1e3 * percentiles).tolist()
    return AreaGap(
        area=name,
        area_mm2=area,
        coverage=coverage,
        mean_um=1e3 * mean,
        sd_um=1e3 * sd,
        p5_um=p5,
        p50_um=p50,
        p95_um=p95,
        least_um=1e3 * float(gap.min()),
        most_um=1e3 * float(gap.max()),
        volume_mm3=volume,
        against_space_um=np.nan if space is None else 1e3 * mean - space,
    )


def _warnings(whole: AreaGap) -> tuple[str, ...]:
    if whole.coverage >= LEAST_COVERAGE:
        return ()
    return (
        f"The gap was measured on {share_words(whole.coverage, LEAST_COVERAGE)} of the intaglio "
        "only: elsewhere there is no die across from it.",
    )
