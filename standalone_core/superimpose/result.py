"""What a superimposition yields."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..arrays import FloatArray
from .settings import SuperimposeSettings

Verdict = Literal["good", "ambiguous", "mirrored", "wrong_part", "doubtful", "not_converged"]


@dataclass(frozen=True)
class WeakDirection:
    """A motion of the scan that its fit hardly feels.

    Attributes
    ----------
    kind : {"turning", "sliding"}
    axis : (3,) ndarray
        Unit direction, in the design's frame: the axis turned about, or the way it slides.
    through_mm : (3,) ndarray
        A point on the axis, mm (the centroid for "sliding").
    stiffness : float
        Change of the root mean square distance per length moved, 0…1: moving the scan by δ (for
        a turn: at the mean reach of its points) adds about ``stiffness`` δ.
    words : str
    """

    kind: Literal["turning", "sliding"]
    axis: FloatArray
    through_mm: FloatArray
    stiffness: float
    words: str


@dataclass(frozen=True)
class RivalPose:
    """Another pose in which the scan fits: a local optimum clearly apart from the best.

    Attributes
    ----------
    T_design_scan : (4, 4) ndarray
    rms_mm : float
        Root mean square distance there of those evenly spread points that lie near the design in
        the best pose; distances beyond the limit count as the limit.
    ratio : float
        ``rms_mm`` to the same figure of the best pose; inf if that is 0.
    turn_deg : float
        Angle between the two poses.
    shift_mm : float
        How far the centroid lies from where the best pose puts it.
    """

    T_design_scan: FloatArray
    rms_mm: float
    ratio: float
    turn_deg: float
    shift_mm: float


@dataclass(frozen=True)
class Superimposition:
    """A scan laid on its design, and how far that can be relied on.

    Attributes
    ----------
    T_design_scan : (4, 4) ndarray
        Rigid motion from scan to design coordinates, mm.
    rms_mm, mean_abs_mm : float
        Area-weighted distances of the scan points used from the design, after the motion.
    iterations : int
    converged : bool
    remaining_mm : float
        Estimate of how far the point that moves most still is from its place at the optimum.
    share_used : float
        Share of the scan's area whose points took part.
    points_used : int
    start : str
        How it began: "auto", "landmarks" or "in_place".
    weak_directions : tuple of WeakDirection
        Weakest first; empty for a shape held on all sides.
    rivals : tuple of RivalPose
        Best first.
    verdict : {"good", "ambiguous", "mirrored", "wrong_part", "doubtful", "not_converged"}
        "doubtful": it deviates so much that it may be another part.
    reason : str
        The verdict in words.
    warnings : tuple of str
    settings : SuperimposeSettings
    """

    T_design_scan: FloatArray
    rms_mm: float
    mean_abs_mm: float
    iterations: int
    converged: bool
    remaining_mm: float
    share_used: float
    points_used: int
    start: str
    weak_directions: tuple[WeakDirection, ...]
    rivals: tuple[RivalPose, ...]
    verdict: Verdict
    reason: str
    warnings: tuple[str, ...]
    settings: SuperimposeSettings
