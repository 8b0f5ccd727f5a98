"""What is good enough: limits of deviations and of unmatched surface, and the scanner's share."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from ..allowed import Number, PerArea
from ..setting import check_fields, setting

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

_SHARE = Number(0, 1, low_open=False)
_LENGTH = Number(low_open=False)


@dataclass(frozen=True)
class Tolerances:
    """What is good enough.

    Attributes
    ----------
    tolerances_um : mapping of area name to float
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
    >>> dict(tolerances.tolerances_um)
    {'whole': 25.0, 'margin': 12.0}
    """

    tolerances_um: Mapping[str, float] = setting(
        DEFAULT_MEAN_ABS_UM,
        PerArea(Number()),
        "Largest acceptable mean absolute deviation per area, µm, and half the band of "
        '"within tolerance".',
        title="Tolerance",
        plausible=(0.5, 2000.0),
    )
    min_coverage: float = setting(
        0.9, _SHARE, "Share of an area that must have been measured for a verdict."
    )
    max_unsettled_share: float = setting(
        0.05, _SHARE, "How far a fit may still be from its end, as a share of the tolerance."
    )
    max_unmatched_um: float = setting(
        100.0,
        _LENGTH,
        "Height that scan surface without a counterpart may have beside an area, µm.",
        title="Height",
        more="Flash, a stub, a second layer, debris. The default is our own, no source.",
        plausible=(1.0, 10_000.0),
    )
    max_unmatched_mm2: float = setting(
        0.2,
        _LENGTH,
        "Largest piece of it that may stand beside an area, mm².",
        title="Size",
        more="Whatever its height. The default is our own, no source.",
    )
    max_missing_mm: float = setting(
        0.5,
        _LENGTH,
        "Length of the margin along which more than 100 µm may be missing, in one run, mm.",
        title="Missing Margin",
        more="The default is our own, no source.",
        plausible=(0.01, 50.0),
    )
    scanner_um: Mapping[str, float] = setting(
        MappingProxyType({}),
        PerArea(Number(low_open=False)),
        "Standard uncertainty of an area's mean absolute deviation that comes from the scanner, "
        "µm; default stands for all areas not named.",
        title="Scanner",
        plausible=(0.02, 500.0),
    )

    def __post_init__(self) -> None:
        """Keep a copy of the numbers; refuse those that judge nothing."""
        check_fields(self)

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the numbers, since a read-only mapping cannot be."""
        return type(self), (
            dict(self.tolerances_um),
            self.min_coverage,
            self.max_unsettled_share,
            self.max_unmatched_um,
            self.max_unmatched_mm2,
            self.max_missing_mm,
            dict(self.scanner_um),
        )

    def limit_um(self, area: str) -> float:
        """Return the tolerance of an area, µm; NaN if it has none."""
        return float(self.tolerances_um.get(area, math.nan))

    def scanner_of(self, area: str) -> float:
        """Return the scanner's standard uncertainty of an area's measure, µm; NaN if unknown."""
        return float(self.scanner_um.get(area, self.scanner_um.get(ANY_AREA, math.nan)))

    def source(self, area: str) -> str:
        """Return where the tolerance of an area comes from, in words; empty if it has none."""
        if area not in self.tolerances_um:
            return ""
        default = self.tolerances_um[area] == DEFAULT_MEAN_ABS_UM.get(area)
        return COMMON_PRACTICE if default else "set by the user"

    def changed(self, limits_um: Mapping[str, float | None]) -> Tolerances:
        """Return tolerances with some set anew; None takes one away."""
        merged = {**self.tolerances_um, **limits_um}
        kept = {area: limit for area, limit in merged.items() if limit is not None}
        return replace(self, tolerances_um=kept)
