"""Measure: all at once from wherever the scan lies, or as it lies now."""

from types import MappingProxyType
from typing import Any

import bpy

from ...standalone_core.progress import Progress, Steps, scaled
from ...standalone_core.report.check.sentences import headline
from .. import identifiers
from ..areas import area_groups
from ..blender import frames
from ..blender.job import JobOperator
from ..blender.session import layer_of, scene_of, settings_of
from ..check import inputs, scene_choices, store
from ..drawing import colour_map
from . import ready
from .superimposition import move_scan


class CheckOperator(JobOperator):
    """Base of the two operators that measure."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design and a scan."""
        return ready.can_measure_both(cls, context)

    def choices(self, context: bpy.types.Context) -> dict[str, Any]:
        """Return what to check with."""
        return inputs.check_choices(context, self._design, self._scan)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read both surfaces, and the areas that somebody edited."""
        self._design, self._scan = yield from inputs.read_both_steps(context)

    def start(self, context: bpy.types.Context) -> Steps[Any]:
        """Check with the choices of now."""
        self._choices = self.choices(context)
        return inputs.check_input_steps(self._design, self._scan, self._choices)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Move the scan, keep the result, show it."""
        yield Progress("Writing the result", 0.0)
        design = self._design
        move_scan(context, design, self._scan, result.superimposition)
        writing = area_groups.write_areas_steps(
            design.design, result.area_set, design.mesh, design.local_to_mm, design.areas
        )
        yield from scaled(writing, 0.0, 0.5)
        keeping = store.keep_steps(design, self._scan, result, self._choices, scene_of(context))
        yield from scaled(keeping, 0.5, 0.9)
        yield from scaled(colour_map.show_steps(context), 0.9, 1.0)
        return f"{self._scan.scan.name}: {headline(result.verdicts).title}."


class CheckCrown(CheckOperator, bpy.types.Operator):
    """Superimpose, find areas, measure and judge the chosen scan."""

    bl_idname = identifiers.CHECK_CROWN
    bl_label = "Check Crown"
    bl_description = (
        "Do all of it for the chosen scan: lay it on the design, find the areas, measure the "
        "deviation, compare it with the tolerances and show it in colours"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read both surfaces, of a scan that can be moved."""
        frames.refuse_held(ready.chosen_scan(context), layer_of(context))
        yield from CheckOperator.read(self, context)


class MeasureDeviation(CheckOperator, bpy.types.Operator):
    """Measure the chosen scan as it lies now."""

    bl_idname = identifiers.MEASURE_DEVIATION
    bl_label = "Measure Deviation"
    bl_description = (
        "Measure the chosen scan where it lies now, without moving it, and compare the deviation "
        "with the tolerances"
    )
    bl_options = {"UNDO"}  # noqa: RUF012
    remedies = MappingProxyType({"start": "Press Check Crown or Superimpose."})

    def choices(self, context: bpy.types.Context) -> dict[str, Any]:
        """Leave the scan where it is."""
        settings = settings_of(context)
        return {**scene_choices.choices_of(settings), "start": "in_place", "refine": False}


CLASSES = (CheckCrown, MeasureDeviation)
