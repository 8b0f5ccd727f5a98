"""Deviations as colours on design and scan, and everything as it was before when they go.

Colours derive from the float attributes, so limits change them without measuring anew. One thing
at a time is coloured: a scan's deviations, a map of their causes or of the fit, or a group's map.
"""

from __future__ import annotations

import json
from dataclasses import replace
from types import ModuleType
from typing import Any

import bpy
import numpy as np

from ...standalone_core.report.drawing.deviation_colours import deviation_colours
from ...standalone_core.report.drawing.legend import Legend, colour_limit_um, make_legend
from ..blender import bridge
from ..blender.session import mesh_of, scene_of, settings_of
from ..causes import cause_map, causes_store
from ..check import store
from ..fit import crown_maps, gap_map
from ..identifiers import SCENE_PROPERTIES, deviation_attribute
from ..study import group_map
from .painting import hide, paint, uncover
from .view_shading import change_views, restore_views

FIT_MAPS: tuple[ModuleType, ...] = (gap_map, crown_maps)
"""Whatever can show maps of a crown's fit; one of them at a time does."""


def selected_scan(scene: bpy.types.Scene) -> bpy.types.Object | None:
    """Return the scan chosen in the list, if it still is in the scene."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if not 0 <= settings.scan_index < len(settings.scans):
        return None
    scan: bpy.types.Object | None = settings.scans[settings.scan_index].scan
    return scan if store.is_in(scan, scene) else None


def legend_of(scene: bpy.types.Scene) -> Legend:
    """Return the legend of the colours shown, from what the scene keeps about them."""
    settings = getattr(scene, SCENE_PROPERTIES)
    shown = make_legend(
        [],
        [],
        limit_um=_rounded(settings.shown_limit_um),
        tolerance_um=_rounded(settings.tolerance_whole_um) or None,
        palette=settings.palette,
    )
    return replace(
        shown,
        share_clipped=settings.share_clipped,
        share_unmeasured=settings.share_unmeasured,
    )


def show(context: bpy.types.Context) -> None:
    """Colour the selected scan and its design, in every way of viewing them."""
    _choose(settings_of(context))
    _turn_on(scene_of(context))


def show_cause_map(context: bpy.types.Context, key: str) -> None:
    """Put a map of the chosen scan's causes on its design, in every way of viewing it."""
    _choose(settings_of(context), cause=key)
    _turn_on(scene_of(context))


def show_fit_map(context: bpy.types.Context, key: str) -> None:
    """Put a map of its fit on the crown that is seated, in every way of viewing it."""
    _choose(settings_of(context), fit=key)
    _turn_on(scene_of(context))


def show_crown_map(context: bpy.types.Context, key: str) -> None:
    """Put a map of walls or contacts on the crown that is looked at, however it is viewed."""
    _choose(settings_of(context), teeth=key)
    _turn_on(scene_of(context))


def shows_deviations(scene: bpy.types.Scene) -> bool:
    """Tell whether the colours shown, if any, are the chosen scan's deviations."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.show_colours or settings.study.shown:
        return False
    scan = selected_scan(scene)
    return not causes_store.is_chosen_map(scan, scene) and fit_map(scene, scan) is None


def fit_map(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> ModuleType | None:
    """Return which map of its fit the scene asks for on a crown; None if there is none."""
    return next((one for one in FIT_MAPS if one.shown_crown(scene, scan) is not None), None)


def show_group_map(context: bpy.types.Context) -> None:
    """Put the study's chosen map on the design, in every way of viewing it."""
    settings_of(context).study.shown = True
    _turn_on(scene_of(context))


def _choose(settings: Any, *, cause: str = "", fit: str = "", teeth: str = "") -> None:
    """Choose a map of causes or of the fit; neither of them is the deviations."""
    settings.study.shown = False
    settings.causes.map_key = cause
    settings.fit.map_key = fit
    settings.teeth.map_key = teeth


def _turn_on(scene: bpy.types.Scene) -> None:
    """Show colours in all views: of the scan, or of the map that is chosen."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.show_colours:
        settings.views_before = json.dumps(change_views(scene))
        settings.show_colours = True
    refresh(scene)


def remove(scene: bpy.types.Scene) -> None:
    """Give every coloured object and view back what it had."""
    settings = getattr(scene, SCENE_PROPERTIES)
    _choose(settings)
    for obj in [o for o in bpy.data.objects if store.data_of(o).coloured]:
        uncover(obj)
    group_map.bring_back()
    if settings.views_before:
        restore_views(scene, json.loads(settings.views_before))
    settings.views_before = ""
    settings.show_colours = False


def refresh(scene: bpy.types.Scene) -> None:
    """Colour anew by the scene's limit and palette, if colours are shown; nothing is measured."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.show_colours:
        return
    scan = selected_scan(scene)
    of_fit = fit_map(scene, scan)
    on_design = settings.study.shown or causes_store.is_chosen_map(scan, scene)
    if of_fit is not None or not on_design:
        group_map.bring_back()
    elif not settings.study.shown:
        group_map.drop_maps()
    if of_fit is not None:
        shown = of_fit.colour(scene, of_fit.shown_crown(scene, scan))
    else:
        shown = group_map.colour(scene) if settings.study.shown else _colour_scan(scene)
    for obj in [o for o in bpy.data.objects if store.data_of(o).coloured and o not in shown]:
        uncover(obj)
    if of_fit is not None:
        of_fit.hide_others(scene, of_fit.shown_crown(scene, scan))
    elif on_design:
        group_map.hide_scans(scene)


def _colour_scan(scene: bpy.types.Scene) -> tuple[bpy.types.Object, ...]:
    """Colour the selected scan and its design; return what is coloured now."""
    settings, scan = getattr(scene, SCENE_PROPERTIES), selected_scan(scene)
    points = store.points_of(scan) if scan else None
    if scan is None or points is None:
        return ()
    limit_um = _limit_um(settings, *points)
    settings.shown_limit_um = limit_um
    if causes_store.is_chosen_map(scan, scene):
        return cause_map.colour(scene, scan, limit_um)
    legend = make_legend(*points, limit_um=limit_um)
    settings.share_clipped = legend.share_clipped
    settings.share_unmeasured = legend.share_unmeasured
    data = store.data_of(scan)
    shown = tuple(o for o in (scan, data.design) if store.is_in(o, scene))
    for obj in shown:
        editing = obj.mode == "EDIT"  # it holds its attributes back until that ends
        name = deviation_attribute(data.result_id)
        values = None if editing else bridge.read_attribute(mesh_of(obj), name)
        if values is not None:
            paint(obj, deviation_colours(values, limit_um / 1e3, settings.palette))
        hide(obj, _is_hidden(obj, scan, settings.shown))
    return shown


def _limit_um(settings: Any, deviation_mm: np.ndarray, weights_mm2: np.ndarray) -> float:
    if not settings.limit_is_automatic:
        return _rounded(settings.limit_um)
    tolerance = _rounded(settings.tolerance_whole_um) or None
    return colour_limit_um(deviation_mm, weights_mm2, tolerance_um=tolerance)


def _rounded(value: float) -> float:
    """Undo what single precision adds to a number typed by a person."""
    return float(f"{value:.6g}")


def _is_hidden(obj: bpy.types.Object, scan: bpy.types.Object, shown: str) -> bool:
    """Tell whether an object stands in the way of the one to look at."""
    return shown == ("DESIGN" if obj == scan else "SCAN")
