"""Where a rigid crown by formula rests on its die by formula: nothing of the seat engine's.

The crown's produced intaglio and the die are formulae, and the gap between them is found by
Newton's method on those. Of all poses in which no point cuts in, or the mean of no disc does, the
lowest is found by linear programmes over the six parts of a small motion, with the gaps taken anew
after each; where that gains nothing any more, less motion is allowed, down to 0.1 µm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from cuspwise.standalone_core.demo.die import DemoDie
from cuspwise.standalone_core.demo.nearest import NearestPoints, SurfaceSample, nearest_feet
from cuspwise.standalone_core.demo.produced import ProducedSurface
from cuspwise.standalone_core.demo.quadrature import surface_nodes
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, eye_array
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

FIRST_MM, SMALLEST_MM = 0.3, 1e-4
STEEP = 12.0
"""What a cut costs against height: more than one over the sine of the walls' taper of 5°."""

ARM_MM = 4.0
"""A turn by a motion's reach over this moves the wall by about that reach."""


@dataclass(frozen=True, eq=False)
class TrueSeat:
    """A seat by formula.

    Attributes
    ----------
    T_die_crown : (4, 4) float
        From the design's frame to the die's.
    above_um : float
        How far the middle of the margin line lies above where it was designed.
    places_mm : (k, 3) float
        Where it is held, on the crown.
    share : (k,) float
        Of the load that each carries.
    """

    T_die_crown: np.ndarray
    above_um: float
    places_mm: np.ndarray
    share: np.ndarray


def true_seat(
    surface: ProducedSurface,
    die: DemoDie,
    *,
    spacing_mm: float = 0.15,
    disc_mm: float = 0.0,
    left_out_mm: float = 0.0,
) -> TrueSeat:
    """Find the lowest pose.

    ``disc_mm`` 0 holds the crown at every point; else at the means of the gap over discs of that
    radius, of points farther than ``left_out_mm`` from the margin line.
    """
    shape = surface.shape
    nodes = surface_nodes(shape, spacing_mm)
    inner = nodes.s < -max(left_out_mm, shape.rim_reach_mm)
    points = surface.points(nodes.theta[inner], nodes.s[inner])
    means = _means(points, nodes.weights_mm2[inner], nodes.normals[inner], disc_mm)
    sample = SurfaceSample(die.theta, die.s, cKDTree(die.mesh.vertices))
    pose, reach, best = np.eye(4), FIRST_MM, np.inf
    start = None
    while reach > SMALLEST_MM:
        here = _moved(pose, points)
        feet = _feet(die, here, sample, start)
        start, about = (feet.theta, feet.s), here.mean(axis=0)
        gap = means @ feet.signed_mm
        rows = means @ np.hstack([feet.normals, np.cross(here - about, feet.normals)])
        cost = about[2] + STEEP * max(0.0, -float(gap.min()))
        if cost < best - 1e-5:
            best, kept = cost, (pose, gap, rows, about)
        else:
            reach *= 0.5
        step, force = _lowest(*kept[1:3], reach)
        pose = _motion(step, kept[3]) @ kept[0]
    pose, _, rows, _ = kept
    held = force > 1e-6
    places, share = (means @ points)[held], (force * rows[:, 2])[held]
    margin = shape.points(np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False), np.zeros(400))
    middle = margin.mean(axis=0)
    above_um = 1e3 * float(_moved(pose, middle[None])[0, 2] - middle[2])
    return TrueSeat(pose, above_um, places, share)


def _feet(
    die: DemoDie, points: np.ndarray, sample: SurfaceSample, start: tuple | None
) -> NearestPoints:
    if start is None:
        _, index = sample.tree.query(points)
        start = sample.theta[index], sample.s[index]
    limits = (-die.shape.root_length_mm, die.shape.prepared_length_mm)
    return nearest_feet(die.shape, limits, points, *start, sample)


def _lowest(gap: np.ndarray, rows: np.ndarray, reach: float) -> tuple[np.ndarray, np.ndarray]:
    """The small motion that goes down most without cutting in, and the forces that end it."""
    # Where it cuts in now it must first be lifted, which a steep wall makes a long way.
    up = reach + 20.0 * max(0.0, -float(gap.min()))
    turn = (-reach / ARM_MM, reach / ARM_MM)
    bounds = [(-reach, reach), (-reach, reach), (-reach, up), turn, turn, turn]
    load = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 0.0])
    found = linprog(load, A_ub=-rows, b_ub=gap, bounds=bounds, method="highs")
    assert found.success, found.message
    return found.x, -found.ineqlin.marginals


def _motion(step: np.ndarray, about: np.ndarray) -> np.ndarray:
    motion = np.eye(4)
    motion[:3, :3] = Rotation.from_rotvec(step[3:]).as_matrix()
    motion[:3, 3] = about + step[:3] - motion[:3, :3] @ about
    return motion


def _moved(pose: np.ndarray, points: np.ndarray) -> np.ndarray:
    return points @ pose[:3, :3].T + pose[:3, 3]


def _means(
    points: np.ndarray, weights: np.ndarray, normals: np.ndarray, radius_mm: float
) -> csr_matrix:
    """Rows of weights: each point by itself, or the disc about each on its own side of a wall."""
    count = len(points)
    if radius_mm == 0.0:
        return csr_matrix(eye_array(count))
    near = cKDTree(points).query_ball_point(points, radius_mm)
    row = np.repeat(np.arange(count), [len(each) for each in near])
    column = np.concatenate(near).astype(int)
    same = np.einsum("ij,ij->i", normals[row], normals[column]) > 0.0
    row, column = row[same], column[same]
    total = np.bincount(row, weights[column], count)
    return csr_matrix((weights[column] / total[row], (row, column)), (count, count))
