"""The Blender extension: reads objects, calls the core, writes attributes.

Importing this package needs no Blender; ``register`` loads what does. :mod:`.drawing.pictures`
stands alone: it draws the colour maps of a check in a process of its own.
"""


def register() -> None:
    """Register properties, operators, panels, the legend and the watch on changes."""
    import bpy

    from . import operators, panels
    from .check import mark_results, store
    from .drawing import captions, legend, margin_overlay, overlay
    from .properties import preferences, property_groups

    preferences.register()
    property_groups.register()
    for cls in (*operators.CLASSES, *panels.CLASSES):
        bpy.utils.register_class(cls)
    overlay.register()
    margin_overlay.register()
    legend.register()
    captions.register()
    for handlers, function in _handlers(bpy, mark_results, overlay, store):
        handlers.append(function)


def unregister() -> None:
    """Take everything back, last things first."""
    import bpy

    from . import operators, panels
    from .blender import job
    from .check import judging_meanwhile, mark_results, store
    from .drawing import captions, legend, margin_overlay, overlay
    from .properties import preferences, property_groups

    job.stop_all(bpy.context)
    judging_meanwhile.stop()
    for handlers, function in _handlers(bpy, mark_results, overlay, store):
        if function in handlers:
            handlers.remove(function)
    captions.unregister()
    legend.unregister()
    margin_overlay.unregister()
    overlay.unregister()
    for cls in reversed((*operators.CLASSES, *panels.CLASSES)):
        bpy.utils.unregister_class(cls)
    property_groups.unregister()
    preferences.unregister()


def _handlers(bpy, mark_results, overlay, store):  # type: ignore[no-untyped-def]
    """Return Blender's lists of handlers, each with the function that belongs in it."""
    from .check import judging_meanwhile
    from .drawing import view_shading
    from .study import store as study_store

    handlers = bpy.app.handlers
    return (
        (handlers.depsgraph_update_post, store.notice_changes),
        (handlers.depsgraph_update_post, study_store.notice_changes),
        (handlers.depsgraph_update_post, mark_results.notice_painting),
        (handlers.undo_post, view_shading.follow_undo),
        (handlers.redo_post, view_shading.follow_undo),
        (handlers.load_post, view_shading.forget_session),
        (handlers.undo_post, judging_meanwhile.follow),
        (handlers.redo_post, judging_meanwhile.follow),
        (handlers.depsgraph_update_post, overlay.notice_changes),
        (handlers.undo_post, overlay.forget),
        (handlers.redo_post, overlay.forget),
        (handlers.load_post, overlay.forget),
    )
