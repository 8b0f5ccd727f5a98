"""Landmarks on design and scan."""

import bpy
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from .. import identifiers
from ..blender import frames
from ..blender.in_blender import message
from ..blender.picking import Hit, PickingOperator
from ..blender.session import Answer, scene_of, settings_of
from ..check import landmarks
from ..check.beside import SideBySide
from . import ready


class PickLandmarks(PickingOperator, bpy.types.Operator):
    """Pick the same places on design and scan."""

    bl_idname = identifiers.PICK_LANDMARKS
    bl_label = "Pick Landmarks"
    bl_description = (
        "Click the same three or more places on design and scan, in the same order: cusp tips, "
        "ends of fissures. Both are shown side by side meanwhile. Enter or the right mouse button "
        "ends it, Esc takes the clicks back; either way the scan then lies where it lay"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    help_text = (
        "Click the same places on design and scan, in the same order   Enter: Done   Esc: Cancel"
    )
    on: bpy.props.EnumProperty(
        name="On",
        description="The surface to put a landmark on, where none is clicked",
        items=(("DESIGN", "Design", "On the design"), ("SCAN", "Scan", "On the scan")),
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
        """Ask for a design and a scan."""
        return ready.can_measure_both(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Pick with the mouse; in the background, take the place given."""
        if bpy.app.background:
            return self.execute(context)
        self._added: list[bpy.types.Object] = []
        self._beside: SideBySide | None = None
        answer = self.start_picking(context)
        if answer == {"RUNNING_MODAL"}:
            self._beside = SideBySide(context, *self.objects(context))
        return answer

    def cancel(self, context: bpy.types.Context) -> None:
        """Stop waiting for clicks, and put the scan back to where it lies."""
        super().cancel(context)
        if self._beside is not None:
            self._beside.end()
            self._beside = None

    def execute(self, context: bpy.types.Context) -> Answer:
        """Put one landmark at the place given."""
        self._added = []
        try:
            self._add(context, self.objects(context)[self.on == "SCAN"], Vector(self.location))
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        return {"FINISHED"}

    def objects(self, context: bpy.types.Context) -> tuple[bpy.types.Object, ...]:
        """Return design and scan."""
        settings = settings_of(context)
        return settings.design, ready.chosen_scan(context)

    def picked(self, context: bpy.types.Context, hit: Hit) -> None:
        """Put a landmark where the surface was clicked."""
        try:
            self._add(context, hit.obj, hit.world)
        except CuspwiseError as error:
            self.report({"WARNING"}, message(error))

    def take_back(self) -> None:
        """Delete this time's landmarks."""
        landmarks.remove_landmarks(self._added)

    def _add(self, context: bpy.types.Context, obj: bpy.types.Object, world: Vector) -> None:
        design = self.objects(context)[0]
        scale_mm = frames.scene_scale_mm(design, scene_of(context))
        self._added.append(landmarks.add_landmark(obj, world, scene_of(context), scale_mm))


class RemoveLandmarks(bpy.types.Operator):
    """Delete all landmarks of design and scan."""

    bl_idname = identifiers.REMOVE_LANDMARKS
    bl_label = "Remove Landmarks"
    bl_description = "Delete all landmarks of the design and of the chosen scan"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for landmarks."""
        if not ready.has_both(cls, context):
            return False
        if not _all_landmarks(context):
            cls.poll_message_set("There are no landmarks")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Delete them."""
        landmarks.remove_landmarks(_all_landmarks(context))
        return {"FINISHED"}


def _all_landmarks(context: bpy.types.Context) -> list[bpy.types.Object]:
    settings = settings_of(context)
    both = (settings.design, ready.chosen_scan(context))
    return [m for obj in both for m in landmarks.landmarks_of(obj, scene_of(context)).values()]


CLASSES = (PickLandmarks, RemoveLandmarks)
