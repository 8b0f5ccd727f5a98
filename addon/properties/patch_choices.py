"""Choices about the list of patches: in which order, and which of them."""

from typing import Any

import bpy

from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import capital
from ..check import patch_order, store
from ..drawing import colour_map

SORTS = (
    (patch_order.WORST, "Worst First", "The largest deviation first, excess or missing"),
    (patch_order.PEAK, "By Peak", "From the most excess to the most missing material"),
    (patch_order.SIZE, "By Size", "The largest patch first"),
    (patch_order.AREA, "By Area", "By the name of the area, the worst of each first"),
)
SIGNS = (
    (patch_order.BOTH, "Both", "Excess and missing material"),
    (patch_order.EXCESS, "Excess", "Material outside the design only"),
    (patch_order.MISSING, "Missing", "Missing material only"),
)
Item = tuple[str, str, str, int]
# Blender does not hold on to the texts of items that a function returns; without this they go.
_held: list[Item] = []


def _areas(choices: Any) -> list[str]:
    """Return the areas that patches of the chosen scan lie in, after the choice of all."""
    scan = colour_map.selected_scan(choices.id_data)
    patches = store.data_of(scan).patches if scan is not None else ()
    names = dict.fromkeys(name for patch in patches for name in patch.where.split(","))
    return [patch_order.EVERYWHERE, *sorted(names, key=area_words)]


def _area_items(choices: Any, _context: Any) -> list[Item]:
    _held[:] = [
        (name, capital(area_words(name)), "Patches that lie in this area only", number)
        for number, name in enumerate(_areas(choices))
    ]
    return _held


def _get_area(choices: Any) -> int:
    names = _areas(choices)
    return names.index(choices.area_key) if choices.area_key in names else 0


def _set_area(choices: Any, number: int) -> None:
    names = _areas(choices)
    choices.area_key = names[number] if number < len(names) else ""


class PatchChoices(bpy.types.PropertyGroup):
    """How the list of patches is sorted, and which patches it shows."""

    sort: bpy.props.EnumProperty(
        name="Sort", description="The order of the patches in the list", items=SORTS
    )
    sign: bpy.props.EnumProperty(
        name="Sign", description="Patches of excess, of missing material, or both", items=SIGNS
    )
    area: bpy.props.EnumProperty(
        name="Area",
        description="Show only patches that lie in this area",
        items=_area_items,
        get=_get_area,
        set=_set_area,
    )
    area_key: bpy.props.StringProperty(
        description="Name of the area that was chosen last", options={"HIDDEN"}
    )
    least_mm2: bpy.props.FloatProperty(
        name="Least Size (mm²)",
        description="Leave out patches that are smaller than this, in mm²",
        min=0.0,
        soft_max=10.0,
        precision=2,
        step=10,
    )
