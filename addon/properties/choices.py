"""Blender's properties of settings, made from their declarations in the core.

What is not allowed cannot be entered: Blender keeps numbers between the declared limits. What is
hardly meant lies outside the range that a drag of the mouse covers, and is refused when it is
used, unless *Take Unusual Numbers* is ticked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import bpy

from ...standalone_core.allowed import Choice, Flag, Number
from ...standalone_core.areas.settings import AreaSettings
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
    ("LISTED", "Listed Areas", "Lay the scan on all areas of the list below, your own among them"),
)
WORDS = {
    "least_squares": ("Least Squares", "Every point counts by its area"),
    "trimmed": ("Trimmed", "Only the share of the surface nearest to the design counts"),
    "robust": ("Robust", "The farther a point is from the design, the less it counts"),
    "design_to_scan": ("Design to Scan", "Missing edges and filled fossae are seen in full"),
    "scan_to_design": ("Scan to Design", "What stands beside the crown is seen in full"),
    "welch": ("Means (Welch)", "Of means; spreads may differ"),
    "ranks": ("Ranks", "Of ranks (Mann–Whitney)"),
    "trimmed_means": ("Trimmed Means", "Of means without the fifth of the crowns at either end"),
}
"""Title and tooltip of what can be chosen; a word that means another thing elsewhere is renamed."""
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
    told: dict[str, Any] = {
        "name": words if title else setting.label,
        "description": _told(setting, more),
        "update": update,
    }
    if limits.whole:
        return bpy.props.IntProperty(
            **told, default=int(usual), min=int(limits.low), max=int(min(limits.high, 2**31 - 1))
        )
    return bpy.props.FloatProperty(
        **told,
        default=usual,
        min=0.0 if none else limits.low + _LEAST * limits.low_open,
        max=limits.high - _LEAST * limits.high_open if math.isfinite(limits.high) else 3e38,
        soft_min=0.0 if none or limits.holds(0.0) else soft[0],
        soft_max=min(soft[1], 3e38),
        precision=_digits(usual) if digits is None else digits,
        step=max(1, round(10 * usual)),
    )


def choice(
    setting: Setting, update: Update | None = None, renamed: Mapping[str, str] | None = None
) -> Any:
    """Return the property of one word of several; ``renamed`` says which of ``WORDS`` is meant."""
    assert isinstance(setting.allowed, Choice)
    return bpy.props.EnumProperty(
        name=setting.label,
        description=_told(setting),
        items=[(word, *WORDS[(renamed or {}).get(word, word)]) for word in setting.allowed.words],
        default=setting.default,
        update=update,
    )


def of(setting: Setting, update: Update | None = None) -> Any:
    """Return the property of a setting by what it allows; 0 stands for a number not given."""
    if isinstance(setting.allowed, Flag):
        return flag(setting, update)
    if isinstance(setting.allowed, Choice):
        return choice(setting, update)
    if setting.default is None:
        return number(setting, update, default=0.0, more="0: not given.", none=True)
    return number(setting, update)


def direction(name: str, update: Update | None = None) -> Any:
    """Return the property of a direction in the design's frame, of an area setting."""
    setting = declared_in(AreaSettings)[name]
    return bpy.props.FloatVectorProperty(
        name=setting.label,
        description=f"{setting.meaning} The design's frame is its own axes. 0, 0, 0: not given",
        size=3,
        subtype="XYZ",
        precision=3,
        step=10,
        update=update,
    )


def flag(setting: Setting, update: Update | None = None) -> Any:
    """Return the property of a truth value."""
    return bpy.props.BoolProperty(
        name=setting.label,
        description=_told(setting),
        default=setting.default,
        update=update,
    )


def start(update: Update | None = None) -> Any:
    """Return the property that says where the superimposition starts from."""
    return bpy.props.EnumProperty(
        name=_START.label,
        description="The position that the superimposition starts from",
        items=STARTS,
        update=update,
    )


def fit_area(update: Update | None = None) -> Any:
    """Return the property that says which part of the design the scan is laid on."""
    return bpy.props.EnumProperty(
        name=_CHECK["fit_areas"].label,
        description="The part of the design that the scan is laid on",
        items=FIT_AREAS,
        update=update,
    )


def spacing(update: Update | None = None) -> Any:
    """Return the property that holds the distance of the evaluation points."""
    return number(_CHECK["spacing_mm"], update)


def search(update: Update | None = None) -> Any:
    """Return the property that holds the search distance."""
    return number(declared_in(DeviationSettings)["search_mm"], update)


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


def listed_limit(name: str, update: Update | None = None) -> Any:
    """Return the property of one area's number, in a list of areas."""
    usual = {"tolerances_um": 25.0, "scanner_um": 1.0}
    return number(_LIMITS[name], update, default=usual[name])


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


def _told(setting: Setting, more: str = "") -> str:
    """Return what a tooltip says; Blender ends it with a point of its own."""
    return " ".join(filter(None, (setting.meaning, setting.more, more))).rstrip(".")


def _digits(usual: float) -> int:
    """Digits behind the point that show a usual value to two places and more."""
    return 1 if usual == 0 else min(6, max(0, 2 - math.floor(math.log10(usual))))
