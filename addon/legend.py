"""Draws the legend of the colour map in the 3D view."""

from __future__ import annotations

from typing import Any

import bpy

from . import colour_map, store
from .identifiers import SCENE_PROPERTIES
from .legend_layout import LegendLayout, lay_out

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
    scene = context.scene
    scan = colour_map.selected_scan(scene)
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.show_colours or scan is None or settings.shown_limit_um <= 0.0:
        return LegendLayout()
    if not context.space_data.overlay.show_overlays:
        return LegendLayout()
    left, bottom, height = _free_part(context.area)
    return lay_out(
        colour_map.legend_of(scene),
        left=left,
        bottom=bottom,
        height=height,
        scale=context.preferences.system.ui_scale,
        note="Stale: check again" if store.data_of(scan).state == "STALE" else "",
    )


def _free_part(area: bpy.types.Area) -> tuple[float, float, float]:
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
    import blf

    context = bpy.context
    layout = layout_for(context)
    if not layout.boxes:
        return
    _draw_boxes(layout)
    for words in layout.words:
        blf.size(0, words.size)
        blf.color(0, *_rgb(words.colour), 1.0)
        blf.position(0, words.left, words.baseline, 0)
        blf.draw(0, words.text)


def _draw_boxes(layout: LegendLayout) -> None:
    import gpu
    from gpu_extras.batch import batch_for_shader

    points, colours, corners = [], [], []
    for box in layout.boxes:
        first = len(points)
        points += [
            (box.left, box.bottom),
            (box.right, box.bottom),
            (box.right, box.top),
            (box.left, box.top),
        ]
        colours += [(*_rgb(box.colour), box.opacity)] * 4
        corners += [(first, first + 1, first + 2), (first, first + 2, first + 3)]
    shader = gpu.shader.from_builtin("FLAT_COLOR")
    batch = batch_for_shader(
        shader, "TRIS", {"pos": [(*p, 0.0) for p in points], "color": colours}, indices=corners
    )
    gpu.state.blend_set("ALPHA")
    batch.draw(shader)
    gpu.state.blend_set("NONE")


def _rgb(colour: str) -> tuple[float, float, float]:
    """Return ``#rrggbb`` as three numbers from 0 to 1; the view's overlays are drawn in sRGB."""
    red, green, blue = (int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
    return red, green, blue
