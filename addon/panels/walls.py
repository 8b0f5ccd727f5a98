"""The panel of the walls: how thick the crown is, and where it is thinnest."""

from collections.abc import Mapping
from typing import Any

import bpy

from ...standalone_core.fit.sentences import JUDGE_CAUTION
from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..drawing import colour_map
from ..fit import walls
from ..fit.crown_chosen import crown_of
from .base import SidebarPanel, choose, draw_way_back, press, say
from .fit import FitPanel
from .results import VERDICT_ICONS


class WallsPanel(SidebarPanel, bpy.types.Panel):
    """Check the walls, read them, see them on the crown."""

    bl_idname = "CUSPWISE_PT_walls"
    bl_parent_id = FitPanel.bl_idname
    bl_label = "Walls"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw what is asked for, what was found, and the thinnest places."""
        layout, scene = self.layout, scene_of(context)
        chosen = settings_of(context).teeth
        column = layout.column(align=True)
        column.label(text="At least:")
        for name in ("least_axial_mm", "least_occlusal_mm"):
            choose(column, context, chosen, name, "0.00")
        layout.operator(identifiers.CHECK_WALLS, icon="VIEWZOOM")
        crown = crown_of(scene, colour_map.selected_scan(scene))
        if crown is None:
            return
        draw_out_of_date(layout, context, walls.why_out_of_date(crown, scene), "Check walls again.")
        kept = walls.WALLS.of(crown)
        if kept is not None:
            _draw_kept(layout, context, kept)


class ThinPlacesPanel(SidebarPanel, bpy.types.Panel):
    """Where the walls are thinnest."""

    bl_idname = "CUSPWISE_PT_thin_places"
    bl_parent_id = WallsPanel.bl_idname
    bl_label = "Thinnest Places"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for walls that were measured."""
        return _kept(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw a button for each place, and where it is."""
        column = self.layout.column(align=True)
        for number, row in enumerate((_kept(context) or {"places": ()})["places"]):
            text = f"{row['thickness_mm']:.2f} mm, at least {row['required_mm']:g} mm"
            icon: Any = "ERROR" if row["thin"] else "VIEWZOOM"
            button = press(
                column, context, identifiers.FRAME_THIN_PLACE, text, "Show Place", icon=icon
            )
            button.number = number
            say(column, context, row["where"], "BLANK1")
        draw_way_back(self.layout, context)


def draw_out_of_date(
    layout: bpy.types.UILayout, context: bpy.types.Context, reason: str, again: str
) -> None:
    """Say what changed since something was measured, if anything did."""
    if reason:
        say(layout, context, f"Out of date: {reason} {again}", "ERROR")


def _draw_kept(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: Mapping[str, Any]
) -> None:
    headline = kept["headline"]
    say(layout, context, f"{headline['title']}.", VERDICT_ICONS[headline["verdict"]])
    for text in kept["lines"]:
        say(layout, context, text, "DOT")
    for text in kept["warnings"]:
        say(layout, context, text, "ERROR")
    layout.operator(identifiers.SHOW_WALLS, icon="HIDE_OFF")
    say(layout, context, JUDGE_CAUTION, "INFO")


def _kept(context: bpy.types.Context) -> Mapping[str, Any] | None:
    scene = scene_of(context)
    return walls.WALLS.of(crown_of(scene, colour_map.selected_scan(scene)))


CLASSES = (WallsPanel, ThinPlacesPanel)
