"""The Blender extension: reads objects, calls the core, writes attributes.

Importing this package needs no Blender; ``register`` loads what does.
"""

from __future__ import annotations

from typing import Any


def register() -> None:
    """Register properties, operators, panels, the legend and the watch on changes."""
    import bpy

    from . import operators, panels
    from .drawing import (
        build_arrow,
        captions,
        direction_arrows,
        legend,
        margin_overlay,
        marks_overlay,
        overlay,
        place_overlay,
    )
    from .files import ways_in
    from .fit import place_rings, polar_overlay, section_overlay, spots_overlay
    from .properties import preferences, registration

    preferences.register()
    registration.register()
    for cls in (*operators.CLASSES, *panels.CLASSES):
        bpy.utils.register_class(cls)
    ways_in.register()
    overlay.register()
    margin_overlay.register()
    build_arrow.register()
    direction_arrows.register()
    spots_overlay.register()
    polar_overlay.register()
    place_rings.register()
    place_overlay.register()
    marks_overlay.register()
    section_overlay.register()
    legend.register()
    captions.register()
    for handlers, function in _handlers():
        handlers.append(function)


def unregister() -> None:
    """Take everything back, last things first."""
    import bpy

    from . import operators, panels
    from .blender import job
    from .check import judging_meanwhile
    from .drawing import (
        build_arrow,
        captions,
        colour_icons,
        direction_arrows,
        legend,
        margin_overlay,
        marks_overlay,
        overlay,
        place_overlay,
    )
    from .files import ways_in
    from .fit import place_rings, polar_overlay, section_overlay, spots_overlay
    from .properties import preferences, registration
    from .study import area_edits

    job.stop_all(bpy.context)
    judging_meanwhile.stop()
    area_edits.stop()
    for handlers, function in _handlers():
        if function in handlers:
            handlers.remove(function)
    captions.unregister()
    legend.unregister()
    section_overlay.unregister()
    marks_overlay.unregister()
    place_overlay.unregister()
    place_rings.unregister()
    polar_overlay.unregister()
    spots_overlay.unregister()
    direction_arrows.unregister()
    colour_icons.unregister()
    build_arrow.unregister()
    margin_overlay.unregister()
    overlay.unregister()
    ways_in.unregister()
    for cls in reversed((*operators.CLASSES, *panels.CLASSES)):
        bpy.utils.unregister_class(cls)
    registration.unregister()
    preferences.unregister()


def _handlers() -> tuple[tuple[list[Any], Any], ...]:
    """Return Blender's lists of handlers, each with the function that belongs in it."""
    import bpy

    from .check import judging_meanwhile, old_files, store
    from .drawing import colour_map, overlay, view_shading
    from .fit import edits, fit_store, section
    from .study import area_edits, study_store

    handlers: Any = bpy.app.handlers
    return (
        (handlers.depsgraph_update_post, store.notice_changes),
        (handlers.depsgraph_update_post, study_store.notice_changes),
        (handlers.depsgraph_update_post, fit_store.notice_changes),
        (handlers.depsgraph_update_post, area_edits.notice_changes),
        (handlers.undo_post, area_edits.follow),
        (handlers.redo_post, area_edits.follow),
        (handlers.load_post, area_edits.forget),
        (handlers.undo_post, view_shading.follow_undo),
        (handlers.redo_post, view_shading.follow_undo),
        (handlers.load_post, old_files.take_over),
        (handlers.load_post, view_shading.forget_session),
        (handlers.undo_post, judging_meanwhile.follow),
        (handlers.redo_post, judging_meanwhile.follow),
        (handlers.depsgraph_update_post, overlay.notice_changes),
        (handlers.depsgraph_update_post, colour_map.notice_deletion),
        (handlers.undo_post, overlay.forget),
        (handlers.redo_post, overlay.forget),
        (handlers.load_post, overlay.forget),
        (handlers.depsgraph_update_post, edits.notice_changes),
        (handlers.depsgraph_update_post, section.notice_changes),
        (handlers.undo_post, section.forget),
        (handlers.redo_post, section.forget),
        (handlers.load_post, section.forget),
    )
