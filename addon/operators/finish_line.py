"""The finish line of the die: carried over from the design, or drawn."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Steps, scaled
from .. import identifiers
from ..blender.in_blender import message
from ..blender.job import JobOperator
from ..blender.picking import Hit, PickingOperator
from ..blender.session import Answer, scene_of, settings_of
from ..check import store
from ..fit import finish_line
from ..fit.seating import frame_of
from ..fit.surfaces import Surface, read_surface_steps
from . import ready


class CarryOverMarginLine(JobOperator, bpy.types.Operator):
    """Make the finish line of the design's margin line."""

    bl_idname = identifiers.CARRY_OVER_MARGIN_LINE
    bl_label = "Carry Over Margin Line"
    bl_description = (
        "Lay the design's margin line on the die as its finish line, in place of the one that is "
        "there. Design and die must lie together as designed. Edit it then as any curve"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a die, and a design with a margin line that lies on it."""
        if not (ready.has_design(cls, context) and has_die(cls, context)):
            return False
        if not settings_of(context).fit.lies_on_die:
            cls.poll_message_set("The design must lie on the die as designed")
            return False
        return True

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read die and margin line."""
        settings = settings_of(context)
        design, die = settings.design, settings.fit.die
        context.evaluated_depsgraph_get()  # brings matrices up to date
        frame = frame_of(scene_of(context), design, die, lies_on_die=True)
        self._margin_mm = finish_line.margin_line_mm(design, frame.local_to_mm(design))
        self._subject = f"margin line of {design.name}"
        self._die: Surface = yield from scaled(read_surface_steps(context, die, frame), 0.0, 1.0)

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Lay it on the die."""
        return finish_line.carry_over_steps(self._die, self._margin_mm, self._subject)

    def finish(self, _context: bpy.types.Context, result: np.ndarray) -> str:
        """Write the curve."""
        finish_line.write(self._die.obj, result)
        return f"Carried the {self._subject} over to {self._die.obj.name}."


class DrawFinishLine(PickingOperator, bpy.types.Operator):
    """Draw the finish line with clicks on the die."""

    bl_idname = identifiers.DRAW_FINISH_LINE
    bl_label = "Draw Finish Line"
    bl_description = (
        "Click along the edge of the preparation, once around the tooth, a place every half "
        "millimetre or so; the line goes on from the last one. Enter or the right mouse button "
        "ends it, Esc takes the clicks back. Edit it then as any curve"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    help_text = "Click along the edge of the preparation   Enter: Done   Esc: Cancel"
    location: bpy.props.FloatVectorProperty(
        name="Location",
        description="Where, in the world; the nearest place of the die is taken",
        subtype="TRANSLATION",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a die."""
        return ready.no_job(cls, context) and has_die(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Pick with the mouse; in the background, take the place given."""
        if bpy.app.background:
            return self.execute(context)
        self._die = settings_of(context).fit.die
        try:
            self._before = finish_line.read(self._die)
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        return self.start_picking(context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Add one place."""
        try:
            finish_line.add_point(settings_of(context).fit.die, Vector(self.location))
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        return {"FINISHED"}

    def objects(self, context: bpy.types.Context) -> tuple[bpy.types.Object, ...]:
        """Return the die."""
        return (settings_of(context).fit.die,)

    def picked(self, _context: bpy.types.Context, hit: Hit) -> None:
        """Add the place that was clicked."""
        try:
            finish_line.add_point(hit.obj, hit.world)
        except CuspwiseError as error:
            self.report({"WARNING"}, message(error))

    def take_back(self) -> None:
        """Take this time's clicks back."""
        if self._before is None:
            finish_line.remove(self._die)
        else:
            finish_line.write(self._die, self._before)


class RemoveFinishLine(bpy.types.Operator):
    """Delete the die's finish line."""

    bl_idname = identifiers.REMOVE_FINISH_LINE
    bl_label = "Remove Finish Line"
    bl_description = "Delete the curve that is the die's finish line"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for one."""
        if not (ready.no_job(cls, context) and has_die(cls, context)):
            return False
        if finish_line.there(settings_of(context).fit.die) is None:
            cls.poll_message_set("The die has no finish line")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Delete it."""
        finish_line.remove(settings_of(context).fit.die)
        return {"FINISHED"}


def has_die(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether a die is chosen that still is in the scene."""
    die = settings_of(context).fit.die
    if die is None:
        operator.poll_message_set("Choose the die first")
        return False
    if not store.is_in(die, scene_of(context)):
        operator.poll_message_set("The die was deleted; choose another one")
        return False
    return True


CLASSES = (CarryOverMarginLine, DrawFinishLine, RemoveFinishLine)
