"""Choices about the fit of a crown on its die, and what is kept of a fit on its crown."""

from __future__ import annotations

from typing import Any

import bpy

from ...standalone_core.fit.settings import CONTACT_KINDS, GapSettings, SeatSettings
from ...standalone_core.setting import declared_in
from ..blender.session import layer_of, scene_of
from ..drawing import colour_map, overlay
from ..fit import on_die, section
from ..fit.fit_settings import NOT_KNOWN
from . import choices

_GAP = declared_in(GapSettings)
_CONTACT = declared_in(SeatSettings)["contact"]
MOST_ABOVE_MM = 20.0
CROWNS = (
    ("SCAN", "Scan", "The scan chosen in the list"),
    ("DESIGN", "Design", "The design itself"),
)
CONTACT_TITLES = {
    "auto": ("Automatic", "Hard for a design; patches for a scan, whose noise would hold it up"),
    "hard": ("Hard", "Every point of the two surfaces holds"),
    "patches": ("Patches", "The means over small patches hold, so that noise holds nothing up"),
}
CONTACT_ITEMS = [(kind, *CONTACT_TITLES[kind]) for kind in CONTACT_KINDS]
DIRECTIONS = (
    (NOT_KNOWN, "Not Known", "Places around the crown are then told by their angle"),
    ("POS_X", "+X", "Along the x axis"),
    ("NEG_X", "−X", "Against the x axis"),
    ("POS_Y", "+Y", "Along the y axis"),
    ("NEG_Y", "−Y", "Against the y axis"),
    ("POS_Z", "+Z", "Along the z axis"),
    ("NEG_Z", "−Z", "Against the z axis"),
)
_WHOSE_AXES = (
    "among the axes of the design where it lies on the die as designed, else among the die's own"
)


def _is_mesh(_choices: Any, obj: bpy.types.Object) -> bool:
    return obj.type == "MESH"


def _die_chosen(chosen: Any, context: bpy.types.Context) -> None:
    chosen.lies_on_die = on_die.are_together(scene_of(context), chosen.die)
    overlay.redraw()


def _crown_chosen(_chosen: Any, context: bpy.types.Context) -> None:
    colour_map.refresh(scene_of(context))
    overlay.redraw()
    section.redraw()


def _shown_changed(_chosen: Any, _context: bpy.types.Context) -> None:
    overlay.redraw()


def _height_changed(kept: Any, context: bpy.types.Context) -> None:
    kept.problem = on_die.run_down(kept.id_data, scene_of(context), layer_of(context))


class FitChoices(bpy.types.PropertyGroup):
    """Choices about fits in a scene."""

    crown: bpy.props.EnumProperty(
        name="Crown",
        description="Whose fit is looked at: its seat, walls, contacts and section",
        items=CROWNS,
        update=_crown_chosen,
    )
    die: bpy.props.PointerProperty(
        name="Die",
        description=(
            "The prepared tooth or its model, on which the crown is seated; it may be part of a "
            "larger scan"
        ),
        type=bpy.types.Object,
        poll=_is_mesh,
        update=_die_chosen,
    )
    lies_on_die: bpy.props.BoolProperty(
        name="Design Lies on the Die as Designed",
        description=(
            "Whether design and die lie together as they were when the crown was designed. The "
            "intended seat is known then; else the crown is laid on the die from any position"
        ),
    )
    seated: bpy.props.PointerProperty(
        name="Seated Scan",
        description=(
            "A scan of the crown seated on its die, anywhere. Gap and margin are then measured as "
            "it shows them. May stay empty"
        ),
        type=bpy.types.Object,
        poll=_is_mesh,
    )
    contact: bpy.props.EnumProperty(
        name=_CONTACT.label,
        description=_CONTACT.meaning.rstrip("."),
        items=CONTACT_ITEMS,
        default=_CONTACT.default,
    )
    marginal_limit_um: choices.number(_GAP["marginal_limit_um"])
    cement_space_um: choices.number(
        _GAP["cement_space_um"], default=0.0, more="0: not given.", none=True
    )
    margin_space_um: choices.number(
        _GAP["margin_space_um"], default=0.0, more="0: not given.", none=True
    )
    mesial: bpy.props.EnumProperty(
        name="Mesial",
        description=f"Towards mesial, {_WHOSE_AXES}; names places around the crown",
        items=DIRECTIONS,
    )
    buccal: bpy.props.EnumProperty(
        name="Buccal",
        description=f"Towards buccal, {_WHOSE_AXES}; names places around the crown",
        items=DIRECTIONS,
    )
    map_key: bpy.props.StringProperty(
        description="Which map of the fit is shown; none if empty", options={"HIDDEN"}
    )
    show_spots: bpy.props.BoolProperty(
        name="Show Contact Spots",
        description=(
            "Draw a ring about each place that the crown rests on, numbered, the largest share of "
            "the load first. Nothing of the scene is changed"
        ),
        default=True,
        update=_shown_changed,
    )
    show_polar: bpy.props.BoolProperty(
        name="Show Polar Plot",
        description=(
            "Draw the marginal gap around the crown in the corner of the view, seen from "
            "occlusal. Nothing of the scene is changed"
        ),
        update=_shown_changed,
    )


class FitOfCrown(bpy.types.PropertyGroup):
    """What is kept of a fit, on its crown."""

    fit_id: bpy.props.StringProperty(
        description="Number of the fit; the attributes with its maps end in it"
    )
    text: bpy.props.StringProperty(description="How the crown fits, as kept by Cuspwise")
    margin: bpy.props.StringProperty(
        description="The places around the margin, as kept by Cuspwise"
    )
    design: bpy.props.PointerProperty(
        name="Design",
        description="The design that showed the intended seat",
        type=bpy.types.Object,
    )
    die: bpy.props.PointerProperty(
        name="Die", description="The die that the crown was seated on", type=bpy.types.Object
    )
    seated: bpy.props.PointerProperty(
        name="Seated Scan",
        description="The scan of the seated crown that was used",
        type=bpy.types.Object,
    )
    reason: bpy.props.StringProperty(
        name="Reason", description="Why the fit is out of date; empty if it is not"
    )
    is_on_die: bpy.props.BoolProperty(
        description="Whether the crown is shown on its die, away from where it lies otherwise"
    )
    place_before: bpy.props.FloatVectorProperty(
        description="Where the crown lies otherwise, as a matrix row by row", size=16
    )
    height_mm: bpy.props.FloatProperty(
        name="Height above Seat (mm)",
        description=(
            "Run the crown down on its die: how far above its seat it is shown, along the path of "
            "insertion. What was measured stays as it is"
        ),
        min=0.0,
        max=MOST_ABOVE_MM,
        soft_max=5.0,
        step=5,
        precision=3,
        update=_height_changed,
    )
    problem: bpy.props.StringProperty(
        description="Why the crown cannot be shown on its die; empty if it can"
    )


CLASSES = (FitChoices, FitOfCrown)
