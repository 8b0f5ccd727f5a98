"""The panel of the areas: find, load, save, make and look at them."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import bpy

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.areas.support_marks import SUPPORTS, is_support
from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import capital, listed
from .. import identifiers
from ..areas import area_groups
from ..blender.session import scene_of, settings_of
from ..check import scene_choices, store
from ..check.setting_groups import DIRECTIONS
from ..drawing import colour_icons, overlay
from ..drawing.overlay_parts import SUPPORT_COLOUR, colours_of, draw_order
from ..operators.design_directions import TITLES
from ..operators.directions import AXES
from .area_rows import draw_group
from .base import SidebarPanel, say

LOADED = "The areas were loaded from a file and keep what they were made with."
SAME = 1e-4  # by which an axis may be missed: single precision


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
        layout.operator(identifiers.MAKE_AREA, icon="ADD")
        if not store.is_in(design, scene_of(context)):
            say(layout, context, "Choose the design first.")
            return
        _draw_areas(layout, context, design)


class DirectionsPanel(SidebarPanel, bpy.types.Panel):
    """Where mesial and buccal are, and the path of insertion."""

    bl_idname = "CUSPWISE_PT_directions"
    bl_parent_id = AreasPanel.bl_idname
    bl_label = "Directions"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return store.is_in(settings_of(context).design, scene_of(context))

    def draw(self, context: bpy.types.Context) -> None:
        """Draw each with the ways to say it."""
        layout, settings = self.layout, settings_of(context)
        known = area_groups.found_areas(settings.design)
        for kind in DIRECTIONS:
            given = tuple(getattr(store.data_of(settings.design), kind))
            column = layout.column(align=True)
            say(column, context, f"{TITLES[kind]}: {_direction_words(kind, given, known)}")
            row = column.row(align=True)
            axis = row.operator_menu_enum(
                identifiers.DESIGN_DIRECTION_FROM_AXIS, "axis", text="Axis"
            )
            view = row.operator_menu_enum(
                identifiers.DESIGN_DIRECTION_FROM_VIEW, "way", text="View"
            )
            pick = row.operator(identifiers.PICK_DESIGN_DIRECTION, text="Points")
            for button in (axis, view, pick):
                button.kind = kind
        layout.prop(settings, "show_directions")
        if store.data_of(settings.design).areas_document:
            say(layout, context, LOADED, "INFO")
        say(layout, context, "With mesial the contact areas are found and places have names.")


class AreaThresholdsPanel(SidebarPanel, bpy.types.Panel):
    """What the automatic areas depend on."""

    bl_idname = "CUSPWISE_PT_area_thresholds"
    bl_parent_id = AreasPanel.bl_idname
    bl_label = "Thresholds"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw them; the margin band, which is changed most, comes first."""
        design = settings_of(context).design
        if store.is_in(design, scene_of(context)) and store.data_of(design).areas_document:
            say(self.layout, context, LOADED, "INFO")
        draw_group(self.layout, context, "areas")


def _direction_words(kind: str, given: tuple[float, ...], known: Mapping[str, Any] | None) -> str:
    """Say a direction in the design's frame, by its axis where it is one."""
    if any(given):
        near = [
            words
            for _, words, _, axis in AXES[:-1]
            if max(abs(a - b) for a, b in zip(axis, given, strict=True)) < SAME
        ]
        return near[0] if near else _numbers(given)
    if kind != "insertion":
        return "not given"
    found = None if known is None else known.get("insertion")
    return "automatic" if found is None else f"automatic, {_numbers(found)}"


def _numbers(direction: Sequence[float]) -> str:
    return ", ".join(f"{part + 0.0:.2f}" for part in direction).replace("-", "−")


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
    if known is not None and _is_behind(context, design, known):
        say(
            layout, context, "Found with other thresholds or directions. Find Areas again.", "ERROR"
        )
    sizes = {} if known is None else known["size_mm2"]
    column = layout.column(align=True)
    for name in _in_order(names, sizes):
        _draw_area(column, context, name, names, sizes)
    for line in _whose(design, names, known):
        say(layout, context, line)
    if known is not None:
        _draw_found(layout, context, known)
    say(
        layout,
        context,
        "They are vertex groups whose names begin with “Area: ”; edit them with weight paint, "
        "or add your own, then check again.",
    )


def _draw_area(
    column: bpy.types.UILayout,
    context: bpy.types.Context,
    name: str,
    names: Sequence[str],
    sizes: Mapping[str, float],
) -> None:
    """Draw one area: its eye, colour, name and size, and the button that gives it back."""
    settings = settings_of(context)
    row = column.row(align=True)
    if settings.show_areas and name == "whole":
        row.label(icon="BLANK1")
    elif settings.show_areas:
        hidden = name in overlay.hidden_areas(settings.design)
        icon: Any = "HIDE_ON" if hidden else "HIDE_OFF"
        eye = row.operator(identifiers.TOGGLE_AREA, text="", icon=icon, emboss=False)
        eye.area = name
    colour = SUPPORT_COLOUR if name == SUPPORTS else colours_of(draw_order(names)).get(name)
    value = colour_icons.icon_of(colour) if colour else 0
    row.label(text=area_words(name), icon_value=value)
    size = row.row(align=True)
    size.alignment = "RIGHT"
    size.label(text=f"{sizes[name]:.1f} mm²" if name in sizes else "")
    if name in ("whole", SUPPORTS) or name not in names:
        size.label(icon="BLANK1")
    elif name in AREA_NAMES:
        back = size.operator(identifiers.RESTORE_AREA, text="", icon="LOOP_BACK", emboss=False)
        back.area = name
    else:
        gone = size.operator(identifiers.REMOVE_AREA, text="", icon="X", emboss=False)
        gone.area = name


def _is_behind(
    context: bpy.types.Context, design: bpy.types.Object, known: Mapping[str, Any]
) -> bool:
    """Tell whether the areas were found with other choices than those of now."""
    if store.data_of(design).areas_document:
        return False
    now = scene_choices.measuring_choices(settings_of(context), design)["areas"]
    return bool(known.get("settings", now) != now)


def _whose(
    design: bpy.types.Object, names: Sequence[str], known: Mapping[str, Any] | None
) -> list[str]:
    """Say which areas are somebody's own; all others were found."""
    own = [name for name in names if name not in AREA_NAMES and not is_support(name)]
    edited = [name for name in known.get("edited", ()) if name in AREA_NAMES] if known else []
    lines = [f"Your own: {listed(own)}."] if own else []
    if edited:
        lines.append(f"Edited by you: {listed([area_words(name) for name in edited])}.")
    if store.data_of(design).areas_document:
        lines.append(LOADED)
    return [capital(line) for line in lines]


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


CLASSES = (AreasPanel, DirectionsPanel, AreaThresholdsPanel)
