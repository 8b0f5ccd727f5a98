"""How far a superimposition can be relied on: weak directions, rivals, mirrored or wrong part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh.triangle_mesh import FloatArray
from .best_fit import BestFit
from .candidates import Candidate
from .feet import NormalEquations
from .result import RivalPose, Verdict, WeakDirection
from .rigid import apply, inverse, rotation_angle_deg
from .settings import SuperimposeSettings

_PURE_SLIDE = 0.3
"""A weak motion whose turning part is below this share is called a sliding."""


def weak_directions(
    equations: NormalEquations, settings: SuperimposeSettings
) -> tuple[WeakDirection, ...]:
    """Motions that the fit hardly feels, from the eigenvalues of its information matrix.

    An eigenvalue λ of the normalised 6×6 matrix says that a motion of size δ raises the root mean
    square distance by √λ δ. A sphere has three turnings with λ = 0, a surface of revolution one,
    a plane two slidings and a turning.
    """
    values, vectors = np.linalg.eigh(equations.information)
    weak = vectors[:, values < settings.weak_share]
    if not weak.shape[1]:
        return ()
    # eigenvectors of equal values mix freely: take those apart that do not turn
    mix = np.linalg.svd(weak[:3])[2]
    found = []
    for motion in (weak @ mix.T).T:
        value = max(float(motion @ equations.information @ motion), 0.0)
        found.append(_weak_direction(motion, float(np.sqrt(value)), equations))
    return tuple(sorted(found, key=lambda one: one.stiffness))


def _weak_direction(
    motion: FloatArray, stiffness: float, equations: NormalEquations
) -> WeakDirection:
    turn, slide = motion[:3] / equations.frame.length_mm, motion[3:]
    if np.linalg.norm(motion[:3]) < _PURE_SLIDE:
        axis = _upright(slide)
        words = f"sliding along {_numbers(axis)}"
        return WeakDirection("sliding", axis, equations.frame.centre, stiffness, words)
    axis = _upright(turn)
    through = equations.frame.centre + np.cross(turn, slide) / (turn @ turn)
    words = f"turning about {_numbers(axis)} through {_numbers(through)} mm"
    return WeakDirection("turning", axis, through, stiffness, words)


def _upright(vector: FloatArray) -> FloatArray:
    """Unit vector, its largest component positive, so that an axis has one sign only."""
    unit = vector / np.linalg.norm(vector)
    upright: FloatArray = unit * np.sign(unit[np.argmax(np.abs(unit))])
    return upright


def _numbers(vector: FloatArray) -> str:
    return "(" + ", ".join(f"{value + 0.0:.2f}" for value in vector) + ")"


def rival_poses(
    best: Candidate, others: list[Candidate], centroid: FloatArray
) -> tuple[RivalPose, ...]:
    """Describe other candidates against the best one; ``centroid`` is the scan's.

    They are compared on the samples that lie near the design in the best pose, so that what the
    scan shows beyond the design does not make all poses look alike.
    """
    rivals = []
    best_rms = best.rms_of(best.near)
    for other in others:
        rms = other.rms_of(best.near)
        between = other.T_design_scan @ inverse(best.T_design_scan)
        ends = [apply(one.T_design_scan, centroid[None])[0] for one in (best, other)]
        rivals.append(
            RivalPose(
                T_design_scan=other.T_design_scan,
                rms_mm=rms,
                ratio=rms / best_rms if best_rms > 0.0 else np.inf,
                turn_deg=rotation_angle_deg(between[:3, :3]),
                shift_mm=float(np.linalg.norm(ends[1] - ends[0])),
            )
        )
    return tuple(sorted(rivals, key=lambda rival: rival.rms_mm))


@dataclass(frozen=True)
class Evidence:
    """What a verdict rests on.

    Attributes
    ----------
    fit : BestFit
    best : Candidate
        The same pose, measured like the others.
    mirrored : Candidate, optional
        Best pose of the scan's mirror image, if there was reason to try it.
    weak : tuple of WeakDirection
    rivals : tuple of RivalPose
    design_overlap : float
        Share of the design's area that the scan comes near.
    diagonal_mm : float
        Of the design.
    """

    fit: BestFit
    best: Candidate
    mirrored: Candidate | None
    weak: tuple[WeakDirection, ...]
    rivals: tuple[RivalPose, ...]
    design_overlap: float
    diagonal_mm: float


@dataclass(frozen=True)
class Judgement:
    """A verdict and its reason in words."""

    verdict: Verdict
    reason: str


def judge(evidence: Evidence, settings: SuperimposeSettings) -> Judgement:
    """Decide what the superimposition is worth, the gravest finding first."""
    findings: tuple[tuple[Verdict, str], ...] = (
        ("mirrored", _mirrored(evidence, settings)),
        ("wrong_part", _wrong_part(evidence, settings)),
        ("ambiguous", _ambiguous(evidence, settings)),
        ("not_converged", _not_converged(evidence)),
    )
    for verdict, reason in findings:
        if reason:
            return Judgement(verdict, reason)
    return Judgement("good", "One pose fits clearly best, and the surface holds it on all sides.")


def _mirrored(evidence: Evidence, settings: SuperimposeSettings) -> str:
    best, mirrored = evidence.best, evidence.mirrored
    if mirrored is None or mirrored.rms_mm >= settings.mirror_ratio * best.rms_mm:
        return ""
    return (
        f"The mirror image of the scan fits far better ({_um(mirrored.rms_mm)} against "
        f"{_um(best.rms_mm)}): the part, or the file, is mirrored."
    )


def _wrong_part(evidence: Evidence, settings: SuperimposeSettings) -> str:
    best = evidence.best
    if max(best.overlap, evidence.design_overlap) < settings.least_overlap:
        return (
            f"Only {best.overlap:.0%} of the scan's area comes within {best.limit_mm} mm of the "
            f"design, and {evidence.design_overlap:.0%} of the design's area within that of the "
            f"scan: it shows another part, or is in another unit."
        )
    rms = best.rms_of(best.near)
    if rms > settings.wrong_part_share * evidence.diagonal_mm:
        return (
            f"Even in its best pose the scan is {_um(rms)} off (root mean square of what comes "
            f"near the design), more than {settings.wrong_part_share:.1%} of the design's size: "
            f"it shows another part, or is in another scale."
        )
    return ""


def _ambiguous(evidence: Evidence, settings: SuperimposeSettings) -> str:
    best = evidence.best
    if evidence.weak:
        motions = "; ".join(one.words for one in evidence.weak)
        return f"The surface does not hold the scan against {motions}."
    rms = best.rms_of(best.near)
    bound = settings.rival_ratio * rms + settings.rival_floor_mm
    for rival in evidence.rivals[:1]:
        if rival.rms_mm < bound:
            return (
                f"Another pose, turned by {rival.turn_deg:.1f}° and shifted by "
                f"{rival.shift_mm:.2f} mm, fits nearly as well ({_um(rival.rms_mm)} against "
                f"{_um(rms)})."
            )
    return ""


def _not_converged(evidence: Evidence) -> str:
    fit = evidence.fit
    if fit.converged:
        return ""
    return f"After {fit.iterations} steps the pose may still be off by {_um(fit.remaining_mm)}."


def _um(length_mm: float) -> str:
    return f"{length_mm * 1000.0:.3g} µm"
