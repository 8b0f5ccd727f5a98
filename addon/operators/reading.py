"""Read the deviation under the mouse."""

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
            scale_mm = frames.scene_scale_mm(self.objects(context)[1], scene_of(context))
        except CuspwiseError as error:
            self.report({"WARNING"}, message(error))
            return
        self._labels.append(reading.add_label(obj, local, read, scale_mm))
        x, y, z = read.place_mm
        self.report({"INFO"}, f"{read.words} at {x:.2f}, {y:.2f}, {z:.2f} mm")

    def _draw(self) -> None:
        if self._shown is None or bpy.context.area != self._area:
            return
        words, x, y = self._shown
        scale = ui_scale(bpy.context)
        captions.draw_words(words, x + 16 * scale, y + 12 * scale, scale)


CLASSES = (ReadValue,)
