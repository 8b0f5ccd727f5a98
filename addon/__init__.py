"""The Blender extension: reads objects, calls the core, writes attributes.

Importing this package needs no Blender; ``register`` loads what does. :mod:`.pictures` stands
alone: it draws the colour maps of a check in a process of its own.
"""


def register() -> None:
    """Register properties, operators, panels, the legend and the watch on changes."""
    import bpy

    from . import legend, operators, panels, preferences, properties, store

    preferences.register()
    properties.register()
    for cls in (*operators.CLASSES, *panels.CLASSES):
        bpy.utils.register_class(cls)
    legend.register()
    bpy.app.handlers.depsgraph_update_post.append(store.notice_changes)


def unregister() -> None:
    """Take everything back, last things first."""
    import bpy

    from . import legend, operators, panels, preferences, properties, store

    if store.notice_changes in bpy.app.handlers.depsgraph_update_post:
        bpy.app.handlers.depsgraph_update_post.remove(store.notice_changes)
    legend.unregister()
    for cls in reversed((*operators.CLASSES, *panels.CLASSES)):
        bpy.utils.unregister_class(cls)
    properties.unregister()
    preferences.unregister()
