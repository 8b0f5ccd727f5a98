"""What all panels of the sidebar share: where they lie, and how they say a sentence."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import bpy

from .. import identifiers
from ..blender.in_blender import in_blender
from ..blender.session import (
    PanelBase,
    manager_of,
    preferences_of,
    region_of,
    scene_of,
    ui_scale,
)
from ..drawing import line_breaks, looking


def say(
    layout: bpy.types.UILayout, context: bpy.types.Context, text: str, icon: Any = "NONE"
) -> None:
    """Write a sentence, in Blender's words, on as many lines as the sidebar's width asks for."""
    column = layout.column(align=True)
    below: Any = "NONE" if icon == "NONE" else "BLANK1"
    width, lines = _room(context, icon=icon != "NONE"), in_blender(text)
    for number, line in enumerate(line_breaks.wrapped(lines, width, _width_of(context))):
        column.label(text=line, icon=below if number else icon)


def beside(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    cells: Sequence[str],
    instead: Sequence[str],
    factor: float = 0.0,
    icon: Any = "NONE",
) -> None:
    """Write numbers beside each other; where one would be cut, sentences in their place.

    Parameters
    ----------
    layout, context
    cells : sequence of str
    instead : sequence of str
        What says the same one below the other.
    factor : float
        Share of the first cell; as much as the others if 0.
    icon : str
        Before the first.
    """
    width = _room(context, icon=False)
    factor = factor or 1.0 / len(cells)
    shares = [factor, *[(1.0 - factor) / (len(cells) - 1)] * (len(cells) - 1)]
    needed = [_width_of(context)(text) + line_breaks.ICON / 3.0 for text in cells]
    needed[0] += 0.0 if icon == "NONE" else line_breaks.ICON
    if any(one > share * width for one, share in zip(needed, shares, strict=True)):
        for number, text in enumerate(instead):
            say(layout, context, text, "NONE" if number else icon)
        return
    split = layout.split(factor=factor)
    first, *rest = cells
    split.label(text=first, icon=icon)
    row = split.row()
    for text in rest:
        row.label(text=text)


def press(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    operator: str,
    text: str,
    short: str,
    *,
    icon: Any = "VIEWZOOM",
    above: bpy.types.UILayout | None = None,
    others: int = 0,
) -> Any:
    """Draw a button whose words hold numbers; above it, with shorter ones on it, if need be.

    Parameters
    ----------
    layout, context
    operator : str
    text, short : str
        All there is to say, and what is enough on a button that has it written above.
    icon : str
    above : bpy.types.UILayout, optional
        Where it is written above; the layout itself if not given.
    others : int
        Buttons of a symbol alone that stand beside it.

    Returns
    -------
    OperatorProperties
    """
    width = _room(context, icon=True) - others * line_breaks.ICON
    if _width_of(context)(text) <= width - line_breaks.ICON / 2.0:
        return layout.operator(operator, text=text, icon=icon)
    say(above or layout, context, text)
    return layout.operator(operator, text=short, icon=icon)


def choose(
    layout: bpy.types.UILayout, context: bpy.types.Context, owner: Any, name: str, digits: str
) -> None:
    """Draw a number to choose; its name on a line of its own where both do not fit beside it.

    Parameters
    ----------
    layout, context
    owner : bpy_struct
    name : str
        Of its property.
    digits : str
        As many digits as the number may have.
    """
    title = owner.bl_rna.properties[name].name
    width_of = _width_of(context)
    beside = width_of(title) + width_of(digits) + 2.0 * line_breaks.ICON
    if beside <= _room(context, icon=False):
        layout.prop(owner, name)
        return
    column = layout.column(align=True)
    say(column, context, f"{title}:")
    column.prop(owner, name, text="")


def below_title(layout: bpy.types.UILayout, owner: Any, name: str) -> None:
    """Draw a choice below its title, where that is too long to stand beside it."""
    column = layout.column(align=True)
    column.label(text=f"{owner.bl_rna.properties[name].name}:")
    column.prop(owner, name, text="")


def _room(context: bpy.types.Context, *, icon: bool) -> float:
    return line_breaks.room(region_of(context).width / ui_scale(context), icon=icon)


def _width_of(context: bpy.types.Context) -> line_breaks.WidthOf:
    """Return what measures words in the interface's font, in unscaled pixels."""
    import blf

    scale = ui_scale(context)
    size = preferences_of(context).ui_styles[0].widget.points * scale

    def width_of(text: str) -> float:
        blf.size(0, size)
        return float(blf.dimensions(0, text)[0]) / scale

    return width_of


def draw_job(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw how far the job under way is."""
    state = getattr(manager_of(context), identifiers.JOB_PROPERTIES)
    if state.running:
        layout.progress(factor=state.fraction, text=state.label)
        say(layout, context, state.after_esc)


def draw_way_back(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw the button that ends looking at a place, while one is looked at."""
    if looking.place_of(scene_of(context)) is not None:
        layout.operator(identifiers.LEAVE_PLACE, icon="LOOP_BACK")


class SidebarPanel(PanelBase):
    """Where every panel lies."""

    if TYPE_CHECKING:
        layout: bpy.types.UILayout

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = identifiers.TAB
