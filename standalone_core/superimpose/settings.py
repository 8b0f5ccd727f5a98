"""How a scan is laid on its design: every choice and threshold, by name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from ..allowed import Choice, Flag, Number, Points
from ..setting import Rule, check_fields, not_above, setting

Start = Literal["auto", "landmarks", "in_place"]
FitWeighting = Literal["least_squares", "trimmed", "robust"]
Landmarks = Sequence[Sequence[float]]

_SHARE = Number(0, 1)
_LENGTH = Number()


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
    fit_weighting : {"least_squares", "trimmed", "robust"}
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
    >>> settings.start, settings.fit_weighting
    ('in_place', 'least_squares')
    """

    start: Start = setting(
        "auto",
        Choice(get_args(Start)),
        "Where the superimposition starts from.",
        title="Start From",
        more="In place: where the scan lies now; landmarks: from pairs of points on both.",
    )
    landmarks_scan_mm: Landmarks | None = setting(None, Points(), "Paired points on the scan, mm.")
    landmarks_design_mm: Landmarks | None = setting(None, Points(), "The same on the design, mm.")
    refine: bool = setting(True, Flag(), "Whether a best fit follows the start.")
    fit_weighting: FitWeighting = setting(
        "least_squares", Choice(get_args(FitWeighting)), "How large deviations are weighed."
    )
    keep_share: float = setting(0.9, _SHARE, "Share of the area kept by trimmed.")
    robust_tuning: float = setting(4.685, Number(), "Tukey's constant for robust.")
    robust_floor_mm: float = setting(
        0.001, _LENGTH, "Least scale of robust, mm.", plausible=(1e-5, 0.1)
    )
    max_distance_mm: float = setting(
        1.0,
        _LENGTH,
        "Points farther from the design take no part in the best fit, mm.",
        plausible=(0.02, 50.0),
    )
    tolerance_mm: float = setting(
        2e-6, _LENGTH, "Remaining motion at the end, mm.", plausible=(1e-8, 1e-3)
    )
    max_iterations: int = setting(
        30, Number(1, 10_000, low_open=False, whole=True), "Most passes of the best fit."
    )
    look_for_rivals: bool = setting(True, Flag(), "Look for other poses that fit nearly as well.")
    rival_ratio: float = setting(
        1.2, Number(), "A rival's residual is below this many times the best one's."
    )
    rival_floor_mm: float = setting(
        0.0005, _LENGTH, "Added to that bound, mm.", plausible=(1e-5, 0.1)
    )
    weak_share: float = setting(
        0.004, _SHARE, "Hold of the surface below which a motion is not well determined."
    )
    mirror_check_share: float = setting(
        0.003,
        Number(),
        "Residual above which the mirror image is tried, of the design's diagonal.",
    )
    mirror_ratio: float = setting(
        0.6, _SHARE, "Share of the residual below which the mirror image is preferred."
    )
    doubt_mm: float = setting(
        0.12,
        _LENGTH,
        "Typical distance that raises doubt, mm.",
        title="Doubt From",
        plausible=(0.005, 10.0),
    )
    wrong_part_mm: float = setting(
        0.18,
        _LENGTH,
        "Typical distance above which it is a wrong part, mm.",
        title="Wrong Part From",
        plausible=(0.005, 10.0),
    )
    close_mm: float = setting(
        0.3,
        _LENGTH,
        "What lies close, where there is doubt, mm.",
        title="Close Within",
        plausible=(0.01, 10.0),
    )
    least_close: float = setting(
        0.75, _SHARE, "Share of scan or design that must then lie close to the other."
    )
    size_tolerance: float = setting(
        0.03, _SHARE, "Error of size that is still measured, as a share."
    )
    other_size: float = setting(
        0.1, _SHARE, "Error of size beyond which it is a wrong part, as a share."
    )
    least_overlap: float = setting(
        0.5, _SHARE, "Share of scan or design that must come to lie on the other."
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self, _RULES)


def _without_landmarks(settings: SuperimposeSettings) -> str:
    given = settings.landmarks_scan_mm, settings.landmarks_design_mm
    return "Landmark pairs are missing." if settings.start == "landmarks" and None in given else ""


_RULES = (
    Rule(("start",), _without_landmarks, "Give both lists of landmarks."),
    not_above("doubt_mm", "wrong_part_mm"),
    not_above("size_tolerance", "other_size"),
)
