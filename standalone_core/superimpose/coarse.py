"""Pose of a scan on its design from any starting pose, without a guess and without chance.

Several hundred rotations, evenly spread, times a few shifts are all improved at once by damped
point-to-plane steps on about a hundred scan points against a lookup grid of the design; the best
are kept, improved with more points, and thinned to a few clearly different poses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray, IntArray
from ..progress import Progress, Steps
from .lookup import LookupGrid, SearchTarget
from .rigid import motion, nearest_rotation
from .rotations import even_rotations
from .sampling import SurfaceSamples

_ROTATIONS = 300
_SHIFT = 0.12
"""Shift of the centroid along ± each axis, share of the design's diagonal: a scan without its
inner surface has its centroid about a tenth of the diagonal away from the design's."""
_ROUNDS = (
    # points, steps, poses kept, robust width at the first and last step (shares of the diagonal)
    (80, 5, 160, 0.10, 0.05),
    (150, 10, 24, 0.06, 0.02),
    (500, 20, 8, 0.02, 0.01),
)
_DAMPING = 0.02
_SAME_POSE_DEG = 12.0
_SAME_POSE_SHARE = 0.05
_BLOCK = 300


@dataclass(frozen=True)
class Poses:
    """A batch of poses x → R (x − c) + t of scan points about their centroid c.

    Attributes
    ----------
    rotations : (k, 3, 3) float32 ndarray
    translations : (k, 3) float32 ndarray
    scores : (k,) ndarray
        Robust misfit, 0 (all points lie on the design) … 1; smaller is better.
    """

    rotations: FloatArray
    translations: FloatArray
    scores: FloatArray

    def __len__(self) -> int:
        """Count of poses."""
        return len(self.scores)

    def taken(self, pick: IntArray) -> Poses:
        """The poses at the given places."""
        return Poses(self.rotations[pick], self.translations[pick], self.scores[pick])

    @staticmethod
    def joined(parts: list[Poses]) -> Poses:
        """One batch of several."""
        return Poses(
            np.concatenate([part.rotations for part in parts]),
            np.concatenate([part.translations for part in parts]),
            np.concatenate([part.scores for part in parts]),
        )


def coarse_poses_steps(scan: SurfaceSamples, design: SearchTarget) -> Steps[list[FloatArray]]:
    """Find the few poses that lay a scan best on its design, best first.

    Parameters
    ----------
    scan : SurfaceSamples
        A few thousand samples of the scan in any pose.
    design : SearchTarget
        What to search on.

    Returns
    -------
    list of (4, 4) ndarray
        ``T_design_scan`` of up to eight clearly different poses, best first, good to about a
        hundredth of the design's diagonal.
    """
    grid, size = design.grid, design.diagonal_mm
    yield Progress("Searching the pose", 0.0)
    centre = scan.points.mean(axis=0)
    poses = _starting_poses(design, _reaches(scan, design))
    for number, (count, steps, keep, width, last_width) in enumerate(_ROUNDS):
        some = scan.every(count)
        points = (some.points - centre).astype(np.float32)
        widths = size * np.geomspace(width, last_width, steps)
        parts = []
        for block in range(0, len(poses), _BLOCK):
            pick = np.arange(block, min(block + _BLOCK, len(poses)))
            parts.append(_improved(poses.taken(pick), points, grid, widths))
            share = (block + len(pick)) / len(poses)
            yield Progress("Searching the pose", (number + share) / len(_ROUNDS))
        poses = _distinct(Poses.joined(parts), keep, size)
    return [
        _as_motion(r, t, centre) for r, t in zip(poses.rotations, poses.translations, strict=True)
    ]


def _reaches(scan: SurfaceSamples, design: SearchTarget) -> list[float]:
    """How far, mm, the scan's centroid may lie from where the design's is.

    A part of a surface that is as compact as the scan can have its centroid away by up to about
    the root of the difference of the squared radii of gyration.
    """
    usual = _SHIFT * design.diagonal_mm
    spread = SearchTarget(scan).frame.length_mm
    lost = float(np.sqrt(max(design.frame.length_mm**2 - spread**2, 0.0)))
    return [usual, lost] if lost > 1.25 * usual else [usual]


def _starting_poses(design: SearchTarget, reaches: list[float]) -> Poses:
    rotations = even_rotations(_ROTATIONS).astype(np.float32)
    axes = np.concatenate([np.eye(3), -np.eye(3)])
    away = [np.zeros((1, 3))] + [reach * axes for reach in reaches]
    shifts = (design.frame.centre + np.concatenate(away)).astype(np.float32)
    return Poses(
        np.repeat(rotations, len(shifts), axis=0),
        np.tile(shifts, (len(rotations), 1)),
        np.ones(len(rotations) * len(shifts)),
    )


def _improved(poses: Poses, points: FloatArray, grid: LookupGrid, widths: FloatArray) -> Poses:
    """Improve poses by a step per width, on points (n, 3) about their centroid."""
    rotations, translations = poses.rotations, poses.translations
    columns = np.ascontiguousarray(points.T)
    reach = np.float32(np.sqrt(np.square(points).sum(axis=1).mean()))
    for width in widths:
        arms = rotations @ columns
        moved = arms + translations[:, :, None]
        found = grid.look_up(moved)
        gap = moved - grid.taken(grid.points, found)
        normal = grid.taken(grid.normals, found)
        weight = 1.0 / (1.0 + _squared(gap) / np.float32(width**2)) ** 2
        turn, shift = _steps(arms / reach, normal, gap, weight)
        rotations = _rotations(turn / reach) @ rotations
        translations = translations + shift
    moved = rotations @ columns + translations[:, :, None]
    gap = moved - grid.taken(grid.points, grid.look_up(moved))
    return Poses(rotations, translations, _scores(gap, widths[-1]))


def _scores(gaps: FloatArray, width: float) -> FloatArray:
    """Mean of d²/(d² + width²) over the points (Geman & McClure's bounded loss)."""
    squared = _squared(gaps)
    scores: FloatArray = (squared / (squared + np.float32(width**2))).mean(axis=1)
    return scores


def _steps(
    arms: FloatArray, normals: FloatArray, gaps: FloatArray, weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """One damped Gauss–Newton step for every pose: turns and shifts (p, 3).

    The misfit is the squared distance along the normal plus a small share of the whole squared
    distance, which keeps a pose from sliding away while it is still far off.

    Parameters
    ----------
    arms, normals, gaps : (p, 3, n) float32
        Arms in units of their reach; a turn is that many times too large, then.
    weights : (p, n) float32
    """
    jacobian = np.concatenate([_cross(arms, normals), normals], axis=1)
    along = np.einsum("pkn,pkn->pn", gaps, normals) * weights
    matrix = (jacobian * weights[:, None, :]) @ jacobian.transpose(0, 2, 1)
    vector = (jacobian @ along[:, :, None])[:, :, 0]
    # diagonal damping relative to the whole weight
    total = weights.sum(axis=1)
    matrix += (_DAMPING * total)[:, None, None] * np.eye(6, dtype=np.float32)
    # pull of the whole gap, with the same share
    pull = weights[:, None, :] * gaps
    vector[:, :3] += _DAMPING * _cross(arms, pull).sum(axis=2)
    vector[:, 3:] += _DAMPING * pull.sum(axis=2)
    step = -np.linalg.solve(matrix, vector[:, :, None])[:, :, 0]
    return step[:, :3], step[:, 3:]


def _squared(vectors: FloatArray) -> FloatArray:
    """Squared lengths (p, n) of vectors (p, 3, n)."""
    x, y, z = (vectors[:, k] for k in range(3))
    squared: FloatArray = x * x + y * y + z * z
    return squared


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    """Cross products (p, 3, n), coordinate by coordinate."""
    cross = np.empty_like(first)
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        cross[:, k] = first[:, i] * second[:, j] - first[:, j] * second[:, i]
    return cross


def _rotations(vectors: FloatArray) -> FloatArray:
    """Rotation matrices of many rotation vectors (p, 3): Rodrigues' formula."""
    angle = np.linalg.norm(vectors, axis=1)
    angle_safe = np.maximum(angle, 1e-12)
    axis = vectors / angle_safe[:, None]
    x, y, z = axis.T
    zero = np.zeros_like(x)
    cross = np.moveaxis(np.array([[zero, -z, y], [z, zero, -x], [-y, x, zero]]), 2, 0)
    sine, versine = np.sin(angle)[:, None, None], (1.0 - np.cos(angle))[:, None, None]
    turned: FloatArray = np.eye(3) + sine * cross + versine * (cross @ cross)
    return turned.astype(np.float32)


def _distinct(poses: Poses, keep: int, size: float) -> Poses:
    """The best ``keep`` poses, none within 12° and a twentieth of the diagonal of a better one."""
    order = np.argsort(poses.scores, kind="stable")
    chosen: list[int] = []
    least_trace = 1.0 + 2.0 * np.cos(np.radians(_SAME_POSE_DEG))
    for candidate in order:
        if chosen:
            trace = np.einsum("pij,ij->p", poses.rotations[chosen], poses.rotations[candidate])
            gap = poses.translations[chosen] - poses.translations[candidate]
            near = np.linalg.norm(gap, axis=1) < _SAME_POSE_SHARE * size
            if ((trace > least_trace) & near).any():
                continue
        chosen.append(int(candidate))
        if len(chosen) == keep:
            break
    return poses.taken(np.array(chosen))


def _as_motion(rotation: FloatArray, translation: FloatArray, centre: FloatArray) -> FloatArray:
    turn = nearest_rotation(rotation)
    return motion(turn, translation.astype(np.float64) - turn @ centre)
