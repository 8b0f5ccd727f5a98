"""Who is seen while a map or a place is looked at alone, and who was seen before.

What a map hides or shows, and how it was before, is kept with each object, so that it outlives
saving, renaming, undo and the deletion of others. Who hides or shows something by hand meanwhile
has it so: it is left alone, and is what comes back in the end.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bpy

from ..blender.session import layer_of
from ..identifiers import OBJECT_PROPERTIES


def arrange(wishes: Mapping[bpy.types.Object, bool], *, anew: bool = False) -> None:
    """Hide and show objects; give back those that were hidden or shown before and are not named.

    Parameters
    ----------
    wishes : mapping of object to bool
        Whether each is hidden.
    anew : bool
        Hide and show also what somebody showed or hid by hand since; it still comes back as that.
    """
    there = layer_of(bpy.context).objects
    for obj in filter(None, there):  # one that was deleted just now is still counted, as nothing
        if _data_of(obj).held and obj not in wishes:
            _give_back(obj)
    for obj, hidden in wishes.items():
        # An object outside the present view layer can neither be hidden nor shown.
        if obj.name in there and there[obj.name] == obj:
            _want(obj, hidden, anew)


def is_hidden_meanwhile(obj: bpy.types.Object) -> bool:
    """Tell whether an object is hidden only while something else is looked at."""
    data = _data_of(obj)
    return bool(data.held and data.hidden_meanwhile and not data.hidden_before and obj.hide_get())


def _want(obj: bpy.types.Object, hidden: bool, anew: bool) -> None:
    data, now = _data_of(obj), obj.hide_get()
    if not data.held:
        data.held, data.hidden_before = True, now
    elif now != data.hidden_meanwhile:  # changed by hand
        data.hidden_before = now
        if hidden == data.hidden_meanwhile and not anew:
            return
    data.hidden_meanwhile = hidden
    if now != hidden:
        obj.hide_set(hidden)


def _give_back(obj: bpy.types.Object) -> None:
    data, now = _data_of(obj), obj.hide_get()
    if now == data.hidden_meanwhile and now != data.hidden_before:
        obj.hide_set(data.hidden_before)
    data.held = False


def _data_of(obj: bpy.types.Object) -> Any:
    return getattr(obj, OBJECT_PROPERTIES)
