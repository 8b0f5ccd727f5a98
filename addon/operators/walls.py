"""Check how thick the walls of a crown are, see them, go to the thinnest places."""

from typing import Any

import bpy

from ...standalone_core.progress import Progress, Steps
from .. import identifiers
from ..blender.job import JobOperator
from ..blender.session import Answer, scene_of
from ..drawing import colour_map, framing
from ..fit import crown_maps, walls
from . import ready_crown


class CheckWalls(JobOperator, bpy.types.Operator):
    """Measure how thick the walls of the crown are."""

    bl_idname = identifiers.CHECK_WALLS
    bl_label = "Check Walls"
    bl_description = (
        "Measure how thick the crown is, from its intaglio: straight through and by the largest "
        "ball that fits in. Each part against its minimum, the thinnest places, and what a scan "
        "lost against its design, wherever it lies"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for the crown that is looked at."""
        return ready_crown.can_measure_crown(cls, context)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read the crown and its design."""
        self._read = yield from walls.read_steps(context, ready_crown.chosen_scan(context))

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Measure the walls."""
        return walls.measure_steps(self._read)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Keep and show them."""
        title = yield from walls.keep_steps(context, self._read, result)
        yield Progress("Colouring the crown", 1.0)
        colour_map.show_crown_map(context, crown_maps.WALLS)
        return f"{self._read.crown.obj.name}: {title}."


class ShowWalls(bpy.types.Operator):
    """Show how thick the walls are."""

    bl_idname = identifiers.SHOW_WALLS
    bl_label = "Show Walls"
    bl_description = (
        "Colour the crown's intaglio by the thickness of the wall behind it, with rings at the "
        "thinnest places, and hide what lies on the crown meanwhile. Look at it from below"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for walls that were measured."""
        return ready_crown.has_kept(cls, context, walls.WALLS, "Press Check Walls first")

    def execute(self, context: bpy.types.Context) -> Answer:
        """Colour the crown; say so if the walls are out of date."""
        colour_map.show_crown_map(context, crown_maps.WALLS)
        reason = walls.why_out_of_date(ready_crown.chosen_crown(context), scene_of(context))
        if reason:
            self.report({"WARNING"}, f"The map is out of date: {reason}")
        return {"FINISHED"}


class FrameThinPlace(bpy.types.Operator):
    """Bring one of the thinnest places into view."""

    bl_idname = identifiers.FRAME_THIN_PLACE
    bl_label = "Frame Thin Place"
    bl_description = (
        "Look at this place from outside: ringed, the 3D cursor on it, what stands before it "
        "hidden. Back to View Before ends that"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Place", description="Which of them; 0 is the thinnest", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for walls that were measured."""
        return ready_crown.has_kept(cls, context, walls.WALLS, "Press Check Walls first")

    def execute(self, context: bpy.types.Context) -> Answer:
        """Go there."""
        crown = ready_crown.chosen_crown(context)
        places = (walls.WALLS.of(crown) or {"places": ()})["places"]
        if self.number >= len(places):
            self.report({"ERROR"}, f"{crown.name}: there is no place {self.number + 1}.")
            return {"CANCELLED"}
        problem = framing.frame_local(context, crown, places[self.number]["local"])
        if problem:
            self.report({"ERROR"}, problem)
            return {"CANCELLED"}
        return {"FINISHED"}


CLASSES = (CheckWalls, ShowWalls, FrameThinPlace)
