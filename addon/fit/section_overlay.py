"""Draws the section over the scene: a dark pane in the plane, outlines, scale bar and key."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Matrix, Vector

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.session import area_of, eye_of, region_of, scene_of, ui_scale, view_of
from ..drawing import circle, legend
from ..drawing.colour_map import selected_scan
from ..drawing.graphics import batch_for, graphics
from ..drawing.legend_layout import LegendLayout, rgb
from . import section
from .contact_lines import gap_words
from .crown_chosen import crown_of
from .section_layout import lay_out_section

if TYPE_CHECKING:
    from ...standalone_core.mesh.plane_cut import CutCurve

PANE, PANE_MORE = (0.05, 0.07, 0.1, 0.6), 1.1  # how far beyond what is cut it reaches
RIM_WIDTH, WIDTH = 5.0, 2.2
MOST_VIEWS = 8
NEAR_MM = 1.0  # farther apart than this is not told

_handlers: list[Any] = []
_kept: dict[int, _Drawn] = {}  # by the region that it is drawn in


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A section on the graphics card, and what it was cut with."""

    look: tuple[Any, ...]
    plane: section.Plane
    scale_mm: float
    reach: float
    entries: tuple[tuple[str, str, str], ...]
    batches: tuple[tuple[str, Any], ...]


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        add = bpy.types.SpaceView3D.draw_handler_add
        _handlers.append(add(_draw, (), "WINDOW", "POST_VIEW"))
        _handlers.append(add(_draw_key, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")
    _kept.clear()
    section.forget(None)


def drawn_in(context: bpy.types.Context) -> _Drawn | None:
    """Return what is drawn in the context's 3D view, cut anew only if something moved."""
    if not view_of(context).overlay.show_overlays:
        return None
    scan = selected_scan(scene_of(context))
    towards_eye = np.array(eye_of(context).view_matrix, dtype=np.float64)[2, :3]
    crown, number = crown_of(scene_of(context), scan), region_of(context).as_pointer()
    try:
        shown = section.shown_cuts(context, scan, towards_eye)
        if shown is None or crown is None:
            return None
        scale_mm = frames.scene_scale_mm(crown, scene_of(context))
    except CuspwiseError:
        return None
    plane, objects = shown
    look = section.look_of(objects, plane, crown)
    if number not in _kept or _kept[number].look != look:
        if len(_kept) >= MOST_VIEWS:
            _kept.clear()
        _kept[number] = _made(look, plane, section.cuts(objects, plane, crown), scale_mm)
    return _kept[number]


def _made(
    look: tuple[Any, ...], plane: section.Plane, cuts: list[section.Cut], scale_mm: float
) -> _Drawn:
    shader = graphics().shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    return _Drawn(
        look=look,
        plane=plane,
        scale_mm=scale_mm,
        reach=section.reach_of(cuts, plane),
        entries=tuple(entry_of(cut, scale_mm) for cut in cuts),
        batches=tuple(
            (
                section.COLOURS[cut.shown.role],
                batch_for(shader, "LINES", {"pos": pieces_of(cut.curves)}),
            )
            for cut in cuts
        ),
    )


def entry_of(cut: section.Cut, scale_mm: float) -> tuple[str, str, str]:
    """Return name, colour and gap in words as the key has them; no words where nothing is near."""
    gap_mm = None if cut.gap is None else scale_mm * cut.gap
    near = gap_mm is not None and abs(gap_mm) < NEAR_MM
    words = gap_words(1e3 * gap_mm) if near and gap_mm is not None else ""
    return cut.shown.obj.name, section.COLOURS[cut.shown.role], words


def pieces_of(curves: tuple[CutCurve, ...]) -> np.ndarray:
    """Return the ends of all straight pieces of curves, two rows each, (2 k, 3) float32."""
    pieces = []
    for curve in curves:
        ring = curve.points_mm
        if curve.closed:
            ring = np.concatenate([ring, ring[:1]])
        pieces.append(np.stack([ring[:-1], ring[1:]], axis=1).reshape(-1, 3))
    return np.concatenate(pieces).astype(np.float32)


def _draw() -> None:
    context = bpy.context
    drawn = drawn_in(context)
    if drawn is None:
        return
    gpu = graphics()
    scale = ui_scale(context)
    masked = gpu.state.depth_mask_get()
    gpu.state.depth_test_set("NONE")  # the outlines are seen through what lies before them
    gpu.state.depth_mask_set(False)
    try:
        _draw_pane(drawn)
        circle.draw_lines([batch for _, batch in drawn.batches], circle.DARK, RIM_WIDTH * scale)
        for colour, batch in drawn.batches:
            circle.draw_lines([batch], (*rgb(colour), 1.0), WIDTH * scale)
    finally:
        gpu.state.depth_mask_set(masked)


def _draw_pane(drawn: _Drawn) -> None:
    """Dim what is seen behind the outlines."""
    gpu = graphics()
    half = PANE_MORE * drawn.reach
    turn = Vector(drawn.plane.normal).to_track_quat("Z", "Y").to_matrix().to_4x4()
    place = Matrix.Translation(drawn.plane.origin) @ turn
    corners = [place @ Vector((x * half, y * half, 0.0)) for x, y in _SQUARE]
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    shader.uniform_float("color", PANE)
    gpu.state.blend_set("ALPHA")
    batch_for(shader, "TRIS", {"pos": corners}, indices=((0, 1, 2), (0, 2, 3))).draw(shader)
    gpu.state.blend_set("NONE")


_SQUARE = ((-1, -1), (1, -1), (1, 1), (-1, 1))


def layout_for(context: bpy.types.Context) -> LegendLayout:
    """Return key and scale bar as drawn in the context's 3D view."""
    drawn = drawn_in(context)
    if drawn is None:
        return LegendLayout()
    scale = ui_scale(context)
    per_mm = _pixels_per_mm(context, drawn) / scale
    _left, bottom, _height = legend.free_part(area_of(context))
    return lay_out_section(
        drawn.entries,
        per_mm,
        right=_free_right(context),
        bottom=bottom,
        scale=scale,
        width_of=legend.width_of,
    )


def _pixels_per_mm(context: bpy.types.Context, drawn: _Drawn) -> float:
    """Pixels that a millimetre square to the view takes where the plane's middle is seen."""
    origin = Vector(drawn.plane.origin)
    beside = origin + 1.0 / drawn.scale_mm * Vector(eye_of(context).view_matrix.row[0][:3])
    ends = [
        location_3d_to_region_2d(region_of(context), eye_of(context), place)
        for place in (origin, beside)
    ]
    if None in ends:
        return 1.0  # it lies behind the eye
    return float((ends[1] - ends[0]).length)


def _free_right(context: bpy.types.Context) -> float:
    """Return how far to the right the sidebar leaves the view free, pixels."""
    window = region_of(context)
    side = next((r for r in area_of(context).regions if r.type == "UI"), None)
    covered = side.width if side is not None and side.width > 1 and side.x > window.x else 0
    overlaps = side is not None and side.x < window.x + window.width
    return float(window.width - (covered if overlaps else 0))


def _draw_key() -> None:
    layout = layout_for(bpy.context)
    if layout.boxes:
        legend.draw_boxes(layout.boxes)
        legend.draw_words(layout.words)
