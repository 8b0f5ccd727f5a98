"""How a list of areas with a number each is drawn, and a group of settings."""

from __future__ import annotations

from collections.abc import Iterable

import bpy

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import capital
from .. import identifiers
from ..areas import area_groups
from ..blender.session import scene_of, settings_of
from ..check import store
from ..check.setting_groups import GROUPS
from ..operators.area_rows import rows_of
from .base import choose

_DIGITS = "000.000"


def draw_rows(layout: bpy.types.UILayout, context: bpy.types.Context, key: str, text: str) -> None:
    """Draw a list: area and number on a line, and below them a button that adds one."""
    settings = settings_of(context)
    rows, there = rows_of(settings, key), _areas_there(context)
    column = layout.column(align=True)
    for number, row in enumerate(rows):
        line = column.row(align=True)
        line.label(
            text=capital(area_words(row.area)), icon="NONE" if row.area in there else "ERROR"
        )
        if "um" in row.bl_rna.properties:
            line.prop(row, "um", text="µm")
        remove = line.operator(identifiers.REMOVE_AREA_ROW, text="", icon="X")
        remove.rows, remove.number = key, number
    add = column.operator_menu_enum(identifiers.ADD_AREA_ROW, "area", text=text, icon="ADD")
    add.rows = key


def draw_group(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    key: str,
    names: Iterable[str] | None = None,
) -> None:
    """Draw the settings of a group, and the button that gives back the defaults."""
    owner = getattr(settings_of(context), key)
    column = layout.column(align=True)
    for name in GROUPS[key].names if names is None else names:
        known = owner.bl_rna.properties[name]
        if known.type in ("FLOAT", "INT"):
            choose(column, context, owner, name, _DIGITS)
        else:
            column.prop(owner, name)
    layout.operator(identifiers.RESET_CHOICES, icon="LOOP_BACK").group = key


def _areas_there(context: bpy.types.Context) -> set[str]:
    """Return the areas that the design has, or will have."""
    design = settings_of(context).design
    names = area_groups.names(design) if store.is_in(design, scene_of(context)) else []
    return {*AREA_NAMES, *names}
