"""Draws the legend of the colour map, or the key of the areas, in the 3D view."""

from __future__ import annotations

from collections.abc import Iterable
from types import ModuleType
from typing import Any

import bpy

from ..blender.session import area_of, scene_of, ui_scale, view_of
from ..causes import cause_map, causes_store
from ..check import store
from ..identifiers import SCENE_PROPERTIES
from ..study import group_map, study_store
from . import colour_map, margin_overlay, overlay
from .graphics import batch_for, graphics
from .legend_layout import TITLE, Box, LegendLayout, TextLine, lay_out, rgb
from .overlay_key import lay_out_key
from .profile_parts import BEYOND, HEAD

_handlers: list[Any] = []


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        _handlers.append(bpy.types.SpaceView3D.draw_handler_add(_draw, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")


def layout_for(context: bpy.types.Context) -> LegendLayout:
    """Return what is drawn in the context's 3D view."""
    left, bottom, height = free_part(area_of(context))
    place = {"left": left, "bottom": bottom, "height": height, "scale": ui_scale(context)}
    entries = overlay.key_shown(context)
    if entries is not None:
        note = "" if entries else "No areas yet: press Find Areas"
        return lay_out_key(entries, **place, width_of=width_of, note=note)
    scene = scene_of(context)
    scan = colour_map.selected_scan(scene)
    settings = getattr(scene, SCENE_PROPERTIES)
    line, coloured = margin_overlay.shown_scan(context) is not None, colour_map.is_seen(context)
    shown = (coloured or line) and settings.shown_limit_um > 0.0
    if not shown or not view_of(context).overlay.show_overlays:
        return LegendLayout()
    if not coloured:
        return LegendLayout() if scan is None else _of_scan(scene, scan, place, line=line)
    if settings.study.shown:
        return _of_study(scene, place)
    shown_map = colour_map.fit_map(scene, scan)
    if shown_map is not None:
        return _of_fit(scene, shown_map, place)
    return LegendLayout() if scan is None else _of_scan(scene, scan, place, line=line)


def _of_scan(
    scene: bpy.types.Scene, scan: bpy.types.Object, place: dict[str, Any], *, line: bool
) -> LegendLayout:
    note = "Out of date: check again" if store.data_of(scan).state == "OUT_OF_DATE" else ""
    titles: tuple[str, ...] = (TITLE,)
    if causes_store.is_chosen_map(scan, scene):
        titles = cause_map.heads(scene, scan)
        if causes_store.why_out_of_date(scan, scene):
            note = "Out of date: find causes again"
    heads = (*titles, HEAD, BEYOND) if line else titles
    legend = colour_map.legend_of(scene)
    return lay_out(legend, **place, width_of=width_of, note=note, heads=heads)


def _of_study(scene: bpy.types.Scene, place: dict[str, Any]) -> LegendLayout:
    found = group_map.legend_of(scene)
    if found is None:
        return LegendLayout()
    legend, heads = found
    note = "Out of date: run it again" if study_store.why_out_of_date(scene) else ""
    return lay_out(legend, **place, width_of=width_of, note=note, heads=heads)


def _of_fit(scene: bpy.types.Scene, shown: ModuleType, place: dict[str, Any]) -> LegendLayout:
    crown = shown.shown_crown(scene, colour_map.selected_scan(scene))
    legend, heads, swatches = shown.legend_of(scene, crown)
    look: dict[str, Any] = {"heads": heads, "swatches": swatches, "note": shown.note(scene, crown)}
    return lay_out(legend, **place, width_of=width_of, **look)


def width_of(text: str, size: float) -> float:
    """Return the width of words written at a size, both in pixels."""
    import blf

    blf.size(0, size)
    return float(blf.dimensions(0, text)[0])


def free_part(area: bpy.types.Area) -> tuple[float, float, float]:
    """Return left, bottom and height of what the view's toolbar and headers leave free."""
    window = next(region for region in area.regions if region.type == "WINDOW")
    left, bottom, top = 0, 0, window.height
    for region in area.regions:
        if region.width <= 1 or region.height <= 1:
            continue
        if region.type == "TOOLS" and region.x <= window.x:
            left = region.width
        if region.type in ("HEADER", "TOOL_HEADER", "ASSET_SHELF"):
            if region.y <= window.y:
                bottom += region.height
            else:
                top = min(top, region.y - window.y)
    return float(left), float(bottom), float(top - bottom)


def _draw() -> None:
    layout = layout_for(bpy.context)
    if layout.boxes:
        draw_boxes(layout.boxes)
        draw_words(layout.words)


def draw_words(lines: Iterable[TextLine]) -> None:
    """Write lines of text, in pixels."""
    import blf

    for words in lines:
        blf.size(0, words.size)
        blf.color(0, *rgb(words.colour), 1.0)
        blf.position(0, words.left, words.baseline, 0)
        blf.draw(0, words.text)


def draw_boxes(boxes: Iterable[Box]) -> None:
    """Draw filled rectangles, in pixels."""
    gpu = graphics()

    points: list[tuple[float, float]] = []
    colours: list[tuple[float, ...]] = []
    corners: list[tuple[int, int, int]] = []
    for box in boxes:
        first = len(points)
        points += [
            (box.left, box.bottom),
            (box.right, box.bottom),
            (box.right, box.top),
            (box.left, box.top),
        ]
        colours += [(*rgb(box.colour), box.opacity)] * 4
        corners += [(first, first + 1, first + 2), (first, first + 2, first + 3)]
    shader = gpu.shader.from_builtin("FLAT_COLOR")
    batch = batch_for(
        shader, "TRIS", {"pos": [(*p, 0.0) for p in points], "color": colours}, indices=corners
    )
    gpu.state.blend_set("ALPHA")
    batch.draw(shader)
    gpu.state.blend_set("NONE")
