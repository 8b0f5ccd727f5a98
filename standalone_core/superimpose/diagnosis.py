"""How far a superimposition can be relied on: weak directions, rivals, mirrored or wrong part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from ..shares import share_words
from .best_fit import BestFit
from .candidates import Candidate, reach_factor
from .feet import NormalEquations
from .likeness import Likeness, Scale
from .result import RivalPose, Verdict, WeakDirection
from .rigid import apply, inverse, rotation_angle_deg
from .settings import SuperimposeSettings

_PURE_SLIDE = 0.3
"""A weak motion whose turning part is below this share is called a sliding."""
_SCALED = 0.5
_ELSEWHERE = 0.5


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
    like : Likeness
        How like the design the scan is in the best pose.
    """

    fit: BestFit
    best: Candidate
    mirrored: Candidate | None
    weak: tuple[WeakDirection, ...]
    rivals: tuple[RivalPose, ...]
    like: Likeness


@dataclass(frozen=True)
class PoseJudgement:
    """A verdict and its reason in words."""

    verdict: Verdict
    reason: str


def judge(evidence: Evidence, settings: SuperimposeSettings) -> PoseJudgement:
    """Judge the superimposition, the gravest finding first."""
    findings: tuple[tuple[Verdict, str], ...] = (
        ("mirrored", _mirrored(evidence, settings)),
        ("wrong_part", _wrong_part(evidence, settings)),
        ("doubtful", _doubtful(evidence, settings)),
        ("ambiguous", _ambiguous(evidence, settings)),
        ("not_converged", _not_converged(evidence)),
    )
    for verdict, reason in findings:
        if reason:
            return PoseJudgement(verdict, reason)
    return PoseJudgement(
        "good", "One pose fits clearly best, and the surface holds it on all sides."
    )


def is_mirrored(best: Candidate, mirrored: Candidate | None, settings: SuperimposeSettings) -> bool:
    """Whether the scan's mirror image fits far better than the scan."""
    return mirrored is not None and mirrored.rms_mm < settings.mirror_ratio * best.rms_mm


def _mirrored(evidence: Evidence, settings: SuperimposeSettings) -> str:
    best, mirrored = evidence.best, evidence.mirrored
    if mirrored is None or not is_mirrored(best, mirrored, settings):
        return ""
    return (
        f"The mirror image of the scan fits far better ({_um(mirrored.rms_mm)} against "
        f"{_um(best.rms_mm)}): the part, or the file, is mirrored."
    )


def _wrong_part(evidence: Evidence, settings: SuperimposeSettings) -> str:
    like = evidence.like
    least = settings.least_overlap
    if max(like.scan_overlap, like.design_overlap) < least:
        return (
            f"Only {share_words(like.scan_overlap, least)} of the scan's area comes within "
            f"{like.limit_mm} mm of the design, and {share_words(like.design_overlap, least)} of "
            f"the design's area within that of the scan: it shows another part, or is in another "
            f"unit.{_size_hint(like, settings)}"
        )
    if not is_wrong_part(like, settings) or _fits_better_elsewhere(evidence):
        return ""
    if explained_by(like.scale, settings):
        return f"The scan is in another size.{_size_hint(like, settings)}"
    return (
        f"{_how_unlike(evidence)} It shows another part, or a crown that deviates so much that "
        f"it may be another part."
    )


def _doubtful(evidence: Evidence, settings: SuperimposeSettings) -> str:
    if not is_doubtful(evidence.like, settings) or _fits_better_elsewhere(evidence):
        return ""
    hint = _size_hint(evidence.like, settings)
    if hint:
        return f"The scan is in another size.{hint}"
    return f"{_how_unlike(evidence)} A bad crown and another part cannot be distinguished here."


def is_doubtful(like: Likeness, settings: SuperimposeSettings) -> bool:
    """Whether a scan lies so far off typically that it may be another part.

    One that only a small error of its size puts off is not.
    """
    if like.typical_mm <= settings.doubt_mm * reach_factor(settings):
        return False
    return not (explained_by(like.scale, settings) and size_is_near(like.scale, settings))


def is_wrong_part(like: Likeness, settings: SuperimposeSettings) -> bool:
    """Whether so far off, typically or on so much of it, that it is another part."""
    if not is_doubtful(like, settings):
        return False
    if like.scale is not None and explained_by(like.scale, settings):
        return abs(like.scale.size - 1.0) > settings.other_size
    far = like.typical_mm > settings.wrong_part_mm * reach_factor(settings)
    return far or like.close_share < settings.least_close


def explained_by(scale: Scale | None, settings: SuperimposeSettings) -> bool:
    """Whether nothing but its size keeps a scan off its design.

    Half the doubt is asked for: a scale is one more freedom, which makes any two parts more alike.
    """
    most_mm = _SCALED * settings.doubt_mm * reach_factor(settings)
    return scale is not None and scale.typical_mm <= most_mm


def size_is_near(scale: Scale | None, settings: SuperimposeSettings) -> bool:
    """Whether a scan's size is near enough to its design's to be measured."""
    return scale is not None and abs(scale.size - 1.0) <= settings.size_tolerance


def _fits_better_elsewhere(evidence: Evidence) -> bool:
    """Whether the pose, not the part, is what is wrong: another one fits far better."""
    best = evidence.best
    most_mm = _ELSEWHERE * best.rms_of(best.near)
    return any(rival.rms_mm < most_mm for rival in evidence.rivals[:1])


def _how_unlike(evidence: Evidence) -> str:
    like = evidence.like
    said = (
        f"Even in its best pose, half of what comes near the design is more than "
        f"{_um(like.typical_mm)} off it, and only {share_words(like.close_share)} lies within "
        f"{_um(like.close_mm)}"
    )
    best = evidence.best
    rms = best.rms_of(best.near)
    if evidence.rivals and rms > 0.0 and evidence.rivals[0].rms_mm < 2.0 * rms:
        ratio = evidence.rivals[0].rms_mm / rms
        said += f"; in another pose it lies only {ratio:.2f} times as far off"
    return said + "."


def _size_hint(like: Likeness, settings: SuperimposeSettings) -> str:
    scale = like.scale
    if scale is None or not explained_by(scale, settings):
        return ""
    return (
        f" It is {scale.size:.3g} times as large as the design; scaled by {1.0 / scale.size:.3f}, "
        f"half of it would lie within {_um(scale.typical_mm)}. Check the sintering factor and the "
        f"units of both files."
    )


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
