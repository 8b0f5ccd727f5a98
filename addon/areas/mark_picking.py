"""Making support marks with the mouse: a circle under it, the wheel, typed radii."""

from __future__ import annotations

import bpy
import numpy as np
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.in_blender import message
from ..blender.picking import Hit, PickingOperator, hit_under_mouse
from ..blender.session import Answer, scene_of, settings_of, show_status, ui_scale
from ..check import store
from ..drawing import captions, circle, colour_map
from ..properties.mark_choices import KINDS, LARGEST_MM, SMALLEST_MM
from . import support_marks

STEP = 1.1  # of the radius, per notch of the wheel
KIND_TITLES = {key: title for key, title, _ in KINDS}


class MarkPicking(PickingOperator):
    """Base of the operator that makes marks; it gives ``target`` and ``marked``."""

    target: support_marks.Target

    def marked(self, context: bpy.types.Context) -> Answer:
        """Do what follows once marks were made; return what ``modal`` answers."""
        raise NotImplementedError

    def start_marking(self, context: bpy.types.Context) -> Answer:
        """Wait for clicks; show the circle and those there are."""
        answer = self.start_picking(context)
        if answer != {"RUNNING_MODAL"}:
            return answer
        self._typed = ""
        self._mouse: tuple[int, int] | None = None
        self._under: list[Vector] | None = None
        self._areas: list[str] = []
        self._settings = settings_of(context)
        self._scale_mm = frames.scene_scale_mm(self.target.design, scene_of(context))
        self._list_circles()
        space = bpy.types.SpaceView3D
        self._handlers = [
            space.draw_handler_add(self._draw_circles, (), "WINDOW", "POST_VIEW"),
            space.draw_handler_add(self._draw_words, (), "WINDOW", "POST_PIXEL"),
        ]
        self._say(context)
        return answer

    def objects(self, context: bpy.types.Context) -> tuple[bpy.types.Object, ...]:
        """Return the design, and the scan that lies on it, whichever are shown."""
        design, scan = self.target.design, colour_map.selected_scan(scene_of(context))
        if scan is None or store.data_of(scan).design != design:
            return (design,)
        lies = store.data_of(scan).state in ("CURRENT", "PLACED")
        return (design, scan) if lies else (design,)

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Follow the mouse; change the radius by the wheel or by typing."""
        if event.type == "MOUSEMOVE":
            self._follow(context, event)
        elif event.value == "PRESS" and self._key(event):
            self._follow(context, event)
            self._say(context)
            return {"RUNNING_MODAL"}
        elif event.type == "ESC" and event.value == "PRESS":
            self.cancel(context)
            return self._end(context)
        answer = super().modal(context, event)
        return self._end(context) if answer == {"FINISHED"} else answer

    def picked(self, context: bpy.types.Context, hit: Hit) -> None:
        """Make a mark where the surface was clicked."""
        place = self._on_design(hit)
        if place is None:
            return
        settings = self._settings
        try:
            area = support_marks.mark(
                self.target, np.array(place), settings.mark_radius_mm, settings.mark_kind
            )
        except CuspwiseError as error:
            self.report({"WARNING"}, message(error))
            return
        self._areas.append(area)
        self._typed = ""
        self._list_circles()
        self._say(context)

    def take_back(self) -> None:
        """Leave what was clicked: each click is a mark of its own."""

    def cancel(self, context: bpy.types.Context) -> None:
        """Stop drawing."""
        for handler in self._handlers:
            bpy.types.SpaceView3D.draw_handler_remove(handler, "WINDOW")
        self._handlers = []
        super().cancel(context)

    def _end(self, context: bpy.types.Context) -> Answer:
        if not self._areas:
            return {"CANCELLED"}
        self.report({"INFO"}, f"Marked {', '.join(self._areas)}.")
        return self.marked(context)

    def _key(self, event: bpy.types.Event) -> bool:
        """Take a key or a notch of the wheel; tell whether it was one of ours."""
        settings, kind = self._settings, event.type
        if kind in ("WHEELUPMOUSE", "WHEELDOWNMOUSE") and not (event.ctrl or event.alt):
            factor = STEP if kind == "WHEELUPMOUSE" else 1.0 / STEP
            self._typed = ""
            settings.mark_radius_mm *= factor
        elif event.unicode and event.unicode in "0123456789.,":
            self._type(self._typed + event.unicode.replace(",", "."))
        elif kind == "BACK_SPACE":
            if self._typed:
                self._type(self._typed[:-1])
            else:
                self._take_last_back()
        elif self._typed and kind in ("RET", "NUMPAD_ENTER", "ESC"):
            self._typed = ""
        elif kind == "K":
            kinds = list(KIND_TITLES)
            at = kinds.index(settings.mark_kind)
            settings.mark_kind = kinds[(at + 1) % len(kinds)]
        else:
            return False
        return True

    def _type(self, text: str) -> None:
        """Take a typed radius as far as it is a number already."""
        self._typed = text
        try:
            radius = float(text)
        except ValueError:
            return
        if SMALLEST_MM <= radius <= LARGEST_MM:
            self._settings.mark_radius_mm = radius

    def _take_last_back(self) -> None:
        if self._areas:
            support_marks.remove(self.target.design, self._areas.pop())
            self._list_circles()

    def _follow(self, context: bpy.types.Context, event: bpy.types.Event) -> None:
        """Lay the circle on the design under the mouse."""
        hit = hit_under_mouse(self._area, event, self.objects(context))
        place = self._on_design(hit) if hit is not None else None
        self._under = None if place is None else self._circle(place, self._radius_mm)
        region = next(r for r in self._area.regions if r.type == "WINDOW")
        self._mouse = event.mouse_x - region.x, event.mouse_y - region.y
        self._area.tag_redraw()

    @property
    def _radius_mm(self) -> float:
        return float(self._settings.mark_radius_mm)

    def _on_design(self, hit: Hit) -> Vector | None:
        """Return the place of the design under a place of either surface, in its coordinates."""
        design = self.target.design
        if hit.obj == design:
            return hit.local
        found, place, _normal, _face = design.closest_point_on_mesh(
            design.matrix_world.inverted_safe() @ hit.world
        )
        return place if found else None

    def _circle(self, place: Vector, radius_mm: float) -> list[Vector]:
        return circle.circle_on(self.target.design, place, radius_mm / self._scale_mm)

    def _list_circles(self) -> None:
        """Lay out the circles of the marks that there are."""
        there = set(support_marks.names(self.target.design))
        self._there = [
            (area, self._circle(Vector(kept["centre"]), kept["radius_mm"]))
            for area, kept in support_marks.circles(self.target.design).items()
            if area in there
        ]

    def _say(self, context: bpy.types.Context) -> None:
        title = KIND_TITLES[self._settings.mark_kind]
        radius = f"{self._typed}_" if self._typed else f"{self._radius_mm:.2f}"
        show_status(
            context,
            f"Click: mark a {title.lower()}   Wheel or type: radius {radius} mm   K: kind   "
            f"Backspace: take back ({len(self._areas)} marked)   Enter or Esc: done",
        )
        self._area.tag_redraw()

    def _draw_circles(self) -> None:
        if bpy.context.area != self._area:
            return
        scale = ui_scale(bpy.context)
        circle.draw_circles([corners for _, corners in self._there], circle.FAINT, scale)
        if self._under:
            circle.draw_circles([self._under], circle.LIGHT, scale)

    def _draw_words(self) -> None:
        if bpy.context.area != self._area or self._mouse is None or not self._under:
            return
        scale = ui_scale(bpy.context)
        radius = f"{self._typed}_" if self._typed else f"{self._radius_mm:.2f}"
        words = f"radius {radius} mm"
        x, y = self._mouse
        width = captions.width_of(words, scale)
        beside = x + 16 * scale
        if beside + width > self._free_right():
            beside = x - 16 * scale - width
        captions.draw_words(words, beside, y + 12 * scale, scale)

    def _free_right(self) -> float:
        """Return where the sidebar begins that lies on the view, in its pixels."""
        window = next(r for r in self._area.regions if r.type == "WINDOW")
        over = [r.x for r in self._area.regions if r.type == "UI" and r.width > 1]
        return float(min([window.x + window.width, *over]) - window.x)
