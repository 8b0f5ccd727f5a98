"""What is chosen about walls, contacts and the section plane, and what is kept of them."""

from __future__ import annotations

from typing import Any

import bpy

from ...standalone_core.fit.settings import ContactSettings, WallSettings
from ...standalone_core.setting import declared_in
from ..fit import section
from . import choices

_WALLS, _CONTACTS = declared_in(WallSettings), declared_in(ContactSettings)
SIDES = (
    ("unknown", "Side Not Named", "It is not said on which side of the crown it stands"),
    ("mesial", "Mesial", "It stands mesially of the crown; directions are told from it"),
    ("distal", "Distal", "It stands distally of the crown; directions are told from it"),
)


def _is_mesh(_choices: Any, obj: bpy.types.Object) -> bool:
    return obj.type == "MESH"


def _section_changed(_choices: Any, _context: bpy.types.Context) -> None:
    section.redraw()


def _follow_changed(chosen: Any, context: bpy.types.Context) -> None:
    """Leave the plane as it was seen last."""
    if not chosen.follows_view:
        section.take_view(context)
    section.redraw()


class ToothItem(bpy.types.PropertyGroup):
    """One row of the list of neighbours."""

    tooth: bpy.props.PointerProperty(
        name="Tooth",
        description="A tooth beside the crown, where it stands in the mouth",
        type=bpy.types.Object,
        poll=_is_mesh,
    )
    side: bpy.props.EnumProperty(
        name="Side", description="On which side of the crown it stands", items=SIDES
    )


class SectionChoices(bpy.types.PropertyGroup):
    """Choices about the section plane."""

    shown: bpy.props.BoolProperty(
        name="Show Section",
        description=(
            "Draw the outlines in which a plane cuts the crown and the other objects that can be "
            "seen, with a scale bar. Nothing of the scene is changed"
        ),
        update=_section_changed,
    )
    follows_view: bpy.props.BoolProperty(
        name="Follow View",
        description=(
            "Keep the plane facing you as the view turns. Switched off, it stays as it was last"
        ),
        update=_follow_changed,
    )
    through: bpy.props.EnumProperty(
        name="Through",
        description="A place that the plane goes through",
        items=(
            ("MIDDLE", "Middle of the Crown", "The middle of the crown's box"),
            ("CURSOR", "3D Cursor", "Where the 3D cursor is; Shift and the right mouse button"),
        ),
        update=_section_changed,
    )
    offset_mm: bpy.props.FloatProperty(
        name="Offset (mm)",
        description="How far the plane is moved along its normal, towards you; drag to look on",
        soft_min=-10.0,
        soft_max=10.0,
        precision=2,
        step=5,
        update=_section_changed,
    )
    normal: bpy.props.FloatVectorProperty(
        name="Normal",
        description="Normal of the plane while it does not follow the view, in the world",
        size=3,
        default=(0.0, -1.0, 0.0),
        update=_section_changed,
    )


class TeethChoices(bpy.types.PropertyGroup):
    """Choices about walls, contacts and sections in a scene."""

    least_axial_mm: choices.number(
        _WALLS["least_axial_mm"],
        title="Axial Walls",
        more="Common practice for zirconia, no source.",
    )
    least_occlusal_mm: choices.number(
        _WALLS["least_occlusal_mm"],
        title="Occlusal Wall",
        more="Common practice for zirconia, no source.",
    )
    neighbours: bpy.props.CollectionProperty(
        name="Neighbours", description="The teeth beside the crown", type=ToothItem
    )
    antagonist: bpy.props.PointerProperty(
        name="Antagonist",
        description="The tooth against the crown, or its whole jaw, where it meets the crown",
        type=bpy.types.Object,
        poll=_is_mesh,
    )
    search_mm: choices.number(_CONTACTS["search_mm"], title="Search Distance")
    open_um: choices.number(_CONTACTS["open_um"], title="Open From")
    tight_um: choices.number(_CONTACTS["tight_um"], title="Tight From")
    change_um: choices.number(_CONTACTS["change_um"], title="As Designed Within")
    section: bpy.props.PointerProperty(
        name="Section", description="Choices about the section plane", type=SectionChoices
    )
    map_key: bpy.props.StringProperty(
        description="Which of these maps is shown; none if empty", options={"HIDDEN"}
    )


class TeethData(bpy.types.PropertyGroup):
    """What is kept on a crown, design or scan."""

    walls: bpy.props.StringProperty(
        description="How thick this crown's walls are, in full, as kept by Cuspwise"
    )
    walls_id: bpy.props.StringProperty(
        description="Number of the walls measured; the attributes with their map begin with it"
    )
    walls_reason: bpy.props.StringProperty(
        name="Reason", description="Why the walls that are kept are out of date"
    )
    contacts: bpy.props.StringProperty(
        description="How this crown touches other teeth, in full, as kept by Cuspwise"
    )
    contacts_id: bpy.props.StringProperty(
        description="Number of the contacts measured; the attribute with their map begins with it"
    )
    contacts_reason: bpy.props.StringProperty(
        name="Reason", description="Why the contacts that are kept are out of date"
    )


CLASSES = (ToothItem, SectionChoices, TeethChoices, TeethData)
