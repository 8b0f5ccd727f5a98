"""Cheap questions of what works on the crown that is looked at, design or scan."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import bpy

from ..blender.session import scene_of, settings_of
from ..drawing import colour_map
from ..fit.crown_chosen import crown_of
from . import ready

if TYPE_CHECKING:
    from ..fit.kept_part import KeptPart


def has_crown(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether the crown that is looked at can be worked on."""
    if settings_of(context).fit.crown == "SCAN":
        return ready.has_both(operator, context)
    return ready.has_design(operator, context)


def can_measure_crown(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether the crown that is looked at can be measured as it is, and its design."""
    if settings_of(context).fit.crown == "SCAN":
        return ready.can_measure_both(operator, context)
    return ready.can_measure_design(operator, context)


def has_kept(operator: Any, context: bpy.types.Context, part: KeptPart, first: str) -> bool:
    """Tell whether a part of its fit was measured.

    Parameters
    ----------
    operator : class of the operator
    context : bpy.types.Context
    part : KeptPart
    first : str
        What to do first, if it was not.
    """
    if not has_crown(operator, context):
        return False
    if part.of(chosen_crown(context)) is None:
        operator.poll_message_set(first)
        return False
    return True


def chosen_crown(context: bpy.types.Context) -> bpy.types.Object:
    """Return the crown that is looked at, which ``poll`` has asked for."""
    scene = scene_of(context)
    return cast(bpy.types.Object, crown_of(scene, colour_map.selected_scan(scene)))


def chosen_scan(context: bpy.types.Context) -> bpy.types.Object | None:
    """Return the scan that is looked at; None where it is the design."""
    if settings_of(context).fit.crown == "DESIGN":
        return None
    return ready.chosen_scan(context)
