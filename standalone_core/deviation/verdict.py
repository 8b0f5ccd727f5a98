"""Is an area good enough: within or outside its tolerance, or not decidable, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from ..errors import SettingError
from ..superimpose.result import Superimposition
from .measures import AreaMeasures

DEFAULT_MEAN_ABS_UM: Mapping[str, float] = MappingProxyType(
    {"whole": 25.0, "occlusal": 20.0, "margin": 15.0}
)
"""Largest acceptable mean absolute deviation, µm: common practice, no source."""

COMMON_PRACTICE = "common practice, no source"

WITHIN, OUTSIDE, NOT_DECIDABLE = "within", "outside", "not_decidable"
NO_TOLERANCE = "no_tolerance"
VERDICT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        WITHIN: "within tolerance",
        OUTSIDE: "outside tolerance",
        NOT_DECIDABLE: "not decidable",
        NO_TOLERANCE: "no tolerance set",
    }
)

_DOUBT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "ambiguous": "The scan fits its design in more than one position.",
        "mirrored": "The scan looks like the mirror image of its design.",
        "wrong_part": "The scan does not look like this design.",
        "doubtful": "The scan may show another part than this design.",
        "not_converged": "The superimposition did not settle.",
    }
)


@dataclass(frozen=True)
class Tolerances:
    """What is good enough.

    Attributes
    ----------
    mean_abs_um : mapping of area name to float
        Largest acceptable mean absolute deviation, µm. The same number is the ± band of "share
        within tolerance". An area that is not named has no tolerance and gets no verdict.
    min_coverage : float
        Least share of an area that must have counted for a verdict, 0 to 1.
    max_unsettled_share : float
        How far a superimposition that did not settle may still be from its end, as a share of an
        area's limit, for a verdict on it: no mean changes by more than the point that moves most.
    """

    mean_abs_um: Mapping[str, float] = field(default_factory=lambda: DEFAULT_MEAN_ABS_UM)
    min_coverage: float = 0.9
    max_unsettled_share: float = 0.05

    def __post_init__(self) -> None:
        """Keep a copy of the numbers; refuse those that judge nothing."""
        for area, limit in self.mean_abs_um.items():
            if not 0 < limit < np.inf:
                raise SettingError(
                    f"A tolerance of {limit:g} µm is not allowed.",
                    subject=f"tolerance of {area}",
                    remedy="Give a number of micrometres above 0, or leave the area out.",
                )
        if not 0 <= self.min_coverage <= 1:
            raise SettingError(
                f"A coverage of {self.min_coverage:g} is not a share.",
                subject="min_coverage",
                remedy="Give a number from 0 to 1; 0.9 is usual.",
            )
        if not 0 <= self.max_unsettled_share <= 1:
            raise SettingError(
                f"{self.max_unsettled_share:g} of a tolerance is not a share.",
                subject="max_unsettled_share",
                remedy="Give a number from 0 to 1; 0.05 is usual.",
            )
        object.__setattr__(self, "mean_abs_um", MappingProxyType(dict(self.mean_abs_um)))

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the numbers, since a read-only mapping cannot be."""
        return type(self), (
            dict(self.mean_abs_um),
            self.min_coverage,
            self.max_unsettled_share,
        )

    def limit_um(self, area: str) -> float:
        """Return the tolerance of an area, µm; NaN if it has none."""
        return float(self.mean_abs_um.get(area, np.nan))

    def source(self, area: str) -> str:
        """Return where the tolerance of an area comes from, in words; empty if it has none."""
        if area not in self.mean_abs_um:
            return ""
        default = self.mean_abs_um[area] == DEFAULT_MEAN_ABS_UM.get(area)
        return COMMON_PRACTICE if default else "set by the user"

    def changed(self, limits_um: Mapping[str, float | None]) -> Tolerances:
        """Return tolerances with some set anew; None takes one away."""
        merged = {**self.mean_abs_um, **limits_um}
        kept = {area: limit for area, limit in merged.items() if limit is not None}
        return replace(self, mean_abs_um=kept)


@dataclass(frozen=True)
class Verdict:
    """Whether one area is good enough.

    Attributes
    ----------
    area : str
    verdict : str
        ``within``, ``outside``, ``not_decidable`` or ``no_tolerance``; words for readers in
        :data:`VERDICT_WORDS`.
    reason : str
        Why, as full sentences with the numbers.
    mean_abs_um, tolerance_um, coverage : float
        What was compared: mean absolute deviation and its limit, µm; share that counted.
    source : str
        Where the tolerance comes from.
    """

    area: str
    verdict: str
    reason: str
    mean_abs_um: float
    tolerance_um: float
    coverage: float
    source: str


def judge(
    measures: Iterable[AreaMeasures], superimposition: Superimposition, tolerances: Tolerances
) -> tuple[Verdict, ...]:
    """Judge every area by its mean absolute deviation from design to scan.

    Parameters
    ----------
    measures : iterable of AreaMeasures
        Those from scan to design are passed over.
    superimposition : Superimposition
        Any verdict but ``good`` on it leaves every area undecided: numbers from a pose that may
        be wrong say nothing about the crown. Only one that did not settle may do for an area:
        if what remains to move is small against its limit; the reason then says how much.
    tolerances : Tolerances

    Returns
    -------
    tuple of Verdict
        One per area, in the order of the measures.
    """
    return tuple(
        _judge_area(row, superimposition, tolerances)
        for row in measures
        if row.direction == "design_to_scan"
    )


def doubt_about(superimposition: Superimposition, most_um: float) -> str:
    """Return why a pose cannot be trusted, as sentences; empty if it can.

    Parameters
    ----------
    superimposition : Superimposition
    most_um : float
        How far one that did not settle may still be from its end, at the point that moves most.
    """
    if _settled(superimposition, most_um):
        return ""
    words = _DOUBT_WORDS.get(superimposition.verdict, superimposition.verdict)
    return f"{words} {superimposition.reason}"


def with_verdicts(
    measures: Iterable[AreaMeasures], verdicts: Sequence[Verdict]
) -> tuple[AreaMeasures, ...]:
    """Return the measures with each area's verdict in its ``design_to_scan`` row.

    Rows from scan to design stay without one: their mean may lie on the other side of the limit.
    """
    by_area = {verdict.area: verdict.verdict for verdict in verdicts}
    return tuple(
        replace(row, verdict=by_area.get(row.area, ""))
        if row.direction == "design_to_scan"
        else row
        for row in measures
    )


def _judge_area(
    row: AreaMeasures, superimposition: Superimposition, tolerances: Tolerances
) -> Verdict:
    limit = tolerances.limit_um(row.area)
    verdict, reason = _decide(row, superimposition, limit, tolerances)
    return Verdict(
        area=row.area,
        verdict=verdict,
        reason=reason,
        mean_abs_um=row.mean_abs_um,
        tolerance_um=limit,
        coverage=row.coverage,
        source=tolerances.source(row.area),
    )


def _decide(
    row: AreaMeasures, superimposition: Superimposition, limit_um: float, tolerances: Tolerances
) -> tuple[str, str]:
    """Return the verdict on one area and the reason."""
    if not np.isfinite(limit_um):
        return NO_TOLERANCE, "No tolerance is set for this area."
    most_um = tolerances.max_unsettled_share * limit_um
    doubt = doubt_about(superimposition, most_um)
    if doubt:
        return NOT_DECIDABLE, doubt
    if row.reason:
        return NOT_DECIDABLE, row.reason
    if row.coverage < tolerances.min_coverage:
        return NOT_DECIDABLE, (
            f"Only {_percent(row.coverage)} of the area was measured; "
            f"{_percent(tolerances.min_coverage)} is needed."
        )
    within = row.mean_abs_um <= limit_um
    relation = "at or below" if within else "above"
    reason = (
        f"Mean absolute deviation {_told_apart(row.mean_abs_um, limit_um)} µm, {relation} "
        f"the limit of {limit_um:g} µm."
    )
    if superimposition.verdict != "good":
        remaining_um = 1e3 * superimposition.remaining_mm
        reason += (
            f" The superimposition did not settle, but only {remaining_um:.2g} µm may remain, "
            f"at most {_percent(tolerances.max_unsettled_share)} of the limit."
        )
    return (WITHIN if within else OUTSIDE), reason


def _settled(superimposition: Superimposition, most_um: float) -> bool:
    """Return whether the pose is right, but for ``most_um`` at the point that moves most."""
    if superimposition.verdict == "not_converged":
        return superimposition.remaining_mm * 1e3 <= most_um
    return superimposition.verdict == "good"


def _told_apart(value: float, limit: float) -> str:
    """Return a value to one decimal, or to as many as keep it above its limit if it is."""
    for decimals in range(1, 9):
        text = f"{value:.{decimals}f}"
        if (float(text) <= limit) == (value <= limit):
            return text
    return repr(value)


def _percent(share: float) -> str:
    """Return a share in per cent, never rounded up: 89.97 % must not read as 90 %."""
    return f"{np.floor(1e3 * share + 1e-9) / 10:g} %"
