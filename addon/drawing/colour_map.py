"""Deviations as colours on design and scan, and everything as it was before when they go.

Colours derive from the float attributes, so limits change them without measuring anew. One thing
at a time is coloured, and seen alone: a scan's deviations, a map of their causes or of the fit, or
a group's map.
"""

from __future__ import annotations

import json
from dataclasses import replace
from types import ModuleType
from typing import Any

import bpy
import numpy as np

from ...standalone_core.progress import Progress, Steps, run
from ...standalone_core.report.drawing.deviation_colours import deviation_colours
from ...standalone_core.report.drawing.legend import Legend, colour_limit_um, make_legend
from ..blender import bridge
from ..blender.session import mesh_of, persistent, scene_of, settings_of, view_of
from ..causes import cause_map, causes_store
from ..check import store
from ..fit import crown_maps, gap_map
from ..fit.crown_chosen import teeth_of
from ..identifiers import SCENE_PROPERTIES, deviation_attribute
from ..study import group_map, study_store
from . import alone, looking
from .painting import paint_steps, uncover
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
    run(show_steps(context))


def show_steps(context: bpy.types.Context) -> Steps[None]:
    """Colour them as :func:`show` does, step by step."""
    _choose(settings_of(context))
    yield from _turn_on_steps(scene_of(context))


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
    run(_turn_on_steps(scene))


def _turn_on_steps(scene: bpy.types.Scene) -> Steps[None]:
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.show_colours:
        settings.views_before = json.dumps(change_views(scene))
        settings.show_colours = True
    yield from refresh_steps(scene, anew=True)


def remove(scene: bpy.types.Scene) -> None:
    """Give every coloured object and view back what it had."""
    settings = getattr(scene, SCENE_PROPERTIES)
    _choose(settings)
    group_map.drop_maps()
    if settings.views_before:
        restore_views(scene, json.loads(settings.views_before))
    settings.views_before = ""
    settings.show_colours = False
    looking.forget(scene)
    refresh(scene)


def refresh(scene: bpy.types.Scene, *, anew: bool = False) -> None:
    """Colour anew by the scene's limit and palette, if colours are shown; nothing is measured.

    Parameters
    ----------
    scene : bpy.types.Scene
    anew : bool
        Show what is coloured alone also where somebody hid or showed something by hand since.
    """
    run(refresh_steps(scene, anew=anew))


def refresh_steps(scene: bpy.types.Scene, *, anew: bool = False) -> Steps[None]:
    """Colour anew as :func:`refresh` does, step by step: a scan may be large."""
    settings = getattr(scene, SCENE_PROPERTIES)
    shown: tuple[bpy.types.Object, ...] = ()
    if settings.show_colours:
        if not settings.study.shown:
            group_map.drop_maps()
        shown = yield from _colour_steps(scene)
    if not shown:
        _take_limit(scene)
    for obj in [o for o in bpy.data.objects if store.data_of(o).coloured and o not in shown]:
        uncover(obj)
    hidden = _hidden(scene) if shown else {}
    around = (*crowns(scene), settings.fit.die, *(tooth.obj for tooth in teeth_of(scene)))
    others = [obj for obj in around if obj is not None]
    alone.arrange(hidden | looking.wishes(scene, others, shown_together(scene)), anew=anew)


def crowns(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the design, the listed scans, and the designs that these belong to."""
    scans = list(store.listed_scans(scene))
    designs = [store.data_of(scan).design for scan in scans]
    all_of = (getattr(scene, SCENE_PROPERTIES).design, *scans, *designs)
    return [obj for obj in dict.fromkeys(all_of) if store.is_in(obj, scene)]


def shown_together(scene: bpy.types.Scene) -> tuple[bpy.types.Object, ...]:
    """Return scan and design where somebody wants to see both of them coloured."""
    settings, scan = getattr(scene, SCENE_PROPERTIES), selected_scan(scene)
    if scan is None or settings.shown != "BOTH" or not settings.show_colours:
        return ()
    return (scan, store.data_of(scan).design) if shows_deviations(scene) else ()


def is_seen(context: bpy.types.Context) -> bool:
    """Tell whether anything that is coloured is seen in the context's 3D view."""
    if not settings_of(context).show_colours:
        return False
    coloured = (o for o in scene_of(context).objects if store.data_of(o).coloured)
    return any(obj.visible_get(viewport=view_of(context)) for obj in coloured)


def has_limit(scene: bpy.types.Scene) -> bool:
    """Tell whether the limit of what is shown, if anything is, follows the scene's choice, in µm.

    Walls, contacts and gaps have limits of their own, and shares have none.
    """
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.shown_limit_um > 0.0:
        return False
    if settings.study.shown:
        return bool(settings.study.map_kind != "share")
    return not settings.show_colours or fit_map(scene, selected_scan(scene)) is None


@persistent
def notice_deletion(scene: bpy.types.Scene, _depsgraph: bpy.types.Depsgraph) -> None:
    """Give back what was hidden for a map when the crown that it lay on is deleted."""
    if not getattr(scene, SCENE_PROPERTIES).show_colours:
        return
    coloured = [obj for obj in bpy.data.objects if store.data_of(obj).coloured]
    of_nothing = shows_deviations(scene) and selected_scan(scene) is None
    if any(of_nothing or not obj.users_scene for obj in coloured):
        refresh(scene)


def _colour_steps(scene: bpy.types.Scene) -> Steps[tuple[bpy.types.Object, ...]]:
    """Colour what the scene asks for; return what is coloured now."""
    scan = selected_scan(scene)
    of_fit = fit_map(scene, scan)
    if of_fit is not None:
        return tuple(of_fit.colour(scene, of_fit.shown_crown(scene, scan)))
    if getattr(scene, SCENE_PROPERTIES).study.shown:
        return group_map.colour(scene)
    return (yield from _colour_scan_steps(scene))


def _hidden(scene: bpy.types.Scene) -> dict[bpy.types.Object, bool]:
    """Return whether each crown, and what else is in the way, is hidden for the map shown."""
    settings, scan = getattr(scene, SCENE_PROPERTIES), selected_scan(scene)
    hidden = dict.fromkeys(crowns(scene), True)
    of_fit = fit_map(scene, scan)
    if of_fit is not None:
        crown = of_fit.shown_crown(scene, scan)
        others = (obj for obj in of_fit.in_the_way(scene, crown) if store.is_in(obj, scene))
        return hidden | dict.fromkeys(others, True) | {crown: False}
    if settings.study.shown:
        of_study = study_store.design_of(scene)
        return hidden | ({} if of_study is None else {of_study: False})
    assert scan is not None  # something is coloured
    design = store.data_of(scan).design
    if causes_store.is_chosen_map(scan, scene):
        return hidden | {design: False}
    found = {scan: settings.shown == "DESIGN", design: settings.shown == "SCAN"}
    return hidden | {obj: wish for obj, wish in found.items() if store.is_in(obj, scene)}


def _colour_scan_steps(scene: bpy.types.Scene) -> Steps[tuple[bpy.types.Object, ...]]:
    """Colour the selected scan and its design; return what is coloured now."""
    settings, scan = getattr(scene, SCENE_PROPERTIES), selected_scan(scene)
    legend = _take_limit(scene)
    if scan is None or legend is None:
        return ()
    if causes_store.is_chosen_map(scan, scene):
        return cause_map.colour(scene, scan, legend.limit_um)
    data = store.data_of(scan)
    shown = tuple(o for o in (scan, data.design) if store.is_in(o, scene))
    for obj in shown:
        yield Progress("Showing the colours", 0.0)
        editing = obj.mode == "EDIT"  # it holds its attributes back until that ends
        name = deviation_attribute(data.result_id)
        values = None if editing else bridge.read_attribute(mesh_of(obj), name)
        if values is not None:
            colours = deviation_colours(values, legend.limit_um / 1e3, settings.palette)
            yield from paint_steps(obj, colours)
    yield Progress("Showing the colours", 1.0)
    return shown


def _take_limit(scene: bpy.types.Scene) -> Legend | None:
    """Keep the limit of the chosen scan's colours, and the shares; none without a result."""
    settings, scan = getattr(scene, SCENE_PROPERTIES), selected_scan(scene)
    points = store.points_of(scan) if scan else None
    if points is None:
        settings.shown_limit_um = settings.share_clipped = settings.share_unmeasured = 0.0
        return None
    legend = make_legend(*points, limit_um=_limit_um(settings, *points))
    settings.shown_limit_um = legend.limit_um
    settings.share_clipped = legend.share_clipped
    settings.share_unmeasured = legend.share_unmeasured
    return legend


def _limit_um(settings: Any, deviation_mm: np.ndarray, weights_mm2: np.ndarray) -> float:
    if not settings.limit_is_automatic:
        return _rounded(settings.limit_um)
    tolerance = _rounded(settings.tolerance_whole_um) or None
    return colour_limit_um(deviation_mm, weights_mm2, tolerance_um=tolerance)


def _rounded(value: float) -> float:
    """Undo what single precision adds to a number typed by a person."""
    return float(f"{value:.6g}")
