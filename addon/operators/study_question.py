"""The comparisons that a study plans beside its main one: add, order and remove them."""

from typing import Any

import bpy

from ...standalone_core.study.plan import MEASURES
from ...standalone_core.words.names import area_words, measure_words
from ...standalone_core.words.text import capital
from .. import identifiers
from ..blender.session import Answer, settings_of
from . import ready
from .area_rows import areas_of

Item = tuple[str, str, str]
# Blender does not hold on to the texts of items that a function returns; without this they go.
_held: list[list[Item]] = []


def _areas(_operator: Any, context: bpy.types.Context | None) -> list[Item]:
    names = [] if context is None else areas_of(context)
    _held[:] = [
        [(name, capital(area_words(name)), "Compare the groups in this area") for name in names]
    ]
    return _held[0]


class AddComparison(bpy.types.Operator):
    """Add a comparison to those that come after the main one."""

    bl_idname = identifiers.ADD_COMPARISON
    bl_label = "Add Comparison"
    bl_description = (
        "Plan one more comparison. It is tested only if all before it were decided, so put first "
        "what matters most"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    area: bpy.props.EnumProperty(
        name="Area", description="Compare the groups in this area", items=_areas
    )
    measure: bpy.props.EnumProperty(
        name="Measure",
        description="Compare the groups by this measure",
        items=[
            (n, capital(measure_words(n)), "Compare the groups by this measure") for n in MEASURES
        ],
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for nothing but that no job runs."""
        return ready.no_job(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Ask for both."""
        if bpy.app.background:
            return self.execute(context)
        manager: Any = context.window_manager
        answer: Answer = manager.invoke_props_dialog(self)
        return answer

    def execute(self, context: bpy.types.Context) -> Answer:
        """Add it at the end."""
        rows = settings_of(context).study.comparisons
        if any((row.area, row.measure) == (self.area, self.measure) for row in rows):
            self.report({"ERROR"}, "This comparison is in the list.")
            return {"CANCELLED"}
        row = rows.add()
        row.area, row.measure = self.area, self.measure
        return {"FINISHED"}


class _RowOperator:
    """Base of operators on a row."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a comparison of one's own."""
        if not ready.no_job(cls, context):
            return False
        if not settings_of(context).study.comparisons:
            cls.poll_message_set("Add a comparison first")  # type: ignore[attr-defined]
            return False
        return True


class RemoveComparison(_RowOperator, bpy.types.Operator):
    """Remove a comparison."""

    bl_idname = identifiers.REMOVE_COMPARISON
    bl_label = "Remove Comparison"
    bl_description = "Take this comparison out of those planned; it is then exploratory"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Row", description="The row in the list, the first one is 0", min=0
    )

    def execute(self, context: bpy.types.Context) -> Answer:
        """Remove it."""
        settings_of(context).study.comparisons.remove(self.number)
        return {"FINISHED"}


class MoveComparison(_RowOperator, bpy.types.Operator):
    """Move a comparison up."""

    bl_idname = identifiers.MOVE_COMPARISON
    bl_label = "Test Earlier"
    bl_description = "Test this comparison before the one above it"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Row", description="The row in the list, the first one is 0", min=0
    )

    def execute(self, context: bpy.types.Context) -> Answer:
        """Move it."""
        settings_of(context).study.comparisons.move(self.number, max(0, self.number - 1))
        return {"FINISHED"}


CLASSES = (AddComparison, RemoveComparison, MoveComparison)
