"""A map of causes on the design: of one cause, of all that are stated, of what they leave.

:mod:`..drawing.colour_map` decides whether it is shown or the deviations themselves.
"""

from __future__ import annotations

import bpy

from ...standalone_core.report.drawing.deviation_colours import deviation_colours
from ...standalone_core.report.drawing.legend import make_legend
from ..blender import bridge
from ..blender.session import mesh_of
from ..check import store
from ..drawing.painting import paint
from ..identifiers import SCENE_PROPERTIES, cause_attribute
from . import cause_lines, causes_store


def colour(
    scene: bpy.types.Scene, scan: bpy.types.Object, limit_um: float
) -> tuple[bpy.types.Object, ...]:
    """Colour a scan's design by the map that the scene asks for; return what is coloured now.

    Parameters
    ----------
    scene : bpy.types.Scene
    scan : bpy.types.Object
    limit_um : float
        Of the colours: that of the deviations, so that maps compare.
    """
    settings, data = getattr(scene, SCENE_PROPERTIES), store.data_of(scan)
    key, design = settings.causes.map_key, data.design
    at_points = causes_store.map_of(scan, key)
    values = bridge.read_attribute(mesh_of(design), cause_attribute(data.causes_id, key))
    if at_points is None or values is None:
        return ()
    legend = make_legend(*at_points, limit_um=limit_um)
    settings.share_clipped = legend.share_clipped
    settings.share_unmeasured = legend.share_unmeasured
    paint(design, deviation_colours(values, limit_um / 1e3, settings.palette))
    return (design,)


def heads(scene: bpy.types.Scene, scan: bpy.types.Object) -> tuple[str, ...]:
    """Return the lines above the legend of the map shown."""
    kept = causes_store.causes_of(scan)
    key = getattr(scene, SCENE_PROPERTIES).causes.map_key
    return cause_lines.legend_heads(kept, key) if kept is not None else ()
