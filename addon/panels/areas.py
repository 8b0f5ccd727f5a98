"""The panel of the areas: find, load, save and look at them."""

from collections.abc import Iterable, Mapping
from typing import Any

import bpy

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.areas.support_marks import SUPPORTS, is_support
from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import listed
from .. import identifiers
from ..areas import area_groups
from ..blender.session import scene_of, settings_of
from ..check import store
from ..drawing import overlay
from .base import SidebarPanel, say


class AreasPanel(SidebarPanel, bpy.types.Panel):
    """The parts of the design's surface."""

    bl_idname = "CUSPWISE_PT_areas"
    bl_label = "Areas"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw what was found."""
        layout, design = self.layout, settings_of(context).design
        layout.operator(identifiers.FIND_AREAS)
        row = layout.row(align=True)
        row.operator(identifiers.LOAD_AREAS, icon="IMPORT")
        row.operator(identifiers.SAVE_AREAS, icon="EXPORT")
        if not store.is_in(design, scene_of(context)):
            say(layout, context, "Choose the design first.")
            return
        _draw_areas(layout, context, design)


def _draw_areas(
    layout: bpy.types.UILayout, context: bpy.types.Context, design: bpy.types.Object
) -> None:
    """Draw the areas with their sizes, and what could not be found."""
    settings, known = settings_of(context), area_groups.found_areas(design)
    names = area_groups.names(design)
    if known is None and not names:
        say(layout, context, "Not found yet. Check Crown finds them too.")
        return
    layout.prop(settings, "show_areas", icon="HIDE_OFF" if settings.show_areas else "HIDE_ON")
    sizes = {} if known is None else known["size_mm2"]
    column = layout.column(align=True)
    for name in _in_order(names, sizes):
        row = column.row(align=True)
        if settings.show_areas and name == "whole":
            row.label(icon="BLANK1")
        elif settings.show_areas:
            hidden = name in overlay.hidden_areas(design)
            icon: Any = "HIDE_ON" if hidden else "HIDE_OFF"
            eye = row.operator(identifiers.TOGGLE_AREA, text="", icon=icon, emboss=False)
            eye.area = name
        row.label(text=area_words(name))
        row.label(text=f"{sizes[name]:.1f} mm²" if name in sizes else "")
    if known is not None:
        _draw_found(layout, context, known)
    say(
        layout,
        context,
        "They are vertex groups whose names begin with “Area: ”; edit them with weight paint, "
        "or add your own, then check again.",
    )


def _in_order(names: Iterable[str], sizes: Mapping[str, float]) -> list[str]:
    """Return the areas in their usual order, then the user's own; all supports are one."""
    own = [name for name in names if name not in AREA_NAMES and not is_support(name)]
    usual = [name for name in AREA_NAMES if name in names or name in sizes]
    supports = [SUPPORTS] if any(is_support(name) for name in names) else []
    return [*usual, *own, *supports]


def _draw_found(
    layout: bpy.types.UILayout, context: bpy.types.Context, known: Mapping[str, Any]
) -> None:
    if known["margin_length_mm"]:
        say(layout, context, f"Margin line: {known['margin_length_mm']:.2f} mm long.")
    missing = known["missing"]
    for why in dict.fromkeys(missing.values()):
        names = listed([area_words(name) for name in missing if missing[name] == why])
        say(layout, context, f"No {names}: {why}")
    if missing:
        say(layout, context, "What is missing can be painted as a vertex group of that name.")
    for line in known["warnings"]:
        say(layout, context, line, "ERROR")


CLASSES = (AreasPanel,)
