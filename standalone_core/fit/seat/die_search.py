"""Lay a crown's intaglio on a die from any pose."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ...arrays import FloatArray, IntArray
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps, scaled
from ...superimpose.best_fit import FitProblem, best_fit_steps
from ...superimpose.candidates import SAMPLES, candidates_steps
from ...superimpose.prepared import PreparedDesign
from ...superimpose.rigid import box_corners, largest_displacement
from ...superimpose.sampling import SurfaceSamples, surface_samples
from ...superimpose.settings import SuperimposeSettings
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown
from .lie import REACH_MM, Lie, lie_of

LARGER = 1.6
"""A die file of more than this many times the intaglio's diagonal shows more than one die; a die
with its root and base is up to 1.5 times as large."""
_WINDOW_STEP, _WINDOW_REACH = 0.5, 1.1
"""Distance of the places of a larger scan at which the die is sought, and how far around each,
shares of the intaglio's diagonal."""
_SURE_MM = 0.06
"""An intaglio that lies this well is on its die: other teeth start at about 0.15 mm."""
_OTHER_SHARE = 0.03
"""Two poses less than this share of the intaglio's diagonal apart everywhere are one."""
_SEARCH = SuperimposeSettings(max_distance_mm=REACH_MM)
_MOST_MM, _MOST_OF_PART_MM = 0.6, 0.3
"""Poses that lie worse than this are not refined; the latter on parts of a larger scan."""
_COMPARED = 4
_COMPARED_POINTS = 2_000


@dataclass(frozen=True, eq=False)
class DieFound:
    """Where an intaglio lies best on a die.

    Attributes
    ----------
    lie : Lie
        There.
    rms_mm : float
        Of the best fit, over what lies within reach.
    rival_mm : float
        Root mean square of the second best, clearly different pose, what is not covered counted
        at the reach; infinite if there is none.
    """

    lie: Lie
    rms_mm: float
    rival_mm: float


def intaglio_of(crown: FitCrown) -> TriangleMesh:
    """The intaglio as a mesh of its own, its faces turned as those of a die that fills it."""
    mesh = crown.evaluation.mesh
    return mesh.kept(crown.intaglio[mesh.faces].all(axis=1)).flipped()


def search_die_steps(crown: FitCrown, die: SurfaceIndex) -> Steps[DieFound]:
    """Find where a die, or which place of a larger scan, fills a crown's intaglio best.

    All poses are searched by the distances of the intaglio from the die, as a scan is laid on its
    design; in a larger scan around many places of it. The best few are told apart by how the
    two surfaces face each other, and the winner is fitted by least squares.

    Parameters
    ----------
    crown : FitCrown
        In any pose.
    die : SurfaceIndex
        In its own frame; a die, or a scan of several teeth.

    Raises
    ------
    SuperimpositionError
        The intaglio comes near the die nowhere.
    """
    inner = intaglio_of(crown)
    samples = surface_samples(inner, SAMPLES)
    lies: list[Lie] = []
    windows = _windows(die, inner.diagonal_mm)
    for number, window in enumerate(windows):
        ends = 0.8 * number / len(windows), 0.8 * (number + 1) / len(windows)
        lies += yield from scaled(_lies_steps(crown, samples, window, die), *ends)
        if lies and min(lie.rms_mm for lie in lies) < _SURE_MM:
            break
    lies.sort(key=lambda lie: lie.rms_mm)
    best = lies[0]
    rivals = [lie.rms_mm for lie in lies if _is_other(crown, lie.T_die_crown, best.T_die_crown)]
    rival_mm = min(rivals, default=math.inf)
    if best.rms_mm > _MOST_MM:
        return DieFound(lie_of(crown, die, best.T_die_crown), best.rms_mm, rival_mm)
    fitting = best_fit_steps(_problem(crown, die), best.T_die_crown, from_samples=False)
    fit = yield from scaled(fitting, 0.8, 1.0)
    yield Progress("Laid on the die", 1.0)
    return DieFound(
        lie_of(crown, die, fit.T_design_scan), fit.rms_mm, min(rivals, default=math.inf)
    )


def _lies_steps(
    crown: FitCrown, samples: SurfaceSamples, window: PreparedDesign, die: SurfaceIndex
) -> Steps[list[Lie]]:
    """The best few poses on a part of the die, judged against the whole of it."""
    most_mm = _MOST_MM if window.index is die else _MOST_OF_PART_MM
    found = yield from candidates_steps(samples, window, _SEARCH, most_mm)
    poses = [one.T_design_scan for one in found[:_COMPARED]]
    return [lie_of(crown, die, pose, _COMPARED_POINTS) for pose in poses]


def _windows(die: SurfaceIndex, size_mm: float) -> list[PreparedDesign]:
    """The die, or parts of a larger scan that are each about as large as a die.

    Their middles are the surface's means in cubes, so that every place lies near one.
    """
    mesh = die.mesh
    if mesh.diagonal_mm <= LARGER * size_mm:
        return [PreparedDesign(die)]
    middles = mesh.triangles.mean(axis=1)
    places = _cube_means(middles, mesh.face_areas, _WINDOW_STEP * size_mm)
    near = cKDTree(middles).query_ball_point(places, 0.5 * _WINDOW_REACH * size_mm)
    parts = []
    for faces in near:
        some = np.zeros(len(mesh), dtype=bool)
        some[faces] = True
        parts.append(PreparedDesign(SurfaceIndex(mesh.kept(some), threads=die.threads)))
    return parts


def _cube_means(points: FloatArray, weights: FloatArray, step_mm: float) -> FloatArray:
    """Weighted mean of the points in each cube of a grid, (k, 3); the fullest cubes first."""
    cube = np.floor((points - points.min(axis=0)) / step_mm).astype(np.int64)
    label: IntArray = np.unique(cube, axis=0, return_inverse=True)[1].ravel()
    total = np.bincount(label, weights=weights)
    means = np.stack([np.bincount(label, weights=weights * x) / total for x in points.T], axis=1)
    return means[np.argsort(-total, kind="stable")]


def _is_other(crown: FitCrown, pose: FloatArray, best: FloatArray) -> bool:
    """Whether two poses are clearly different."""
    inside = crown.evaluation.points[crown.intaglio]
    corners = box_corners(inside)
    apart = largest_displacement(pose, best, corners)
    return apart > _OTHER_SHARE * float(np.linalg.norm(corners[-1] - corners[0]))


def _problem(crown: FitCrown, die: SurfaceIndex) -> FitProblem:
    evaluation = crown.evaluation
    inside = crown.intaglio & (evaluation.weights_mm2 > 0.0)
    points, weights = evaluation.points[inside], evaluation.weights_mm2[inside]
    return FitProblem(points, weights, PreparedDesign(die), _SEARCH)
