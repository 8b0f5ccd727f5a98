"""Blender's properties of settings, made from their declarations in the core.

What is not allowed cannot be entered: Blender keeps numbers between the declared limits. What is
hardly meant lies outside the range that a drag of the mouse covers, and is refused when it is
used, unless *Take Unusual Numbers* is ticked.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import bpy

from ...standalone_core.allowed import Number
from ...standalone_core.check_settings import CheckSettings
from ...standalone_core.deviation.settings import DeviationSettings
from ...standalone_core.deviation.tolerances import Tolerances
from ...standalone_core.report.drawing.deviation_colours import PALETTES, STANDARD
from ...standalone_core.setting import Setting, declared_in
from ...standalone_core.superimpose.settings import SuperimposeSettings

Update = Callable[[Any, bpy.types.Context], None]

AREA_TITLES = {"whole": "Whole Crown", "occlusal": "Occlusal", "margin": "Margin"}
TOLERANCES = tuple(f"tolerance_{area}_um" for area in AREA_TITLES)
UNMATCHED = ("max_unmatched_um", "max_unmatched_mm2")
MISSING = "max_missing_mm"
# What a scene takes over from the preferences.
DEFAULTED = (
    "spacing_mm",
    "search_mm",
    *TOLERANCES,
    "scanner_um",
    *UNMATCHED,
    MISSING,
    "palette",
)
STARTS = (
    ("auto", "Any Position", "Find the position without a first guess"),
    ("landmarks", "Landmarks", "Start from the pairs of landmarks on design and scan"),
    ("in_place", "Present Position", "Start from where the scan lies now"),
)
FIT_AREAS = (
    ("whole", "Whole Crown", "Lay the scan on the whole design"),
    ("external", "External", "Lay the scan on the external surface only"),
    ("intaglio", "Intaglio", "Lay the scan on the intaglio (inner surface) only"),
    ("occlusal", "Occlusal", "Lay the scan on the occlusal surface only"),
    ("axial", "Axial Walls", "Lay the scan on the axial walls only"),
    ("margin", "Margin", "Lay the scan on the band along the margin line only"),
)
_LEAST = 1e-6
"""Stands for the least number above a limit that is not allowed itself; single precision."""

_LIMITS = declared_in(Tolerances)
_CHECK = declared_in(CheckSettings)
_START = declared_in(SuperimposeSettings)["start"]


def number(
    setting: Setting,
    update: Update | None = None,
    *,
    title: str = "",
    default: float | None = None,
    more: str = "",
    none: bool = False,
    unit: str = "",
    digits: int | None = None,
) -> Any:
    """Return the property of a number.

    Parameters
    ----------
    setting : Setting
    update : callable, optional
    title : str
        The label without its unit, if not the declared one.
    default : float, optional
        If not the declared one.
    more : str
        What the tooltip says beyond the declaration.
    none : bool
        Whether 0 stands for none.
    unit : str
        If the end of its name does not tell it.
    digits : int, optional
        Behind the point; chosen by the default if left out.
    """
    limits = setting.number or Number()
    usual = float(setting.default if default is None else default)
    soft = setting.plausible or (limits.low, limits.high)
    unit = unit or setting.unit
    words = f"{title} ({unit})" if unit else title
    return bpy.props.FloatProperty(
        name=words if title else setting.label,
        description=" ".join(filter(None, (setting.meaning, setting.more, more))).rstrip("."),
        default=usual,
        min=0.0 if none else limits.low + _LEAST * limits.low_open,
        max=limits.high - _LEAST * limits.high_open if math.isfinite(limits.high) else 3e38,
        soft_min=0.0 if none or limits.holds(0.0) else soft[0],
        soft_max=min(soft[1], 3e38),
        precision=_digits(usual) if digits is None else digits,
        step=max(1, round(10 * usual)),
        update=update,
    )


def flag(setting: Setting, update: Update | None = None) -> Any:
    """Return the property of a truth value."""
    return bpy.props.BoolProperty(
        name=setting.label,
        description=setting.meaning.rstrip("."),
        default=setting.default,
        update=update,
    )


def start() -> Any:
    """Return the property that says where the superimposition starts from."""
    return bpy.props.EnumProperty(
        name=_START.label,
        description="The position that the superimposition starts from",
        items=STARTS,
    )


def fit_area() -> Any:
    """Return the property that says which part of the design the scan is laid on."""
    return bpy.props.EnumProperty(
        name=_CHECK["fit_areas"].label,
        description="The part of the design that the scan is laid on",
        items=FIT_AREAS,
    )


def spacing() -> Any:
    """Return the property that holds the distance of the evaluation points."""
    return number(_CHECK["spacing_mm"])


def search() -> Any:
    """Return the property that holds the search distance."""
    return number(declared_in(DeviationSettings)["search_mm"])


def tolerance(name: str, update: Update | None = None) -> Any:
    """Return the property that holds the tolerance of an area, one of ``TOLERANCES``."""
    area = name.split("_")[1]
    return number(
        _LIMITS["tolerances_um"],
        update,
        title=AREA_TITLES[area],
        default=Tolerances().tolerances_um[area],
        more="0 sets none. The default is common practice, no source.",
        none=True,
    )


def scanner(update: Update | None = None) -> Any:
    """Return the property that holds the scanner's standard uncertainty."""
    return number(
        _LIMITS["scanner_um"],
        update,
        default=0.0,
        more=(
            "It comes from repeated scans of one crown. Within and outside are then told with "
            "95 %, and what lies too near the limit is not decidable. 0: not given; verdicts are "
            "then of this scan alone, and say so."
        ),
        none=True,
    )


def limit(name: str, update: Update | None = None) -> Any:
    """Return the property of a limit of verdicts that is one number for all areas."""
    return number(_LIMITS[name], update)


def force(update: Update | None = None) -> Any:
    """Return the property that takes numbers which are hardly meant."""
    return flag(_CHECK["force"], update)


def palette(update: Update | None = None) -> Any:
    """Return the property that holds the palette of the colour map."""
    return bpy.props.EnumProperty(
        name="Palette",
        description="The colours of the map; the deviations stay what they are",
        items=[(key, chosen.title, chosen.words) for key, chosen in PALETTES.items()],
        default=STANDARD,
        update=update,
    )


def _digits(usual: float) -> int:
    """Digits behind the point that show a usual value to two places and more."""
    return 1 if usual == 0 else min(6, max(0, 2 - math.floor(math.log10(usual))))
