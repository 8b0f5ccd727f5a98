"""The panel of the patches outside the tolerance: sorted, filtered, clicked to be looked at."""

from typing import Any

import bpy

from ...standalone_core.words.text import micrometres
from ..blender.session import scene_of, settings_of
from ..check import patch_order, store, verdict_lines
from ..check.patch_order import ListedPatch
from ..drawing import colour_map
from .base import SidebarPanel, draw_way_back, say
from .results import ResultsPanel

ROWS, MOST_ROWS = 8, 16
# Patches that the scan shows alone; unmatched ones have an icon of their own.
PATCH_ICONS: dict[str, Any] = {"scan": "MESH_ICOSPHERE"}


class PatchList(bpy.types.UIList):
    """The list of patches outside the tolerance: worst place, area, size."""

    bl_idname = "CUSPWISE_UL_patches"

    def filter_items(self, context: bpy.types.Context, data: Any, _property: str) -> Any:
        """Leave out what is not asked for, and sort; the chosen patch stays chosen."""
        patches = _listed(data)
        shown = _shown(context, patches)
        flags = [self.bitflag_filter_item if one else 0 for one in shown]
        return flags, patch_order.places_in_list(patches, settings_of(context).patches.sort)

    def draw_filter(self, _context: bpy.types.Context, layout: bpy.types.UILayout) -> None:
        """Say where the choices are: above the list, where they are seen."""
        layout.label(text="Sorted and filtered above.", icon="INFO")

    def draw_item(
        self,
        context: Any,
        layout: bpy.types.UILayout,
        data: Any,
        item: Any,
        icon: Any,
        active_data: Any,
        active_property: Any,
        index: Any,
        flt_flag: Any = 0,
    ) -> None:
        """Draw one patch."""
        symbol: Any = "UNLINKED" if item.unmatched else PATCH_ICONS.get(item.seen_from, "NONE")
        peak = layout.split(factor=0.2)
        peak.label(text=micrometres(item.peak_um, signed=True, digits=0))
        rest = peak.split(factor=0.63)
        rest.label(text=_listed_patch(item).place, icon=symbol)
        rest.label(text=f"{item.area_mm2:.{2 if item.area_mm2 < 10.0 else 1}f} mm²")


class PatchesPanel(SidebarPanel, bpy.types.Panel):
    """Where the crown is outside its tolerance."""

    bl_idname = "CUSPWISE_PT_patches"
    bl_parent_id = ResultsPanel.bl_idname
    bl_label = "Patches"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Show it where there is a result."""
        scan = colour_map.selected_scan(scene_of(context))
        return scan is not None and bool(store.data_of(scan).result)

    def draw(self, context: bpy.types.Context) -> None:
        """Draw choices, list and the patch chosen."""
        layout, scan = self.layout, colour_map.selected_scan(scene_of(context))
        kept = store.shown_result_of(scan) if scan is not None else None
        if scan is None or kept is None:
            return
        data, limit = store.data_of(scan), kept["patch_limit_um"]
        if limit is None:
            say(layout, context, "Without a tolerance nothing lies beyond one.")
            return
        patches = kept["check"]["patches"]
        if not patches:
            say(layout, context, f"No patch lies beyond ±{limit:g} µm.")
            return
        say(layout, context, _count_words(context, data, len(patches), limit))
        _draw_choices(layout, context)
        layout.template_list(
            PatchList.bl_idname,
            "",
            data,
            "patches",
            data,
            "patch_index",
            rows=ROWS,
            maxrows=MOST_ROWS,
        )
        draw_way_back(layout, context)
        if 0 <= data.patch_index < min(len(patches), len(data.patches)):
            for line in verdict_lines.patch_lines(patches[data.patch_index]):
                say(layout, context, line)


def _draw_choices(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    chosen = settings_of(context).patches
    column = layout.column(align=True)
    column.prop(chosen, "sort", text="")
    column.row(align=True).prop(chosen, "sign", expand=True)
    column.prop(chosen, "area", text="")
    column.prop(chosen, "least_mm2")


def _count_words(context: bpy.types.Context, data: Any, count: int, limit: float) -> str:
    """Say how many patches the list shows of how many there are."""
    shown, listed = sum(_shown(context, _listed(data))), len(data.patches)
    worst = f", of the {listed} worst" if listed < count else ""
    beyond = f"beyond ±{limit:g} µm{worst}; peaks in µm, click to look."
    if shown == count:
        return f"{'1 patch' if count == 1 else f'{count} patches'} {beyond}"
    return f"{shown} of {count} patches {beyond}"


def _shown(context: bpy.types.Context, patches: list[ListedPatch]) -> list[bool]:
    chosen = settings_of(context).patches
    # Blender keeps numbers in single precision; what is shown as equal counts as equal.
    least = chosen.least_mm2 * (1.0 - 1e-6)
    return [patch_order.is_listed(one, chosen.sign, chosen.area, least) for one in patches]


def _listed(data: Any) -> list[ListedPatch]:
    return [_listed_patch(item) for item in data.patches]


def _listed_patch(item: Any) -> ListedPatch:
    return ListedPatch(item.peak_um, item.area_mm2, tuple(item.where.split(",")), item.unmatched)


CLASSES = (PatchList, PatchesPanel)
