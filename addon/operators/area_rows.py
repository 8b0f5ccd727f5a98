"""Lists of areas with a number each: add a row, remove one; and give back usual choices."""

from typing import Any

import bpy

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.areas.support_marks import is_support
from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import capital
from .. import identifiers
from ..areas import area_groups
from ..blender.session import Answer, scene_of, settings_of
from ..check import store
from ..check.scene_choices import TOLERANCE_AREAS
from ..check.setting_groups import GROUPS
from ..properties.preferences import preferences
from ..properties.setting_groups import limits_changed, measuring_changed
from . import ready

Item = tuple[str, str, str]
LISTS = {
    "tolerances": "Tolerances",
    "scanners": "Scanner by Area",
    "fit_areas": "Areas to Fit On",
    "equivalences": "Equivalence Limits",
}
"""The lists, by their property's name; the last one is the study's."""
_LIST_ITEMS = [(key, title, f"The list of areas called “{title}”") for key, title in LISTS.items()]
# Blender does not hold on to the texts of items that a function returns; without this they go.
_held: list[list[Item]] = []


def rows_of(settings: Any, key: str) -> Any:
    """Return a list of the scene."""
    return getattr(settings.study if key == "equivalences" else settings, key)


def areas_of(context: bpy.types.Context) -> list[str]:
    """Return the areas that a list can name: the automatic ones, then the design's own."""
    design = settings_of(context).design
    names = area_groups.names(design) if store.is_in(design, scene_of(context)) else []
    own = [name for name in names if name not in AREA_NAMES and not is_support(name)]
    return [*AREA_NAMES, *own]


def _items(operator: Any, context: bpy.types.Context | None) -> list[Item]:
    if context is None:
        return []
    rows = rows_of(settings_of(context), operator.rows)
    there = {row.area for row in rows}
    there |= {*TOLERANCE_AREAS} if operator.rows == "tolerances" else set()
    left = [name for name in areas_of(context) if name not in there]
    _held[:] = [[(name, capital(area_words(name)), "Add this area to the list") for name in left]]
    return _held[0] or [("", "None Left", "Every area is in the list")]


class AddAreaRow(bpy.types.Operator):
    """Add an area to a list."""

    bl_idname = identifiers.ADD_AREA_ROW
    bl_label = "Add Area"
    bl_description = "Add an area, one found automatically or your own, to this list"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    rows: bpy.props.EnumProperty(
        name="List", description="The list that the area is added to", items=_LIST_ITEMS
    )
    area: bpy.props.EnumProperty(
        name="Area",
        description="The area to add, one found automatically or your own",
        items=_items,
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for nothing but that no job runs."""
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Add it."""
        if not self.area:
            self.report({"INFO"}, "Every area is in the list.")
            return {"CANCELLED"}
        rows_of(settings_of(context), self.rows).add().area = self.area
        return {"FINISHED"}


class RemoveAreaRow(bpy.types.Operator):
    """Remove an area from a list."""

    bl_idname = identifiers.REMOVE_AREA_ROW
    bl_label = "Remove Area from List"
    bl_description = "Take this area out of the list; the area itself stays"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    rows: bpy.props.EnumProperty(
        name="List", description="The list that the row is taken out of", items=_LIST_ITEMS
    )
    number: bpy.props.IntProperty(
        name="Row", description="The row in the list, the first one is 0", min=0
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for nothing but that no job runs."""
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Remove it; what follows from the list is judged anew, or marked out of date."""
        settings = settings_of(context)
        rows = rows_of(settings, self.rows)
        if self.number >= len(rows):
            self.report({"ERROR"}, "There is no such row.")
            return {"CANCELLED"}
        rows.remove(self.number)
        if self.rows in ("tolerances", "scanners"):
            limits_changed(settings, context)
        elif self.rows == "fit_areas":
            measuring_changed(settings, context)
        return {"FINISHED"}


class ResetChoices(bpy.types.Operator):
    """Give back the usual choices of a group."""

    bl_idname = identifiers.RESET_CHOICES
    bl_label = "Give Back Defaults"
    bl_description = "Set all numbers of this panel to what they are by default"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    group: bpy.props.EnumProperty(
        name="Group",
        description="The choices that are set to their defaults",
        items=[
            (key, group.title, f"The choices in the panel “{group.title}”")
            for key, group in GROUPS.items()
        ],
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for nothing but that no job runs."""
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Set them."""
        settings = settings_of(context)
        owner = getattr(settings, self.group)
        for name in GROUPS[self.group].names:
            owner.property_unset(name)
        if self.group == "points":
            _points_as_preferred(settings)
        limits_changed(settings, context)
        measuring_changed(settings, context)
        return {"FINISHED"}


def _points_as_preferred(settings: Any) -> None:
    """Set what stands in the same panel and has a default in the preferences."""
    preferred = preferences()
    for name in ("spacing_mm", "search_mm"):
        if preferred is None:
            settings.property_unset(name)
        else:
            setattr(settings, name, getattr(preferred, name))


CLASSES = (AddAreaRow, RemoveAreaRow, ResetChoices)
