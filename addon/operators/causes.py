"""Find the causes of the chosen scan's deviations, look at them, answer what they ask."""

from typing import TYPE_CHECKING, Any

import bpy
import numpy as np
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Steps
from .. import identifiers
from ..areas import support_marks
from ..blender.in_blender import message
from ..blender.job import JobOperator
from ..blender.session import Answer, manager_of, scene_of
from ..causes import cause_lines, causes_store, explaining, production
from ..check import store
from ..drawing import build_arrow, colour_map, framing
from . import ready
from .support_marks import MeasuresAfterwards

if TYPE_CHECKING:
    from ...standalone_core.areas.support_marks import MarkKind


class FindCauses(JobOperator, bpy.types.Operator):
    """Find why the chosen scan deviates."""

    bl_idname = identifiers.FIND_CAUSES
    bl_label = "Find Causes"
    bl_description = (
        "Find why the chosen scan deviates: scale, growth, filled fossae, corners that the tool "
        "did not reach, a deformed margin. Each with its size and interval, and only where the "
        "deviations hold it. Nothing is measured anew, and no verdict changes"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a result that is not out of date."""
        return _has_current(cls, context)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read design, scan and what was measured."""
        self._read = yield from explaining.read_steps(context, ready.chosen_scan(context))

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Find the causes with the facts of now."""
        return explaining.find_steps(self._read)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Keep what was found, and show its map again where one was shown."""
        scan = self._read.scan.scan
        yield from causes_store.keep_steps(self._read, result)
        colour_map.refresh(scene_of(context))
        build_arrow.redraw()
        return f"{scan.name}: {result.causes.sentences[0]}"


class ShowCauseMap(bpy.types.Operator):
    """Show a map of causes on the design."""

    bl_idname = identifiers.SHOW_CAUSE_MAP
    bl_label = "Show Cause Map"
    bl_description = (
        "Colour the design by the deviation that this makes, on the scale of the deviations "
        "themselves, and hide the scans meanwhile. Show Colour Map brings the deviations back"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    key: bpy.props.StringProperty(
        name="Map",
        description="The cause; all: of all that are stated; left: what they leave",
        default=causes_store.LEFT,
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for causes whose design is there."""
        return _has_causes(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Colour the design; say so if the causes are out of date."""
        scan = ready.chosen_scan(context)
        kept = causes_store.causes_of(scan)
        if kept is None or self.key not in kept["maps"]:
            self.report({"ERROR"}, f"{scan.name}: there is no map of {self.key or 'nothing'}.")
            return {"CANCELLED"}
        colour_map.show_cause_map(context, self.key)
        reason = causes_store.why_out_of_date(scan, scene_of(context))
        if reason:
            self.report({"WARNING"}, f"The map is out of date: {reason}")
        return {"FINISHED"}


class FrameFoundPlace(bpy.types.Operator):
    """Bring a place that was found into view."""

    bl_idname = identifiers.FRAME_FOUND_PLACE
    bl_label = "Frame Place"
    bl_description = "Put the 3D cursor on this place and bring it into the middle of the view"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    kind: bpy.props.EnumProperty(
        name="Kind",
        description="What was found there",
        items=(
            ("marks", "Support Mark", "A support mark that nobody marked"),
            ("places", "Filled Place", "A filled fossa, or a corner that the tool did not reach"),
        ),
        options={"SKIP_SAVE"},
    )
    number: bpy.props.IntProperty(
        name="Place", description="Which of them; 0 is the first", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for causes whose design is there."""
        return _has_causes(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Go there."""
        scan = ready.chosen_scan(context)
        kept = causes_store.causes_of(scan) or {}
        found = kept.get(self.kind, ())
        if self.number >= len(found):
            self.report({"ERROR"}, f"{scan.name}: there is no place {self.number + 1}.")
            return {"CANCELLED"}
        place = np.array(found[self.number]["place_mm"])
        problem = framing.frame_place(context, scan, place)
        if problem:
            self.report({"ERROR"}, problem)
            return {"CANCELLED"}
        return {"FINISHED"}


class AcceptFoundMark(MeasuresAfterwards, bpy.types.Operator):
    """Make a support mark that was found a support mark of the design."""

    bl_idname = identifiers.ACCEPT_FOUND_MARK
    bl_label = "Accept Support Mark"
    bl_description = (
        "Make this place a support mark of the design, as if it had been clicked with Mark "
        "Support; its height is measured at once. The list under Areas holds it from then on"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Mark", description="Which of them; 0 is the first", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for causes whose design is the scene's."""
        return _has_causes(cls, context) and ready.has_design(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Mark it, and measure while the window goes on."""
        if bpy.app.background:
            return self.execute(context)
        if not self._accept(context):
            return {"CANCELLED"}
        answer = self.measure_meanwhile(context)
        if answer == {"RUNNING_MODAL"}:
            manager_of(context).modal_handler_add(self)
        return answer

    def execute(self, context: bpy.types.Context) -> Answer:
        """Mark it and measure it."""
        return self.measure_now(context) if self._accept(context) else {"CANCELLED"}

    def _accept(self, context: bpy.types.Context) -> bool:
        scan = ready.chosen_scan(context)
        row = _open_mark(scan, self.number)
        if row is None:
            self.report({"ERROR"}, f"{scan.name}: there is no support mark {self.number + 1}.")
            return False
        try:
            area = _mark(context, scan, row)
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return False
        causes_store.answer_mark(scan, self.number, causes_store.ACCEPTED)
        self.report({"INFO"}, f"Marked {area}.")
        return True


class DismissFoundMark(bpy.types.Operator):
    """Take a support mark that was found off the list."""

    bl_idname = identifiers.DISMISS_FOUND_MARK
    bl_label = "Dismiss Support Mark"
    bl_description = "Take this place off the list: it is no support mark"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Mark", description="Which of them; 0 is the first", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for causes."""
        return _has_causes(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Keep that it was dismissed."""
        scan = ready.chosen_scan(context)
        row = _open_mark(scan, self.number)
        if row is None:
            self.report({"ERROR"}, f"{scan.name}: there is no support mark {self.number + 1}.")
            return {"CANCELLED"}
        causes_store.answer_mark(scan, self.number, causes_store.DISMISSED)
        self.report({"INFO"}, f"Dismissed: {cause_lines.mark_words(row)}.")
        return {"FINISHED"}


def _open_mark(scan: bpy.types.Object, number: int) -> dict[str, Any] | None:
    kept = causes_store.causes_of(scan)
    return dict(causes_store.open_marks(kept)).get(number) if kept is not None else None


def _mark(context: bpy.types.Context, scan: bpy.types.Object, row: dict[str, Any]) -> str:
    """Make the support mark on the scan's design; return its area name."""
    design, scene = store.data_of(scan).design, scene_of(context)
    on = support_marks.target(design, scene, context.evaluated_depsgraph_get())
    place = np.linalg.inv(on.local_to_mm) @ np.append(row["place_mm"], 1.0)
    found, nearest, _normal, _face = design.closest_point_on_mesh(Vector(place[:3].tolist()))
    milled = production.production_of(scene, scan).way == "milled"
    kind: MarkKind = "sprue" if milled else "support"
    centre = np.array(nearest) if found else place[:3]
    return support_marks.mark(on, centre, row["radius_mm"], kind)


def _has_current(operator: Any, context: bpy.types.Context) -> bool:
    if not ready.has_result(operator, context):
        return False
    data = store.data_of(ready.chosen_scan(context))
    if not store.is_in(data.design, scene_of(context)):
        operator.poll_message_set("The scan's design is not in this scene; check it again")
        return False
    if data.state == "OUT_OF_DATE":
        operator.poll_message_set(f"{data.state_reason} Check again first")
        return False
    return True


def _has_causes(operator: Any, context: bpy.types.Context) -> bool:
    if not ready.has_result(operator, context):
        return False
    scan = ready.chosen_scan(context)
    if causes_store.causes_of(scan) is None:
        operator.poll_message_set("Press Find Causes first")
        return False
    if not store.is_in(store.data_of(scan).design, scene_of(context)):
        operator.poll_message_set("The scan's design is not in this scene")
        return False
    return True


CLASSES = (FindCauses, ShowCauseMap, FrameFoundPlace, AcceptFoundMark, DismissFoundMark)
