"""Choices that a scene makes and the preferences hold the defaults of, defined once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy

from ...standalone_core.report.drawing.deviation_colours import PALETTES, STANDARD

Update = Callable[[Any, bpy.types.Context], None]

TOLERANCES = {
    "tolerance_whole_um": ("Whole Crown (µm)", 25.0),
    "tolerance_occlusal_um": ("Occlusal (µm)", 20.0),
    "tolerance_margin_um": ("Margin (µm)", 15.0),
}
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


def spacing() -> Any:
    """Return the property that holds the distance of the evaluation points."""
    return bpy.props.FloatProperty(
        name="Spacing (mm)",
        description=(
            "Largest distance between neighbouring points of measurement, in mm. Half of it takes "
            "about four times as long; 0.1 is usual"
        ),
        default=0.1,
        min=0.02,
        soft_max=0.5,
        precision=3,
        step=1,
    )


def search() -> Any:
    """Return the property that holds the search distance."""
    return bpy.props.FloatProperty(
        name="Search Distance (mm)",
        description=(
            "Points with no scan within this distance count as not measured, in mm. It must be "
            "larger than the deviations to be found"
        ),
        default=1.0,
        min=0.05,
        soft_max=5.0,
        precision=2,
        step=10,
    )


def tolerance(name: str, update: Update | None = None) -> Any:
    """Return the property that holds the tolerance of an area, one of ``TOLERANCES``."""
    title, default = TOLERANCES[name]
    return bpy.props.FloatProperty(
        name=title,
        description=(
            "Largest acceptable mean absolute deviation, µm; also the ± band of the share within "
            "tolerance. 0 sets none. The default is common practice, no source"
        ),
        default=default,
        min=0.0,
        soft_max=200.0,
        precision=1,
        step=100,
        update=update,
    )


def scanner(update: Update | None = None) -> Any:
    """Return the property that holds the scanner's standard uncertainty."""
    return bpy.props.FloatProperty(
        name="Scanner (± µm)",
        description=(
            "Standard uncertainty of a mean absolute deviation that comes from the scanner, µm, "
            "from repeated scans of one crown. Within and outside are then told with 95 %, and "
            "what lies too near the limit is not decidable. 0: not given; verdicts are then of "
            "this scan alone, and say so"
        ),
        default=0.0,
        min=0.0,
        soft_max=20.0,
        precision=1,
        step=50,
        update=update,
    )


def unmatched_height(update: Update | None = None) -> Any:
    """Return the property that holds how high unmatched scan surface may be."""
    return bpy.props.FloatProperty(
        name="Height (µm)",
        description=(
            "Scan surface that the design has not (flash, a stub, a second layer, debris): a piece "
            "higher than this beside an area leaves the area outside its tolerance, µm. The "
            "default is our own, no source"
        ),
        default=100.0,
        min=0.0,
        soft_max=500.0,
        precision=0,
        step=1000,
        update=update,
    )


def unmatched_area(update: Update | None = None) -> Any:
    """Return the property that holds how large a piece of unmatched scan surface may be."""
    return bpy.props.FloatProperty(
        name="Size (mm²)",
        description=(
            "Scan surface that the design has not: a piece larger than this beside an area leaves "
            "the area outside its tolerance, whatever its height, mm². The default is our own, no "
            "source"
        ),
        default=0.2,
        min=0.0,
        soft_max=5.0,
        precision=2,
        step=5,
        update=update,
    )


def missing_margin(update: Update | None = None) -> Any:
    """Return the property that holds along how much of the margin material may be missing."""
    return bpy.props.FloatProperty(
        name="Missing Margin (mm)",
        description=(
            "The margin is outside its tolerance, whatever its mean, if along more of it than "
            "this, in one run, more than 100 µm of material is missing, mm. The default is our "
            "own, no source"
        ),
        default=0.5,
        min=0.0,
        soft_max=5.0,
        precision=2,
        step=10,
        update=update,
    )


def palette(update: Update | None = None) -> Any:
    """Return the property that holds the palette of the colour map."""
    return bpy.props.EnumProperty(
        name="Palette",
        description="The colours of the map; the deviations stay what they are",
        items=[(key, chosen.title, chosen.words) for key, chosen in PALETTES.items()],
        default=STANDARD,
        update=update,
    )
