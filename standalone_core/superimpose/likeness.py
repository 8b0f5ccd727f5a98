"""Does a scan show its design at all? How far off its surface lies typically, and by what scale.

A produced crown deviates by tens of micrometres nearly everywhere and by much more in few places:
chips, fillings, stubs. Another part deviates by much nearly everywhere, however well it is laid on.
So the median distance tells them apart and the root mean square does not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import FloatArray
from ..progress import Steps
from .candidates import Candidate, candidates_steps, reach_factor
from .feet import sample_feet, weighted_quantile
from .prepared import PreparedDesign
from .rigid import apply, inverse, rotation_from_vector
from .sampling import SurfaceSamples
from .settings import SuperimposeSettings

_ROUNDS, _SETTLED, _POINTS = 30, 1e-5, 1_000
_OTHER_SIZE = 1.05
"""Sizes that differ more than this are tried as the scale to begin with."""


@dataclass(frozen=True)
class Likeness:
    """How like its design a scan is in a pose.

    Attributes
    ----------
    typical_mm : float
        Median distance of those scan samples that come near the design.
    close_share : float
        Share of the surface that lies close to the other: of the scan or of the design, whichever
        is more, so that neither a scan of a part nor one that shows more than the design counts
        as unlike.
    close_mm : float
        What counts as close.
    limit_mm : float
        What counts as near.
    scan_overlap, design_overlap : float
        Share of the scan's, and of the design's, area that comes near the other.
    scale : Scale, optional
        Given only where the typical distance raises doubt.
    """

    typical_mm: float
    close_share: float
    close_mm: float
    limit_mm: float
    scan_overlap: float
    design_overlap: float
    scale: Scale | None


@dataclass(frozen=True)
class Scale:
    """The scan's size against the design's, and what it explains.

    Attributes
    ----------
    size : float
        How many times as large as the design the scan is, by the best fit with a scale.
    typical_mm : float
        Median distance after that fit.
    """

    size: float
    typical_mm: float


def likeness(
    scan: SurfaceSamples, best: Candidate, design: PreparedDesign, settings: SuperimposeSettings
) -> Likeness:
    """Measure how like the design a scan is in a pose whose distances are known."""
    factor = reach_factor(settings)
    close = settings.close_mm * factor
    there = apply(inverse(best.T_design_scan), design.samples.every(len(scan)).points)
    back = _from_samples(there, scan)
    doubted = best.typical_mm > settings.doubt_mm * factor
    return Likeness(
        typical_mm=best.typical_mm,
        close_share=max(float((best.distance_mm <= close).mean()), float((back <= close).mean())),
        close_mm=close,
        limit_mm=best.limit_mm,
        scan_overlap=best.overlap,
        design_overlap=float((back <= best.limit_mm).mean()),
        scale=scale_of(scan, design, best.T_design_scan, best.limit_mm) if doubted else None,
    )


def _from_samples(points: FloatArray, surface: SurfaceSamples) -> FloatArray:
    """Distances of points from the tangent planes of a surface's nearest samples; far: to those."""
    apart, nearest = cKDTree(surface.points).query(points)
    gap = points - surface.points[nearest]
    across = np.abs(np.einsum("nk,nk->n", gap, surface.normals[nearest]))
    # Beyond a border, tangent planes go on where the surface does not.
    beside = np.sqrt(np.maximum(apart**2 - across**2, 0.0)) > 2.0 * _spacing(surface)
    distance: FloatArray = np.where(beside, apart, across)
    return distance


def _spacing(surface: SurfaceSamples) -> float:
    """Typical distance between neighbours among the samples, mm."""
    some = surface.points[:: max(1, len(surface) // 500)]
    return float(np.median(cKDTree(surface.points).query(some, k=2)[0][:, 1]))


def scale_of(
    scan: SurfaceSamples, design: PreparedDesign, pose: FloatArray, limit_mm: float
) -> Scale:
    """Fit with a scale, from a pose: by least squares on samples, with Tukey's weights.

    It starts from the scan's own size and, if that is clearly another, from the design's as well.
    """
    points = apply(pose, scan.every(_POINTS).points)
    starts = [1.0] if has_its_size(scan, design) else [1.0, _ratio(scan, design)]
    found = [_scale_from(points, design, start, limit_mm) for start in starts]
    return min(found, key=lambda one: one.typical_mm)


def has_its_size(scan: SurfaceSamples, design: PreparedDesign) -> bool:
    """Whether a scan is about as large as its design, by their radii of gyration."""
    return 1.0 / _OTHER_SIZE < _ratio(scan, design) < _OTHER_SIZE


def _ratio(scan: SurfaceSamples, design: PreparedDesign) -> float:
    points = scan.points - scan.points.mean(axis=0)
    return design.frame.length_mm / float(np.sqrt(np.square(points).sum(axis=1).mean()))


def searched_scale_steps(
    scan: SurfaceSamples, design: PreparedDesign, settings: SuperimposeSettings
) -> Steps[Scale]:
    """Search the pose anew with the scan made as large as the design, and fit with a scale."""
    ratio = _ratio(scan, design)
    resized = replace(scan, points=ratio * scan.points)
    found = yield from candidates_steps(resized, design, settings, most_mm=0.0)
    scale = scale_of(resized, design, found[0].T_design_scan, settings.max_distance_mm)
    return Scale(scale.size / ratio, scale.typical_mm)


def _scale_from(points: FloatArray, design: PreparedDesign, start: float, limit_mm: float) -> Scale:
    centre, length = design.frame.centre, design.frame.length_mm
    middle = points.mean(axis=0)
    points, factor = middle + start * (points - middle), start
    equal = np.ones(len(points))
    for _ in range(_ROUNDS):
        feet, distance = sample_feet(points, design)
        width = 4.685 * 1.4826 * max(weighted_quantile(distance, equal, 0.5), 1e-9)
        weight = np.where(distance < width, (1.0 - (distance / width) ** 2) ** 2, 0.0)
        arms, normals = (points - centre) / length, feet.direction
        along = np.einsum("nk,nk->n", arms, normals)
        jacobian = np.concatenate([np.cross(arms, normals), normals, along[:, None]], axis=1)
        weighted = jacobian * weight[:, None]
        matrix = np.einsum("nj,nk->jk", weighted, jacobian)
        gradient = np.einsum("nj,n->j", weighted, feet.residual_mm)
        step = -np.linalg.lstsq(matrix, gradient, rcond=1e-7)[0] / length
        turn = rotation_from_vector(np.clip(step[:3], -0.3, 0.3))
        grown = float(np.exp(np.clip(step[6], -0.1, 0.1)))
        points = grown * (points - centre) @ turn.T + centre + step[3:6] * length
        factor *= grown
        if np.abs(step).max() < _SETTLED:
            break
    feet, distance = sample_feet(points, design)
    near = distance < limit_mm
    residual = np.abs(feet.residual_mm[near])
    enough = near.mean() >= 0.5
    return Scale(1.0 / factor, float(np.median(residual)) if enough else limit_mm)
