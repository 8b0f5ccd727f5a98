"""Have 3D views and their sidebars drawn anew."""

from __future__ import annotations

import bpy

from .session import manager_of

AGAIN, AGAIN_S = 4, 0.1  # drawings of the sidebar after a job


def lay_out_panels() -> None:
    """Draw the sidebar a few times more.

    Panels may have appeared or grown, and Blender moves the others out of their way in drawings
    after the one that shows them.
    """
    left = [AGAIN]

    def again() -> float | None:
        left[0] -= 1
        redraw(bpy.context, {"UI"})
        return AGAIN_S if left[0] else None

    if not bpy.app.background:
        bpy.app.timers.register(again, first_interval=AGAIN_S)


def redraw(context: bpy.types.Context, regions: set[str]) -> None:
    """Draw every 3D view's regions of these kinds anew."""
    for window in manager_of(context).windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                for region in area.regions:
                    if region.type in regions:
                        region.tag_redraw()
