"""The map of a crown's walls: colours, legend, rings at its thinnest places."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import bpy

from ...standalone_core.report.fit.colours import wall_colours
from ..drawing.painting import paint
from . import walls
from .map_legends import THIN_SWATCH, walls_legend
from .marked_place import MarkedPlace

if TYPE_CHECKING:
    from ...standalone_core.report.drawing.legend import Legend

TITLE = "Wall thickness, mm"
AGAIN = "Out of date: check walls again"
SWATCHES = (THIN_SWATCH,)


def kept_of(crown: bpy.types.Object | None) -> Mapping[str, Any] | None:
    """Return what is kept of a crown's walls; None without."""
    return walls.WALLS.of(crown)


def colour(crown: bpy.types.Object, _palette: str) -> float | None:
    """Colour a crown by the thickness of its walls; return their limit, µm, if it can."""
    thickness, spare = walls.WALLS.values(crown), walls.WALLS.values(crown, walls.SPARE)
    kept = walls.WALLS.of(crown)
    if kept is None or thickness is None or spare is None:
        return None
    paint(crown, wall_colours(thickness, spare, kept["limit_mm"]))
    return 1e3 * float(kept["limit_mm"])


def legend_of(crown: bpy.types.Object, palette: str) -> Legend:
    """Return the legend of a crown's map."""
    kept = walls.WALLS.of(crown)
    assert kept is not None  # it is shown
    return walls_legend(kept["limit_mm"], kept["areas"], palette)


def why_out_of_date(crown: bpy.types.Object, scene: bpy.types.Scene) -> str:
    """Say why the map no longer belongs to what is shown; empty if it does."""
    return walls.why_out_of_date(crown, scene)


def places(crown: bpy.types.Object) -> list[MarkedPlace]:
    """Return the thinnest places; those thinner than required stand out."""
    kept = walls.WALLS.of(crown) or {"places": ()}
    return [
        MarkedPlace(tuple(row["local"]), f"{row['thickness_mm']:.2f} mm", row["thin"])
        for row in kept["places"]
    ]
