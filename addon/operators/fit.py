"""Seat a crown on its die, run it down to its seat, look at what was found."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import bpy
from bpy_extras.io_utils import ExportHelper

from ...standalone_core.atomic import atomic_write
from ...standalone_core.errors import CuspwiseError
from .. import identifiers
from ..blender.in_blender import message
from ..blender.job import JobOperator
from ..blender.session import Answer, layer_of, scene_of, settings_of
from ..check import store
from ..drawing import colour_map, framing, overlay
from ..fit import fit_store, kept_margin, on_die, seating
from ..fit.crown_chosen import crown_of
from . import ready, ready_crown
from .finish_line import has_die

if TYPE_CHECKING:
    from ...standalone_core.progress import Steps


class SeatCrown(JobOperator, bpy.types.Operator):
    """Seat the crown on its die."""

    bl_idname = identifiers.SEAT_CROWN
    bl_label = "Seat Crown"
    bl_description = (
        "Let the crown down on its die along the path of insertion, under a load, until it rests; "
        "then measure the gap inside and at the margin. The crown is shown on its die; Back to "
        "the Design takes it to where it lies otherwise"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a crown and a die."""
        if not (ready_crown.can_measure_crown(cls, context) and has_die(cls, context)):
            return False
        return ready.can_measure(cls, context, settings_of(context).fit.die)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read crown, die and what else there is."""
        self._design = settings_of(context).design
        self._read = yield from seating.read_steps(context, _crown(context))

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Seat it with the choices of now."""
        return seating.seat_steps(self._read)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Keep what was found, show the crown on its die, and its map where one was shown."""
        crown, scene = self._read.crown.obj, scene_of(context)
        yield from fit_store.keep_steps(self._read, result, self._design)
        store.data_of(crown).fit.height_mm = 0.0  # which runs it down
        colour_map.refresh(scene)
        overlay.redraw()
        problem = store.data_of(crown).fit.problem
        kept = fit_store.fit_of(crown) or {}
        said = f"{crown.name}: {kept['fit']['headline']}."
        return f"{said} It cannot be shown on the die: {problem}" if problem else said


class PutOnDie(bpy.types.Operator):
    """Show the crown on its die."""

    bl_idname = identifiers.PUT_ON_DIE
    bl_label = "Put on Die"
    bl_description = (
        "Show the crown on its die, as far above its seat as the height says. What was measured "
        "stays as it is"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a fit."""
        return _has_fit(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Move the object."""
        crown = _crown(context)
        problem = on_die.run_down(crown, scene_of(context), layer_of(context))
        store.data_of(crown).fit.problem = problem
        if problem:
            self.report({"ERROR"}, problem)
            return {"CANCELLED"}
        return {"FINISHED"}


class BackToDesign(bpy.types.Operator):
    """Take the crown off its die."""

    bl_idname = identifiers.BACK_TO_DESIGN
    bl_label = "Back to the Design"
    bl_description = "Put the crown back to where it lay before it was shown on its die"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a crown that is shown on its die."""
        if not _has_crown(cls, context):
            return False
        if not store.data_of(_crown(context)).fit.is_on_die:
            cls.poll_message_set("The crown is not shown on its die")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Move the object."""
        try:
            on_die.bring_back(_crown(context), layer_of(context))
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        return {"FINISHED"}


class ShowFitMap(bpy.types.Operator):
    """Show a map of the fit on the crown."""

    bl_idname = identifiers.SHOW_FIT_MAP
    bl_label = "Show Gap Map"
    bl_description = (
        "Colour the crown's inner surface by this map, the wider the darker, and hide die, design "
        "and other scans meanwhile. Show Colour Map brings the deviations back, Remove Colour Map "
        "the objects as they were"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    key: bpy.props.EnumProperty(
        name="Map",
        description="What the colours of the crown show",
        items=(
            (fit_store.GAP, "Gap", "The space between crown and die"),
            (fit_store.RELIEF, "To Take Off", "What must be taken off so that it goes down"),
        ),
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a fit."""
        return _has_fit(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Colour the crown; say so if the fit is out of date."""
        crown, scene = _crown(context), scene_of(context)
        kept = fit_store.fit_of(crown)
        if kept is None or self.key not in kept["limits_um"]:
            self.report({"ERROR"}, f"{crown.name}: there is no such map of its fit.")
            return {"CANCELLED"}
        colour_map.show_fit_map(context, self.key)
        reason = fit_store.why_out_of_date(crown, scene)
        if reason:
            self.report({"WARNING"}, f"The map is out of date: {reason}")
        return {"FINISHED"}


class FrameFitPlace(bpy.types.Operator):
    """Bring a place of the fit into view."""

    bl_idname = identifiers.FRAME_FIT_PLACE
    bl_label = "Frame Place"
    bl_description = "Put the 3D cursor on this place and bring it into the middle of the view"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    kind: bpy.props.EnumProperty(
        name="Kind",
        description="What lies at the place to bring into view",
        items=(
            ("SPOT", "Contact Spot", "A place that the crown rests on"),
            ("WIDEST", "Largest Marginal Gap", "Where the marginal gap is largest"),
        ),
        options={"SKIP_SAVE"},
    )
    number: bpy.props.IntProperty(
        name="Place", description="Which of them; 0 is the first", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a fit."""
        return _has_fit(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Go there."""
        crown, scene = _crown(context), scene_of(context)
        kept, data = fit_store.fit_of(crown) or {}, store.data_of(crown).fit
        spots = kept["spots_own"]
        if self.kind == "SPOT":
            obj, place = crown, spots[self.number] if self.number < len(spots) else None
        else:
            obj, place = data.die, kept["widest_on_die"]
        if place is None or not store.is_in(obj, scene):
            self.report({"ERROR"}, f"{crown.name}: there is no such place.")
            return {"CANCELLED"}
        look = framing.frame_local if self.kind == "SPOT" else framing.go_to
        problem = look(context, obj, place)
        if problem:
            self.report({"ERROR"}, problem)
            return {"CANCELLED"}
        return {"FINISHED"}


class SavePolarPlot(bpy.types.Operator, ExportHelper):  # type: ignore[misc]
    """Write the polar plot of the marginal gap to a file."""

    bl_idname = identifiers.SAVE_POLAR_PLOT
    bl_label = "Save Polar Plot"
    bl_description = (
        "Write the marginal gap around the crown as a drawing (SVG) that stays sharp at any size"
    )

    if TYPE_CHECKING:
        filepath: str  # of the file dialogue's base
    filename_ext = ".svg"
    filter_glob: bpy.props.StringProperty(default="*.svg", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a margin that was measured."""
        if not _has_fit(cls, context):
            return False
        if not store.data_of(_crown(context)).fit.margin:
            cls.poll_message_set("The margin was not measured")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Write it."""
        crown = _crown(context)
        margin = kept_margin.margin_of(store.data_of(crown).fit.margin)
        assert margin is not None  # poll asked
        path = Path(bpy.path.abspath(self.filepath))
        from ...standalone_core.report.fit.polar_picture import polar_svg  # loads jinja2

        try:
            atomic_write(path, polar_svg(margin, crown.name))
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        self.report({"INFO"}, f"Saved {path}.")
        return {"FINISHED"}


def _crown(context: bpy.types.Context) -> bpy.types.Object:
    """Return the crown that is seated, which ``poll`` has asked for."""
    scene = scene_of(context)
    found = crown_of(scene, colour_map.selected_scan(scene))
    return cast(bpy.types.Object, found)


def _has_crown(operator: Any, context: bpy.types.Context) -> bool:
    if not ready.has_design(operator, context):
        return False
    return settings_of(context).fit.crown == "DESIGN" or ready.has_both(operator, context)


def _has_fit(operator: Any, context: bpy.types.Context) -> bool:
    if not _has_crown(operator, context):
        return False
    if fit_store.fit_of(_crown(context)) is None:
        operator.poll_message_set("Press Seat Crown first")
        return False
    return True


CLASSES = (SeatCrown, PutOnDie, BackToDesign, ShowFitMap, FrameFitPlace, SavePolarPlot)
