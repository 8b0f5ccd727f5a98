"""Cheap questions that every ``poll`` asks: is there what the operator works on?"""

from __future__ import annotations

from typing import Any, cast

import bpy

from ..blender import job, usable
from ..blender.session import layer_of, scene_of, settings_of
from ..check import store
from ..drawing import colour_map


def no_job(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether nothing else is under way."""
    if job.is_running(context):
        operator.poll_message_set("Wait for the job under way, or cancel it with Esc")
        return False
    return True


def has_design(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether a design can be worked on."""
    if not no_job(operator, context):
        return False
    design = settings_of(context).design
    if design is None:
        operator.poll_message_set("Choose the design first")
        return False
    if not store.is_in(design, scene_of(context)):
        operator.poll_message_set("The design was deleted; choose another one")
        return False
    return _not_edited(operator, design)


def has_scan(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether a scan is chosen in the list."""
    if not no_job(operator, context):
        return False
    if not settings_of(context).scans:
        operator.poll_message_set("Import or add a scan first")
        return False
    scan = colour_map.selected_scan(scene_of(context))
    if scan is None:
        operator.poll_message_set("Choose a scan in the list that still is in the scene")
        return False
    return _not_edited(operator, scan)


def has_both(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether there are a design and a scan that are not the same object."""
    if not (has_design(operator, context) and has_scan(operator, context)):
        return False
    settings = settings_of(context)
    if settings.design == colour_map.selected_scan(scene_of(context)):
        operator.poll_message_set("Design and scan are the same object; choose another design")
        return False
    return True


def can_measure_design(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether the design can be measured as it is."""
    return has_design(operator, context) and can_measure(
        operator, context, settings_of(context).design
    )


def can_measure_both(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether design and scan can be measured as they are."""
    return has_both(operator, context) and can_measure(
        operator, context, settings_of(context).design, chosen_scan(context)
    )


def can_measure(operator: Any, context: bpy.types.Context, *objects: bpy.types.Object) -> bool:
    """Tell whether objects can be measured as they are: nothing is found out after long work."""
    layer = layer_of(context)
    for obj in objects:
        problem = usable.problem_with(obj, layer)
        if problem is None and layer.depsgraph is not None:
            problem = usable.changed_by(obj, layer.depsgraph)
        if problem is not None:
            operator.poll_message_set(f"{obj.name}: {problem.reason} {problem.remedy}")
            return False
    return True


def has_result(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether the chosen scan has been measured."""
    if not has_scan(operator, context):
        return False
    scan = colour_map.selected_scan(scene_of(context))
    if scan is None or not store.data_of(scan).result:
        operator.poll_message_set("Check the scan first")
        return False
    return True


def chosen_scan(context: bpy.types.Context) -> bpy.types.Object:
    """Return the scan chosen in the list, which ``poll`` has asked for."""
    return cast(bpy.types.Object, colour_map.selected_scan(scene_of(context)))


def _not_edited(operator: Any, obj: bpy.types.Object) -> bool:
    if obj.mode == "EDIT":
        operator.poll_message_set(f"Leave Edit Mode of {obj.name} first")
        return False
    return True
