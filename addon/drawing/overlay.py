"""Draws the areas of the design over it, in place of the deviations' legend their key.

What is drawn is read from mesh and vertex groups once, kept as batches on the graphics card, and
read anew only after one of them changed. It lies in the design's own coordinates, so that moving
the object costs nothing.
"""

from __future__ import annotations

import json
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.areas.support_marks import SUPPORTS, is_support
from ...standalone_core.errors import CuspwiseError
from ...standalone_core.words.names import area_words
from ..areas import area_groups, margin_curve, support_marks
from ..blender import bridge, frames
from ..blender.session import (
    eye_of,
    layer_of,
    manager_of,
    mesh_of,
    persistent,
    scene_of,
    settings_of,
    ui_scale,
    view_of,
)
from ..check import store
from ..identifiers import OBJECT_PROPERTIES, SCENE_PROPERTIES
from . import circle, colour_map
from .graphics import graphics
from .legend_layout import rgb
from .overlay_key import KeyEntry
from .overlay_parts import MARGIN_LINE_COLOUR, SUPPORT_COLOUR, Patches, area_patches

OPACITY = 0.78
EDITED_OPACITY = 0.3  # the mode's own colours must be seen through it
# How far the overlay is drawn before the surface, in longest sides of the design: enough to lie
# on the scan too, whose surface is a little off. What looks away from the eye is not drawn.
AHEAD = 0.04
QUIET_S = 0.25  # after the last change; a stroke of the brush makes many

_handlers: list[Any] = []
_kept: dict[str, _Batches] = {}
_changed_at: list[float] = []  # when something last changed; empty once that is seen to
_updating: list[bool] = []  # filled while what happens is no edit of the user's


@dataclass(frozen=True, eq=False)
class Overlay:
    """All that is drawn, in the design's own coordinates.

    Attributes
    ----------
    patches : Patches
    margin_line : (k, 3) float or None
        Its end is its beginning where it is closed.
    circles : tuple of (c, 3) float
        The support marks that are circles.
    """

    patches: Patches
    margin_line: np.ndarray | None
    circles: tuple[np.ndarray, ...]


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        space = bpy.types.SpaceView3D
        _handlers.append(space.draw_handler_add(_draw, (), "WINDOW", "POST_VIEW"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")
    if bpy.app.timers.is_registered(_when_quiet):
        bpy.app.timers.unregister(_when_quiet)
    _kept.clear()
    _changed_at.clear()


# Which areas are wanted ----------------------------------------------------------------------


def hidden_areas(design: bpy.types.Object) -> list[str]:
    """Return the areas of a design that are not shown in its overlay."""
    text = getattr(design, OBJECT_PROPERTIES).hidden_areas
    hidden: list[str] = json.loads(text) if text else []
    return hidden


def toggle_area(design: bpy.types.Object, area: str) -> bool:
    """Show an area that was hidden or hide one that was shown; return whether it is shown."""
    hidden = hidden_areas(design)
    shown = area in hidden
    hidden = [name for name in hidden if name != area] if shown else [*hidden, area]
    getattr(design, OBJECT_PROPERTIES).hidden_areas = json.dumps(hidden) if hidden else ""
    refresh()
    return shown


def shown_design(context: bpy.types.Context) -> bpy.types.Object | None:
    """Return the design whose areas are drawn in the context's 3D view; None if none are.

    The design need not be seen itself where a scan lies in its place.
    """
    settings = settings_of(context)
    if not settings.show_areas or not view_of(context).overlay.show_overlays:
        return None
    design: bpy.types.Object = settings.design
    return design if is_in_view(context, design) else None


def is_in_view(context: bpy.types.Context, design: bpy.types.Object | None) -> bool:
    """Tell whether a design, or the chosen scan in its place, is seen in the context's 3D view."""
    scan = colour_map.selected_scan(scene_of(context))
    if design is None or design.type != "MESH" or not store.is_in(design, scene_of(context)):
        return False
    seen = [design]
    if scan is not None and store.data_of(scan).design == design:
        seen.append(scan)
    return any(obj.visible_get(viewport=view_of(context)) for obj in seen)


# What is drawn -------------------------------------------------------------------------------


def read(design: bpy.types.Object, scene: bpy.types.Scene) -> Overlay:
    """Read what is drawn of a design's areas."""
    groups = area_groups.read_groups(design)
    hidden = set(hidden_areas(design))
    if SUPPORTS in hidden:
        hidden |= {name for name in groups if is_support(name)}
    mesh = mesh_of(design)
    patches = area_patches(bridge.positions(mesh), bridge.triangles_of(mesh), groups, hidden)
    line = None if "margin" in hidden else margin_curve.closed(design)
    return Overlay(patches, line, circles_of(design, scene, hidden))


def circles_of(
    design: bpy.types.Object, scene: bpy.types.Scene, hidden: Collection[str]
) -> tuple[np.ndarray, ...]:
    """Return the circles of the marks that are circles, in the design's own coordinates."""
    try:
        scale_mm = frames.scene_scale_mm(design, scene)
    except CuspwiseError:
        return ()
    there = set(support_marks.names(design)).difference(hidden)
    to_local = design.matrix_world.inverted_safe()
    rings = (
        circle.circle_on(design, Vector(kept["centre"]), kept["radius_mm"] / scale_mm)
        for area, kept in support_marks.circles(design).items()
        if area in there
    )
    return tuple(np.array([to_local @ p for p in (*ring, ring[0])]) for ring in rings if ring)


def key_of(overlay: Overlay) -> list[KeyEntry]:
    """Return the lines of the key, in the order in which areas are listed everywhere."""
    seen = {patch.area: patch.colour for patch in overlay.patches.patches}
    own = [name for name in seen if name not in AREA_NAMES and not is_support(name)]
    entries = [
        KeyEntry(area_words(name), seen[name]) for name in (*AREA_NAMES, *own) if name in seen
    ]
    if overlay.margin_line is not None:
        entries.append(KeyEntry("margin line", MARGIN_LINE_COLOUR, "line"))
    if overlay.circles:
        entries.append(KeyEntry("support marks", SUPPORT_COLOUR, "ring"))
    elif any(is_support(name) for name in seen):
        entries.append(KeyEntry("support marks", SUPPORT_COLOUR))
    return entries


def key_shown(context: bpy.types.Context) -> list[KeyEntry] | None:
    """Return the key of what was drawn last in the context's 3D view; None without an overlay."""
    design = shown_design(context)
    if design is None:
        return None
    kept = _kept.get(design.name_full)
    return [] if kept is None else kept.key


# Drawing -------------------------------------------------------------------------------------


class _Batches:
    """An overlay on the graphics card."""

    def __init__(self, overlay: Overlay, look: tuple[str, ...]) -> None:
        gpu = graphics()

        self.look = look
        self.key = key_of(overlay)
        layout = gpu.types.GPUVertFormat()
        layout.attr_add(id="pos", comp_type="F32", len=3, fetch_mode="FLOAT")
        points = overlay.patches.points
        corners = gpu.types.GPUVertBuf(format=layout, len=len(points))
        corners.attr_fill(id="pos", data=np.ascontiguousarray(points))
        self.outward = overlay.patches.outward
        self.patches = [
            (
                rgb(patch.colour),
                gpu.types.GPUBatch(
                    type="TRIS",
                    buf=corners,
                    elem=gpu.types.GPUIndexBuf(
                        type="TRIS", seq=np.ascontiguousarray(patch.triangles)
                    ),
                ),
            )
            for patch in overlay.patches.patches
        ]
        line = [] if overlay.margin_line is None else [overlay.margin_line]
        self.line = [circle.line_batch(part.tolist()) for part in line]
        self.rings = [circle.line_batch(part.tolist()) for part in overlay.circles]


def _draw() -> None:
    context = bpy.context
    design = shown_design(context)
    if design is None:
        return
    batches, look = _kept.get(design.name_full), look_of(design)
    if batches is None or batches.look != look:
        batches = _kept[design.name_full] = _Batches(read(design, scene_of(context)), look)
    _draw_batches(context, design, batches)


def look_of(design: bpy.types.Object) -> tuple[str, ...]:
    """Return what may change without an update of the mesh: circles, names of groups."""
    circles: str = getattr(design, OBJECT_PROPERTIES).mark_circles
    return (circles, *(group.name for group in design.vertex_groups))


def _draw_batches(context: bpy.types.Context, design: bpy.types.Object, batches: _Batches) -> None:
    gpu = graphics()

    masked = gpu.state.depth_mask_get()
    gpu.state.depth_test_set("LESS_EQUAL")
    try:
        with placed(context, design, design.matrix_world, 1.0):
            _draw_patches(design, batches)
        gpu.state.depth_mask_set(False)
        scale = ui_scale(context)
        # Each a little before the other, or they would flicker through one another.
        for ahead, width in ((1.15, circle.RIM_WIDTH), (1.3, circle.LINE_WIDTH)):
            rim = width == circle.RIM_WIDTH
            with placed(context, design, design.matrix_world, ahead):
                line, ring = (circle.FAINT, circle.DARK) if rim else (circle.DARK, circle.FAINT)
                circle.draw_lines(batches.line, line, width * scale)
                circle.draw_lines(batches.rings, ring, width * scale)
    finally:
        gpu.state.depth_mask_set(masked)
        gpu.state.depth_test_set("NONE")


def _draw_patches(design: bpy.types.Object, batches: _Batches) -> None:
    """Draw the pieces that look towards the eye; they hide those behind them."""
    gpu = graphics()

    mirrored = design.matrix_world.determinant() < 0.0
    opacity = OPACITY if design.mode == "OBJECT" else EDITED_OPACITY
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    gpu.state.depth_mask_set(True)
    gpu.state.blend_set("ALPHA")
    gpu.state.face_culling_set("BACK" if batches.outward != mirrored else "FRONT")
    for colour, batch in batches.patches:
        shader.uniform_float("color", (*colour, opacity))
        batch.draw(shader)
    gpu.state.face_culling_set("NONE")
    gpu.state.blend_set("NONE")


@contextmanager
def placed(
    context: bpy.types.Context, design: bpy.types.Object, to_world: Matrix, ahead: float
) -> Iterator[None]:
    """Draw in coordinates of one's own, nearer to the eye by a part of ``AHEAD``."""
    gpu = graphics()

    with gpu.matrix.push_pop():
        view = gpu.matrix.get_model_view_matrix()
        gpu.matrix.load_matrix(_nearer(context, design, ahead) @ view @ to_world)
        yield


def _nearer(context: bpy.types.Context, design: bpy.types.Object, ahead: float) -> Matrix:
    """Return what brings things nearer to the eye without changing where they are seen."""
    region = eye_of(context)
    step = ahead * AHEAD * frames.longest_side(design)
    if not region.is_perspective:
        return Matrix.Translation((0.0, 0.0, step))
    away = max((region.view_matrix @ design.matrix_world.translation).length, 2.0 * step)
    return Matrix.Scale(1.0 - step / away, 4)


# Changes -------------------------------------------------------------------------------------


def refresh() -> None:
    """Read everything anew when it is drawn next."""
    _kept.clear()
    _changed_at.clear()
    redraw()


def redraw() -> None:
    """Draw every 3D view anew."""
    for window in manager_of(bpy.context).windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()


@persistent
def notice_changes(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    """Read anew, once it is quiet, what was edited or painted."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if bpy.app.background or not settings.show_areas or settings.design is None or _updating:
        return
    own = (settings.design, settings.design.data)
    line = store.data_of(settings.design).margin_line
    for update in depsgraph.updates:
        touched = update.id.original if update.id else None
        changed = update.is_updated_geometry and touched in own
        # The line may be moved as a whole; it also moves with the design, whose scale may change.
        if changed or (line is not None and touched == line):
            _changed_at[:] = [time.monotonic()]
            if not bpy.app.timers.is_registered(_when_quiet):
                bpy.app.timers.register(_when_quiet, first_interval=QUIET_S)
            return


def _when_quiet() -> float | None:
    if not _changed_at:
        return None
    left = _changed_at[0] + QUIET_S - time.monotonic()
    if left > 0.0:
        return left
    design = settings_of(bpy.context).design
    if design is not None and design.mode == "EDIT":
        _take_edit(design)
    refresh()
    return None


def _take_edit(design: bpy.types.Object) -> None:
    """Bring a design's mesh, which stays as it was when editing began, up to date.

    Blender counts that as an edit; noticing it would read the mesh again and again.
    """
    _updating.append(True)
    try:
        design.update_from_editmode()
        layer_of(bpy.context).update()  # the update that this asks for comes now, not later
    finally:
        _updating.clear()


@persistent
def forget(_scene: Any, _depsgraph: Any = None) -> None:
    """Read anew after undo, redo or the opening of a file."""
    _kept.clear()
    _changed_at.clear()
