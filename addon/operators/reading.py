"""Read the deviation under the mouse."""

import bpy
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from .. import identifiers
from ..blender import bridge
from ..blender.picking import PickingOperator, hit_under_mouse
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
    def poll(cls, context):
        """Ask for a result that is not stale."""
        if not ready.has_result(cls, context):
            return False
        if getattr(context.scene, identifiers.SCENE_PROPERTIES).study.shown:
            cls.poll_message_set("A group's map is shown; press Show Colour Map first")
            return False
        data = store.data_of(colour_map.selected_scan(context.scene))
        if data.state != "CURRENT":
            cls.poll_message_set(f"{data.state_reason} Check again first")
            return False
        return True

    def invoke(self, context, _event):
        """Read under the mouse; in the background, at the place given."""
        if bpy.app.background:
            return self.execute(context)
        self._labels, self._shown = [], None
        answer = self.start_picking(context)
        if answer == {"RUNNING_MODAL"}:
            self._handler = bpy.types.SpaceView3D.draw_handler_add(
                self._draw, (), "WINDOW", "POST_PIXEL"
            )
        return answer

    def execute(self, context):
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

    def modal(self, context, event):
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

    def cancel(self, context):
        """Stop drawing beside the mouse."""
        bpy.types.SpaceView3D.draw_handler_remove(self._handler, "WINDOW")
        super().cancel(context)

    def objects(self, context):
        """Return scan and design."""
        scan = colour_map.selected_scan(context.scene)
        return scan, store.data_of(scan).design

    def picked(self, context, hit):
        """Leave a label."""
        self._label(context, hit.obj, hit.local, hit.face)

    def take_back(self):
        """Delete this time's labels."""
        for label in self._labels:
            bpy.data.objects.remove(label)

    def _read(self, context, obj, local, face):
        scan, design = self.objects(context)
        return reading.read_at(obj, local, face, scan, bridge.frame_of(design, context.scene))

    def _label(self, context, obj, local, face):
        try:
            read = self._read(context, obj, local, face)
            scale_mm = bridge.scene_scale_mm(self.objects(context)[1], context.scene)
        except CuspwiseError as error:
            self.report({"WARNING"}, str(error))
            return
        self._labels.append(reading.add_label(obj, local, read, scale_mm))
        x, y, z = read.place_mm
        self.report({"INFO"}, f"{read.words} at {x:.2f}, {y:.2f}, {z:.2f} mm")

    def _draw(self):
        if self._shown is None or bpy.context.area != self._area:
            return
        words, x, y = self._shown
        scale = bpy.context.preferences.system.ui_scale
        captions.draw_words(words, x + 16 * scale, y + 12 * scale, scale)


CLASSES = (ReadValue,)
