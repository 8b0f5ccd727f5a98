"""Draws the polar plot of the marginal gap in the corner of the 3D view."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import bpy

from ...standalone_core.report.fit.polar_plot import PolarPlot, polar_plot
from ..blender.session import area_of, scene_of, settings_of, ui_scale, view_of
from ..check import store
from ..drawing import colour_map, legend
from ..drawing.graphics import batch_for, graphics
from ..drawing.legend_layout import rgb
from . import fit_store, kept_margin
from .crown_chosen import crown_of
from .polar_parts import GRID, PolarParts, lay_out_polar

_handlers: list[Any] = []


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        _handlers.append(bpy.types.SpaceView3D.draw_handler_add(_draw, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")


def parts_for(context: bpy.types.Context) -> PolarParts:
    """Return what is drawn in the context's 3D view."""
    if not settings_of(context).fit.show_polar or not view_of(context).overlay.show_overlays:
        return PolarParts()
    scene = scene_of(context)
    crown = crown_of(scene, colour_map.selected_scan(scene))
    if crown is None or fit_store.fit_of(crown) is None:
        return PolarParts()
    plot = _plot(store.data_of(crown).fit.margin)
    if plot is None:
        return PolarParts()
    left, bottom, height = legend.free_part(area_of(context))
    del left
    note = "Out of date: seat it again" if fit_store.why_out_of_date(crown, scene) else ""
    return lay_out_polar(
        plot,
        right=_right_end(area_of(context)),
        bottom=bottom,
        height=height,
        scale=ui_scale(context),
        width_of=legend.width_of,
        note=note,
    )


@lru_cache(maxsize=4)
def _plot(text: str) -> PolarPlot | None:
    margin = kept_margin.margin_of(text)
    return None if margin is None else polar_plot(margin)


def _right_end(area: bpy.types.Area) -> float:
    """Return how far the view goes before the sidebar covers it."""
    window = next(region for region in area.regions if region.type == "WINDOW")
    sidebar = next((r for r in area.regions if r.type == "UI" and r.width > 1), None)
    if sidebar is None or sidebar.x < window.x:
        return float(window.width)
    return float(min(window.width, sidebar.x - window.x))


def _draw() -> None:
    parts = parts_for(bpy.context)
    if not parts.boxes:
        return
    legend.draw_boxes(parts.boxes)
    _draw_fills(parts)
    _draw_lines(parts)
    legend.draw_words(parts.words)


def _draw_fills(parts: PolarParts) -> None:
    gpu = graphics()

    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    gpu.state.blend_set("ALPHA")
    for polygon in parts.fills:
        corners = [(0, k, k + 1) for k in range(1, len(polygon) - 1)]
        batch = batch_for(shader, "TRIS", {"pos": _flat(polygon)}, indices=corners)
        shader.uniform_float("color", (*rgb(GRID), 0.6))
        batch.draw(shader)
    gpu.state.blend_set("NONE")


def _draw_lines(parts: PolarParts) -> None:
    gpu = graphics()

    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    gpu.state.blend_set("ALPHA")
    for line in parts.lines:
        batch = batch_for(shader, "LINES", {"pos": _flat(line.pieces.reshape(-1, 2))})
        shader.uniform_float("lineWidth", line.width)
        shader.uniform_float("color", (*rgb(line.colour), line.opacity))
        batch.draw(shader)
    gpu.state.blend_set("NONE")


def _flat(points: Any) -> list[tuple[float, float, float]]:
    return [(x, y, 0.0) for x, y in points.tolist()]
