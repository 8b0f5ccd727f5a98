"""A map of the fit on the crown: the gap inside, or what must be taken off.

:mod:`..drawing.colour_map` decides whether it is shown or something else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import bpy
import numpy as np

from ...standalone_core.fit.gap.result import GapMap
from ...standalone_core.report.fit.colours import Coloured, gap_coloured, relief_coloured
from ..check import store
from ..drawing.painting import paint
from ..identifiers import SCENE_PROPERTIES
from . import fit_store, scale_legend
from .crown_chosen import crown_of

if TYPE_CHECKING:
    from ...standalone_core.report.drawing.legend import Legend

TITLES = {
    fit_store.GAP: ("Gap inside, µm", "from crown to die"),
    fit_store.RELIEF: ("To take off, µm", "so that it goes down"),
}


def shown_crown(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> bpy.types.Object | None:
    """Return the crown whose map of the fit the scene asks for; None if there is none."""
    settings = getattr(scene, SCENE_PROPERTIES)
    key, crown = settings.fit.map_key, crown_of(scene, scan)
    kept = fit_store.fit_of(crown)
    if not key or settings.study.shown or crown is None or kept is None:
        return None
    return crown if key in kept["limits_um"] else None


def colour(scene: bpy.types.Scene, crown: bpy.types.Object) -> tuple[bpy.types.Object, ...]:
    """Colour a crown by the map that the scene asks for; return what is coloured now."""
    settings, kept = getattr(scene, SCENE_PROPERTIES), fit_store.fit_of(crown)
    key = settings.fit.map_key
    found = fit_store.shown_gap(crown, key)
    if found is None or kept is None:
        return ()
    settings.shown_limit_um = kept["limits_um"][key]
    paint(crown, _coloured(key, found, kept["limits_um"][key]).colours)
    return (crown,)


def in_the_way(
    _scene: bpy.types.Scene, crown: bpy.types.Object
) -> tuple[bpy.types.Object | None, ...]:
    """Return what, beside designs and scans, lies on the crown or in it."""
    data = store.data_of(crown).fit
    return data.die, data.seated


def legend_of(
    scene: bpy.types.Scene, crown: bpy.types.Object
) -> tuple[Legend, tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Return the legend of the map shown, the lines above it, and its single colours."""
    key = getattr(scene, SCENE_PROPERTIES).fit.map_key
    kept = fit_store.fit_of(crown)
    assert kept is not None  # it is shown
    limit = kept["limits_um"][key]
    scale = _coloured(key, GapMap(np.empty(0), ()), limit).scale
    return scale_legend.legend_of(scale, limit), TITLES[key], scale_legend.swatches_of(scale)


def note(scene: bpy.types.Scene, crown: bpy.types.Object) -> str:
    """Return the line that says that the map is out of date; empty if it is not."""
    return "Out of date: seat it again" if fit_store.why_out_of_date(crown, scene) else ""


def _coloured(key: str, values: GapMap, limit_um: float) -> Coloured:
    if key == fit_store.GAP:
        return gap_coloured(values, limit_um)
    return relief_coloured(values.gap_um, limit_um)
