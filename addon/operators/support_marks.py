"""Make support marks on the design, measure them, take them away."""

from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Progress, Steps
from .. import identifiers
from ..areas import support_marks
from ..areas.mark_picking import MarkPicking
from ..blender import bridge
from ..blender.in_blender import message
from ..blender.job import JobOperator
from ..blender.session import Answer, OperatorBase, manager_of, scene_of, settings_of
from ..check import inputs, mark_results, scene_choices, store
from ..drawing import colour_map, framing
from ..properties import mark_choices
from . import ready


class MarksJob(JobOperator):
    """Measure the support marks of every measured scan anew."""

    bl_label = "Measure Marks"

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read the design, its marks and the deviations kept."""
        choices = scene_choices.choices_of(getattr(context.scene, identifiers.SCENE_PROPERTIES))
        scene_choices.refuse_unusual(choices)
        limits = scene_choices.mark_settings(choices)
        self._design = yield from inputs.read_design_steps(context)
        self._kept = []
        for scan in mark_results.measured_scans(self._design.design, scene_of(context)):
            yield Progress("Reading the deviations", 1.0)
            self._kept += mark_results.read([scan], limits)

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Measure the marks of every scan."""
        return mark_results.measure_steps(self._design, self._kept)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Keep the numbers with the scans."""
        groups = self._design.areas.groups
        support_marks.forget_edited_circles(self._design.design, groups)
        checksum = support_marks.checksum(self._design.design, groups)
        for found in result:
            mark_results.keep(found, checksum)
            yield Progress("Keeping the numbers", 0.5)
        colour_map.refresh(scene_of(context))
        count = len(support_marks.names(self._design.design))
        scans = ", ".join(found.scan.name for found in result)
        return f"Measured {count} support mark{'' if count == 1 else 's'} of {scans}."


class MeasuresAfterwards(OperatorBase):
    """Base of operators that change marks: the numbers follow in the same step of undo."""

    _measuring: MarksJob | None = None

    def measure_now(self, context: bpy.types.Context) -> Answer:
        """Measure the marks by the deviations kept, if there are any."""
        if _has_measured(context):
            job: Any = MarksJob()
            job.report = self.report
            job.execute(context)
        return {"FINISHED"}

    def measure_meanwhile(self, context: bpy.types.Context) -> Answer:
        """Measure while the window goes on; return what ``modal`` or ``invoke`` answers."""
        if not _has_measured(context):
            return {"FINISHED"}
        job: Any = MarksJob()
        job.report = self.report
        job.begin(context)
        self._measuring = job
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Go on measuring; where that is cancelled, what was changed stays, numbers out of date."""
        if self._measuring is None:
            return super().modal(context, event)
        answer = self._measuring.modal(context, event)
        if answer != {"CANCELLED"}:
            return answer
        design = settings_of(context).design
        mark_choices.mark_edited(design, scene_of(context))
        return {"FINISHED"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Stop; Blender calls this when the window closes."""
        if self._measuring is None:
            super().cancel(context)
        else:
            self._measuring.cancel(context)


class MarkSupport(MeasuresAfterwards, MarkPicking, bpy.types.Operator):
    """Mark where a support touched the crown."""

    bl_idname = identifiers.MARK_SUPPORT
    bl_label = "Mark Support"
    bl_description = (
        "Click every place where a printing support, a sprue or a holding bar touched the "
        "crown. The circle under the mouse shows how far it reaches; the wheel or a typed number "
        "changes its radius. Enter, Esc or the right mouse button ends it; what was clicked stays"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    location: bpy.props.FloatVectorProperty(
        name="Location",
        description="Where, in the world; the nearest place of the design's surface is taken",
        subtype="TRANSLATION",
        options={"SKIP_SAVE"},
    )
    radius_mm: bpy.props.FloatProperty(
        name="Radius (mm)",
        description="How far it reaches along the surface, in mm; 0 takes the panel's",
        min=0.0,
        max=mark_choices.LARGEST_MM,
        options={"SKIP_SAVE"},
    )
    name: bpy.props.StringProperty(
        name="Name",
        description="What it is called in the tables; the next number if empty",
        maxlen=support_marks.NAME_LENGTH,
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.has_design(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Pick with the mouse; in the background, take the place given."""
        if bpy.app.background:
            return self.execute(context)
        try:
            self.target = _target(context)
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        return self.start_marking(context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Make one mark at the place given."""
        settings = settings_of(context)
        try:
            on = _target(context)
            place = _nearest(on.design, Vector(self.location))
            area = support_marks.mark(
                on,
                np.array(place),
                self.radius_mm or settings.mark_radius_mm,
                settings.mark_kind,
                self.name,
            )
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        self.report({"INFO"}, f"Marked {area}.")
        return self.measure_now(context)

    def marked(self, context: bpy.types.Context) -> Answer:
        """Measure what was marked, once the picking ends."""
        return self.measure_meanwhile(context)


class AssignMarkFaces(bpy.types.Operator):
    """Make a support mark of the selected faces."""

    bl_idname = identifiers.ASSIGN_MARK
    bl_label = "Assign Selected Faces"
    bl_description = (
        "Make a support mark of the faces that are selected on the design in Edit Mode, for a "
        "mark that is not round"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for the design in edit mode."""
        if not ready.no_job(cls, context):
            return False
        design = settings_of(context).design
        if not store.is_in(design, scene_of(context)):
            cls.poll_message_set("Choose the design first")
            return False
        if context.active_object != design or design.mode != "EDIT":
            cls.poll_message_set(f"Make {design.name} active and select faces in Edit Mode")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Read the selection and write the vertex group, which edit mode does not allow."""
        settings = settings_of(context)
        design = settings.design
        bpy.ops.object.mode_set(mode="OBJECT")
        try:
            bridge.check_usable(design)
            vertices = _selected(design.data)
            if len(vertices):
                area = support_marks.assign(design, vertices, settings.mark_kind)
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        finally:
            bpy.ops.object.mode_set(mode="EDIT")
        if not len(vertices):
            self.report({"ERROR"}, f"{design.name}: no face is selected. Select some faces first.")
            return {"CANCELLED"}
        mark_choices.mark_edited(design, scene_of(context))
        self.report({"INFO"}, f"Made {area} of {len(vertices)} vertices.")
        return {"FINISHED"}


class RemoveMark(MeasuresAfterwards, bpy.types.Operator):
    """Delete the chosen support mark."""

    bl_idname = identifiers.REMOVE_MARK
    bl_label = "Remove Mark"
    bl_description = "Delete the support mark chosen in the list, its vertex group with it"
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a mark."""
        return _has_mark(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Delete it, and measure the others while the window goes on."""
        if bpy.app.background:
            return self.execute(context)
        self._remove(context)
        answer = self.measure_meanwhile(context)
        if answer == {"RUNNING_MODAL"}:
            manager_of(context).modal_handler_add(self)
        return answer

    def execute(self, context: bpy.types.Context) -> Answer:
        """Delete group, circle and numbers."""
        self._remove(context)
        return self.measure_now(context)

    def _remove(self, context: bpy.types.Context) -> None:
        design = settings_of(context).design
        area = support_marks.chosen(design)
        if area is not None:
            support_marks.remove(design, area)
            self.report({"INFO"}, f"Removed {area}.")


class MeasureMarks(MarksJob, bpy.types.Operator):
    """Measure the support marks of every measured scan anew."""

    bl_idname = identifiers.MEASURE_MARKS
    bl_label = "Measure Marks"
    bl_description = (
        "Measure stub height or gouge depth, area and volume at all support marks, from the "
        "deviations that were measured last. Marking does it by itself; press this after painting "
        "a mark or changing its radius"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a mark and a measured scan."""
        if not ready.has_design(cls, context):
            return False
        design = settings_of(context).design
        if not mark_results.measured_scans(design, scene_of(context)):
            cls.poll_message_set(
                "Check a scan first; one that is out of date must be checked again"
            )
            return False
        return True


class FrameMark(bpy.types.Operator):
    """Bring a support mark into view."""

    bl_idname = identifiers.FRAME_MARK
    bl_label = "Frame Mark"
    bl_description = (
        "Look at this support mark from outside, at its peak if it was measured: ringed, the 3D "
        "cursor on it, what stands before it hidden. Back to View Before ends that"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a mark."""
        return _has_mark(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Go there."""
        design = settings_of(context).design
        area = support_marks.chosen(design)
        problem = framing.frame_mark(context, design, area) if area else ""
        if problem:
            self.report({"ERROR"}, problem)
            return {"CANCELLED"}
        return {"FINISHED"}


def _has_measured(context: bpy.types.Context) -> bool:
    design = settings_of(context).design
    return bool(mark_results.measured_scans(design, scene_of(context)))


def _has_mark(operator: Any, context: bpy.types.Context) -> bool:
    if not ready.has_design(operator, context):
        return False
    if support_marks.chosen(settings_of(context).design) is None:
        operator.poll_message_set("Choose a support mark in the list, or mark one")
        return False
    return True


def _target(context: bpy.types.Context) -> support_marks.Target:
    design = settings_of(context).design
    return support_marks.target(design, scene_of(context), context.evaluated_depsgraph_get())


def _nearest(design: bpy.types.Object, world: Vector) -> Vector:
    found, place, _normal, _face = design.closest_point_on_mesh(
        design.matrix_world.inverted_safe() @ world
    )
    return place if found else Vector((np.nan,) * 3)


def _selected(mesh: bpy.types.Mesh) -> np.ndarray:
    """Return the vertices of the selected faces."""
    faces = np.empty(len(mesh.polygons), dtype=bool)
    mesh.polygons.foreach_get("select", faces)
    chosen = (mesh.polygons[int(k)].vertices for k in np.flatnonzero(faces))
    return np.unique([vertex for corners in chosen for vertex in corners]).astype(np.int64)


CLASSES = (
    MarkSupport,
    AssignMarkFaces,
    RemoveMark,
    MeasureMarks,
    FrameMark,
)
