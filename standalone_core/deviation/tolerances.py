"""What is good enough: limits of deviations and of unmatched surface, and the scanner's share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from ..errors import SettingError

DEFAULT_MEAN_ABS_UM: Mapping[str, float] = MappingProxyType(
    {"whole": 25.0, "occlusal": 20.0, "margin": 15.0}
)
"""Largest acceptable mean absolute deviation, µm: common practice, no source."""

COMMON_PRACTICE = "common practice, no source"

JUDGED_BY = "mean_abs_um"
"""The measure that tolerances limit."""

COVERAGE_FACTOR = 1.645
"""A measure this many standard uncertainties from its limit lies beyond it with 95 % (one side of
the normal distribution; the rule of ISO 14253-1, from memory)."""

ANY_AREA = "default"
"""Stands for every area that has no scanner uncertainty of its own."""


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
    max_unmatched_um : float
        A piece of unmatched scan surface beside an area that is higher above the design than
        this leaves the area outside, µm. Ours, no source.
    max_unmatched_mm2 : float
        So does a larger piece than this, mm², whatever its height. Ours, no source.
    max_missing_mm : float
        The margin is outside if along more of it than this, in one run, more than 100 µm of
        material is missing: a mean over all of it would hide a short piece, mm. Ours, no source.
    scanner_um : mapping of area name to float
        Standard uncertainty of an area's mean absolute deviation that comes from the scanner, µm,
        from repeated scans of one crown; ``default`` stands for the areas that are not named. An
        area without one is judged as this one scan shows it.

    Examples
    --------
    >>> import cuspwise
    >>> tolerances = cuspwise.Tolerances().changed({"margin": 12.0, "occlusal": None})
    >>> dict(tolerances.mean_abs_um)
    {'whole': 25.0, 'margin': 12.0}
    """

    mean_abs_um: Mapping[str, float] = field(default_factory=lambda: DEFAULT_MEAN_ABS_UM)
    min_coverage: float = 0.9
    max_unsettled_share: float = 0.05
    max_unmatched_um: float = 100.0
    max_unmatched_mm2: float = 0.2
    max_missing_mm: float = 0.5
    scanner_um: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Keep a copy of the numbers; refuse those that judge nothing."""
        for area, limit in self.mean_abs_um.items():
            if not 0 < limit < np.inf:
                raise SettingError(
                    f"A tolerance of {limit:g} µm is not allowed.",
                    subject=f"tolerance of {area}",
                    remedy="Give a number of micrometres above 0, or leave the area out.",
                )
        for area, uncertainty in self.scanner_um.items():
            if not 0 <= uncertainty < np.inf:
                raise SettingError(
                    f"A scanner uncertainty of {uncertainty:g} µm is not allowed.",
                    subject=f"scanner_um of {area}",
                    remedy="Give a standard uncertainty of 0 µm or more, or leave it out.",
                )
        for name, usual in (("min_coverage", 0.9), ("max_unsettled_share", 0.05)):
            if not 0 <= getattr(self, name) <= 1:
                raise SettingError(
                    f"{getattr(self, name):g} is not a share.",
                    subject=name,
                    remedy=f"Give a number from 0 to 1; {usual:g} is usual.",
                )
        limits = {"max_unmatched_um": 100.0, "max_unmatched_mm2": 0.2, "max_missing_mm": 0.5}
        for name, usual in limits.items():
            if not getattr(self, name) >= 0:
                raise SettingError(
                    f"A limit of {getattr(self, name):g} is not allowed.",
                    subject=name,
                    remedy=f"Give a number of 0 or more; {usual:g} is usual.",
                )
        object.__setattr__(self, "mean_abs_um", MappingProxyType(dict(self.mean_abs_um)))
        object.__setattr__(self, "scanner_um", MappingProxyType(dict(self.scanner_um)))

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the numbers, since a read-only mapping cannot be."""
        return type(self), (
            dict(self.mean_abs_um),
            self.min_coverage,
            self.max_unsettled_share,
            self.max_unmatched_um,
            self.max_unmatched_mm2,
            self.max_missing_mm,
            dict(self.scanner_um),
        )

    def limit_um(self, area: str) -> float:
        """Return the tolerance of an area, µm; NaN if it has none."""
        return float(self.mean_abs_um.get(area, np.nan))

    def scanner_of(self, area: str) -> float:
        """Return the scanner's standard uncertainty of an area's measure, µm; NaN if unknown."""
        return float(self.scanner_um.get(area, self.scanner_um.get(ANY_AREA, np.nan)))

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
