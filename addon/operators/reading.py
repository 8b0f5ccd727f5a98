"""Read the deviation under the mouse; take the labels away that this leaves."""

from typing import Any

import bpy
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from .. import identifiers
from ..blender import frames
from ..blender.in_blender import message
from ..blender.picking import Hit, PickingOperator, hit_under_mouse
from ..blender.session import Answer, scene_of, settings_of, ui_scale
from ..causes import causes_store
from ..check import reading, store
from ..drawing import captions, colour_map
from . import ready


class ReadValue(PickingOperator, bpy.types.Operator):
    """Read the deviation under the mouse; a click leaves a label."""

    bl_idname = identifiers.READ_VALUE
    bl_label = "Read Value"
    bl_description = (
        "Show deviation and area under the mouse; a click leaves a label that is saved with the "
        "file. Enter or the right mouse button ends it, Esc takes the labels back"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    help_text = "Point at a surface; click to leave a label   Enter: Done   Esc: Cancel"
    on: bpy.props.EnumProperty(
        name="On",
        description="The surface to read, where none is clicked",
        items=(("SCAN", "Scan", "On the scan"), ("DESIGN", "Design", "On the design")),
        options={"SKIP_SAVE"},
    )
    location: bpy.props.FloatVectorProperty(
        name="Location",
        description="Where, in the world; the nearest place of the surface is taken",
        subtype="TRANSLATION",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a result that is not out of date."""
        if not ready.has_result(cls, context):
            return False
        if settings_of(context).study.shown:
            cls.poll_message_set("A group's map is shown; press Show Colour Map first")
            return False
        scan = ready.chosen_scan(context)
        if causes_store.is_chosen_map(scan, scene_of(context)):
            cls.poll_message_set("A map of causes is shown; press Show Colour Map first")
            return False
        if colour_map.fit_map(scene_of(context), scan) is not None:
            cls.poll_message_set("A map of the crown's fit is shown; press Show Colour Map first")
            return False
        data = store.data_of(scan)
        if data.state != "CURRENT":
            cls.poll_message_set(f"{data.state_reason} Check again first")
            return False
        return True

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Read under the mouse; in the background, at the place given."""
        if bpy.app.background:
            return self.execute(context)
        self._labels: list[bpy.types.Object] = []
        self._shown: tuple[str, int, int] | None = None
        answer = self.start_picking(context)
        if answer == {"RUNNING_MODAL"}:
            self._handler = bpy.types.SpaceView3D.draw_handler_add(
                self._draw, (), "WINDOW", "POST_PIXEL"
            )
        return answer

    def execute(self, context: bpy.types.Context) -> Answer:
        """Leave one label at the place given."""
        self._labels = []
        scan, design = self.objects(context)
        obj = design if self.on == "DESIGN" else scan
        found, place, _normal, face = obj.closest_point_on_mesh(
            obj.matrix_world.inverted_safe() @ Vector(self.location)
        )
        if not found:
            self.report({"ERROR"}, f"{obj.name} has no surface to read.")
            return {"CANCELLED"}
        self._label(context, obj, place, face)
        return {"FINISHED"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Follow the mouse."""
        if event.type == "MOUSEMOVE":
            hit = hit_under_mouse(self._area, event, self.objects(context))
            self._shown = None
            if hit is not None:
                words = self._read(context, hit.obj, hit.local, hit.face).words
                region = next(r for r in self._area.regions if r.type == "WINDOW")
                self._shown = words, event.mouse_x - region.x, event.mouse_y - region.y
            self._area.tag_redraw()
        return super().modal(context, event)

    def cancel(self, context: bpy.types.Context) -> None:
        """Stop drawing beside the mouse."""
        bpy.types.SpaceView3D.draw_handler_remove(self._handler, "WINDOW")
        super().cancel(context)

    def objects(self, context: bpy.types.Context) -> tuple[bpy.types.Object, ...]:
        """Return scan and design."""
        scan = ready.chosen_scan(context)
        return scan, store.data_of(scan).design

    def picked(self, context: bpy.types.Context, hit: Hit) -> None:
        """Leave a label."""
        self._label(context, hit.obj, hit.local, hit.face)

    def take_back(self) -> None:
        """Delete this time's labels."""
        for label in self._labels:
            bpy.data.objects.remove(label)

    def _read(
        self, context: bpy.types.Context, obj: bpy.types.Object, local: Vector, face: int
    ) -> reading.Reading:
        scan, design = self.objects(context)
        return reading.read_at(obj, local, face, scan, frames.frame_of(design, scene_of(context)))

    def _label(
        self, context: bpy.types.Context, obj: bpy.types.Object, local: Vector, face: int
    ) -> None:
        try:
            read = self._read(context, obj, local, face)
            scan, design = self.objects(context)
            scale_mm = frames.scene_scale_mm(design, scene_of(context))
        except CuspwiseError as error:
            self.report({"WARNING"}, message(error))
            return
        self._labels.append(reading.add_label(obj, local, read, scan, scale_mm))
        x, y, z = read.place_mm
        self.report({"INFO"}, f"{read.words} at {x:.2f}, {y:.2f}, {z:.2f} mm")

    def _draw(self) -> None:
        if self._shown is None or bpy.context.area != self._area:
            return
        words, x, y = self._shown
        scale = ui_scale(bpy.context)
        captions.draw_words(words, x + 16 * scale, y + 12 * scale, scale)


class RemoveValue(bpy.types.Operator):
    """Delete a label with a value."""

    bl_idname = identifiers.REMOVE_VALUE
    bl_label = "Remove Value"
    bl_description = "Delete this label that Read Value left"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    label: bpy.props.StringProperty(
        name="Label", description="Name of the label's object", options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a label."""
        return _has_labels(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Delete it."""
        named = [o for o in reading.labels(scene_of(context)) if o.name == self.label]
        if not named:
            self.report({"ERROR"}, f"There is no label {self.label!r} in this scene.")
            return {"CANCELLED"}
        _delete(named)
        return {"FINISHED"}


class RemoveValues(bpy.types.Operator):
    """Delete all labels with values."""

    bl_idname = identifiers.REMOVE_VALUES
    bl_label = "Remove All Values"
    bl_description = "Delete all labels that Read Value left in this scene"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for labels."""
        return _has_labels(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Delete them."""
        found = reading.labels(scene_of(context))
        _delete(found)
        self.report({"INFO"}, f"Removed {len(found)} value{'' if len(found) == 1 else 's'}.")
        return {"FINISHED"}


def _has_labels(operator: Any, context: bpy.types.Context) -> bool:
    if not ready.no_job(operator, context):
        return False
    if not reading.labels(scene_of(context)):
        operator.poll_message_set("Read Value has left no label")
        return False
    return True


def _delete(labels: list[bpy.types.Object]) -> None:
    for label in labels:
        bpy.data.objects.remove(label)


CLASSES = (ReadValue, RemoveValue, RemoveValues)
