"""How a scan is laid on its design: every choice and threshold, by name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal, get_args

import numpy as np

from ..errors import SettingError

Start = Literal["auto", "landmarks", "in_place"]
Loss = Literal["least_squares", "trimmed", "robust"]
Landmarks = Sequence[Sequence[float]]


@dataclass(frozen=True)
class SuperimposeSettings:
    """Choices for :func:`superimpose`.

    Attributes
    ----------
    start : {"auto", "landmarks", "in_place"}
        "auto" finds the pose from any position; "landmarks" starts from paired points;
        "in_place" takes the scan's coordinates as already being the design's.
    landmarks_scan_mm, landmarks_design_mm : (k, 3) points, k ≥ 3
        Paired points on scan and design, in mm; for "landmarks" only.
    refine : bool
        Whether the best fit follows. False leaves the start as it is: "in_place" then means that
        nothing is moved.
    loss : {"least_squares", "trimmed", "robust"}
        "least_squares": every point within ``max_distance_mm`` counts by its area.
        "trimmed": the ``keep_share`` nearest to the design count. "robust": Tukey's biweight.
    keep_share : float
        Share of the area kept by "trimmed".
    robust_tuning : float
        Tukey's constant c: a point counts (1 − (d/(c s))²)², nothing beyond c s, where s is
        1.4826 × the median |d|. 4.685 gives 95 % efficiency under normal noise (Huber & Ronchetti,
        Robust Statistics, from memory).
    robust_floor_mm : float
        Least s, so that a perfect copy does not make every point an outlier.
    max_distance_mm : float
        Scan points farther than this from the design never take part in the best fit.
    tolerance_mm : float
        The best fit ends when the point that moves most is estimated to be within this of where
        it would end up after infinitely many steps; 2e-6 mm is 0.002 µm. If the passes are used
        up before, it counts as converged within five times this.
    max_iterations : int
        Most passes over the whole scan.
    look_for_rivals : bool
        Search other poses that fit nearly as well (always done by "auto").
    rival_ratio : float
        A rival whose residual is below this many times the best one's makes the result ambiguous.
    rival_floor_mm : float
        Added to that bound, so that two perfect fits count as equal.
    weak_share : float
        A direction is weak if moving the scan along it by δ (turning: by δ at the surface's mean
        reach) changes the root mean square distance by less than √weak_share δ; 0.004 → 6 % of δ.
        Real crowns lie above 0.04, a revolved
        surface of 64 facets a turn at 0.0005.
    mirror_check_share : float
        A residual above this share of the design's diagonal makes the mirrored scan be tried.
    mirror_ratio : float
        The scan is called mirrored if its mirror image leaves less than this share of the residual.
    doubt_mm : float
        A scan whose typical (median) distance from the design, over what comes near it, is above
        this may be another part: no verdict. Ours, no source. Measured: produced crowns, worn,
        chipped by 3 mm, cut to 40 %, 2 % too large or 0.1 mm too thick, stay at or below 0.10 mm;
        other teeth laid on as well as they go start at 0.147 mm (two upper incisors), most lie
        above 0.2 mm.
    wrong_part_mm : float
        Above this it is called a wrong part. Ours, no source.
    close_mm, least_close : float
        Above ``doubt_mm`` it is called a wrong part too where less than the share ``least_close``
        of its area, and of the design's, lies within ``close_mm`` of the other. Ours, no source:
        0.70 in the two incisors; 0.84 in an incisor that lost 1 mm of its edge and lies askew.
    size_tolerance, other_size : float
        A scan that a scale lays on its design to within half of ``doubt_mm`` is the right part.
        Up to the first share larger or smaller it is measured, beyond it there is no verdict, and
        beyond the second it is a wrong part, in another size. Ours, no source; a wrong sintering
        factor makes up to 0.02, a shrinkage forgotten 0.2.

        ``doubt_mm``, ``wrong_part_mm`` and ``close_mm`` are for a ``max_distance_mm`` of up to
        1 mm and grow with it beyond.
    least_overlap : float
        Either this share of the scan's area must lie within ``max_distance_mm`` of the design, or
        this share of the design's area within that of the scan.

    Examples
    --------
    A scan that is to stay where it lies:

    >>> import cuspwise
    >>> settings = cuspwise.SuperimposeSettings(start="in_place", refine=False)
    >>> settings.start, settings.loss
    ('in_place', 'least_squares')
    """

    start: Start = "auto"
    landmarks_scan_mm: Landmarks | None = None
    landmarks_design_mm: Landmarks | None = None
    refine: bool = True
    loss: Loss = "least_squares"
    keep_share: float = 0.9
    robust_tuning: float = 4.685
    robust_floor_mm: float = 0.001
    max_distance_mm: float = 1.0
    tolerance_mm: float = 2e-6
    max_iterations: int = 30
    look_for_rivals: bool = True
    rival_ratio: float = 1.2
    rival_floor_mm: float = 0.0005
    weak_share: float = 0.004
    mirror_check_share: float = 0.003
    mirror_ratio: float = 0.6
    doubt_mm: float = 0.12
    wrong_part_mm: float = 0.18
    close_mm: float = 0.3
    least_close: float = 0.75
    size_tolerance: float = 0.03
    other_size: float = 0.1
    least_overlap: float = 0.5

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        _check_choice("start", self.start, get_args(Start))
        _check_choice("loss", self.loss, get_args(Loss))
        for name in ("keep_share", "weak_share", "mirror_ratio", "least_close", "least_overlap"):
            value = getattr(self, name)
            if not 0.0 < value <= 1.0:
                raise _error(
                    name, f"It is {value}, not in (0, 1].", "Give a share above 0, up to 1."
                )
        for field in fields(self):
            value = getattr(self, field.name)
            if field.type in ("float", "int") and not (np.isfinite(value) and value > 0):
                raise _error(field.name, f"It is {value}.", "Give a finite number above 0.")
        for name in ("landmarks_scan_mm", "landmarks_design_mm"):
            object.__setattr__(self, name, _points(name, getattr(self, name)))
        if self.start == "landmarks" and None in (
            self.landmarks_scan_mm,
            self.landmarks_design_mm,
        ):
            raise _error("start", "Landmark pairs are missing.", "Give both lists of landmarks.")


def _check_choice(name: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise _error(name, f"It is {value!r}.", f"Choose one of {', '.join(allowed)}.")


def _points(name: str, given: Landmarks | None) -> tuple[tuple[float, ...], ...] | None:
    if given is None:
        return None
    points = np.asarray(given, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 3 or not np.isfinite(points).all():
        raise _error(name, f"It has shape {points.shape}.", "Give (k, 3) finite coordinates in mm.")
    return tuple(tuple(map(float, point)) for point in points)


def _error(name: str, reason: str, remedy: str) -> SettingError:
    return SettingError(reason, subject=name, remedy=remedy)
