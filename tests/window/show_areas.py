"""Runs inside a real window: the areas overlay, edited, on a light theme, scaled."""

import time
from pathlib import Path

import bpy
import numpy as np
from driver import (
    FACTS,
    area_and,
    click,
    clicked,
    design,
    look_at,
    open_tab,
    part,
    picture,
    printed_errors,
    run,
    scan,
    start_check,
    view,
    wait_for_job,
)
from mathutils import Euler

DRAWN_MS, READ, READ_BEFORE, TRIES = [], [], [], []
# Titles of panels in a window of 1400 × 1000, the lower one first: it moves when the other closes.
SCANS_TITLE, AREAS_TITLE = (926, 97), (912, 153)


def key():
    """What the key says; empty without one."""
    with view():
        entries = part("addon.drawing.overlay").key_shown(bpy.context)
    return [] if entries is None else [entry.words for entry in entries]


def seen_of(name):
    """Count of the triangles of an area in what was read for the overlay last."""
    return {p.area: len(p.triangles) for p in READ[-1].patches.patches}.get(name, 0)


def look():
    """Two marks, seen from the lingual side and a little from above; the tab in front."""
    marks = part("addon.areas.support_marks")
    target = marks.target(design(), bpy.context.scene, bpy.context.evaluated_depsgraph_get())
    shape = part("standalone_core.demo.shape").CrownShape()
    for spot in printed_errors().spots[:2]:
        place = shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
        marks.mark(target, place, 0.5, "support")
    look_at(scan(), "FRONT")
    area, _region = area_and("UI")
    area.spaces.active.region_3d.view_rotation = Euler((1.1, 0.0, 0.3)).to_quaternion()
    return open_tab()


def open_panel():
    """Close the uppermost panel and open that of the areas."""
    return click(SCANS_TITLE, AREAS_TITLE)


def turn_on():
    """The overlay over the coloured scan, the design hidden; every drawing of it is timed."""
    overlay = part("addon.drawing.overlay")
    draw, read = overlay._draw_batches, overlay.read

    def timed(*given):
        start = time.process_time()
        draw(*given)
        DRAWN_MS.append(1e3 * (time.process_time() - start))

    def noted(*given):
        READ.append(read(*given))
        return READ[-1]

    overlay._draw_batches, overlay.read = timed, noted
    FACTS["key_before"] = key()
    bpy.context.scene.cuspwise.show_areas = True
    return 1.5


def shown():
    """What the key says, and how long drawing takes once everything is on the card."""
    picture("areas_1_scan")
    FACTS["key"] = key()
    read, drawn = len(READ), len(DRAWN_MS)
    with view():
        bpy.ops.wm.redraw_timer(type="DRAW", iterations=20)
    FACTS["drawn"], FACTS["read"] = len(DRAWN_MS) - drawn, len(READ) - read
    FACTS["drawn_ms"] = sorted(DRAWN_MS)[len(DRAWN_MS) // 2]
    FACTS["vertices"] = len(design().data.vertices)
    return 0.5


def edit():
    """The upper half of the occlusal area is taken out of its vertex group in Edit Mode."""
    bpy.context.scene.cuspwise.shown = "DESIGN"
    heights = [v.co.z for v in design().data.vertices]
    FACTS["occlusal_before"] = seen_of("occlusal")
    with view():
        bpy.context.view_layer.objects.active = design()
        design().vertex_groups.active_index = design().vertex_groups["Area: occlusal"].index
        bpy.ops.object.mode_set(mode="EDIT")
        bpy.ops.mesh.select_all(action="DESELECT")
        bpy.ops.object.mode_set(mode="OBJECT")
        design().data.vertices.foreach_set("select", np.array(heights) > np.median(heights) + 2.0)
        bpy.ops.object.mode_set(mode="EDIT")
        bpy.ops.object.vertex_group_remove_from()
    return 1.5


def read_anew():
    """Wait until the overlay was read again, as long as a busy machine may take."""
    TRIES.append(0)
    if len(READ) == READ_BEFORE[-1] and len(TRIES) < 60:
        return None
    TRIES.clear()
    return 1.5


def edited():
    """Still in Edit Mode; the overlay is faint there. Then back, and into weight paint."""
    picture("areas_2_edited")
    READ_BEFORE.append(len(READ))
    with view():
        bpy.ops.object.mode_set(mode="WEIGHT_PAINT")
    return 1.0


def painted():
    """What was taken out shows as what lies below, and the weights through it."""
    picture("areas_3_weights")
    FACTS["occlusal_after"] = seen_of("occlusal")
    READ_BEFORE.append(len(READ))
    with view():
        bpy.ops.object.vertex_group_clean(group_select_mode="ACTIVE", limit=1.0)
    return 1.0


def cleaned():
    """Painting mode goes on; all of the group was taken away, as a stroke could."""
    FACTS["occlusal_cleaned"] = seen_of("occlusal")
    with view():
        bpy.ops.object.mode_set(mode="OBJECT")
        bpy.ops.cuspwise.toggle_area(area="axial")
    return 1.5


def light():
    """The same on the light theme, half as large again, without the colour map."""
    FACTS["key_without_axial"] = key()
    with view():
        bpy.ops.cuspwise.toggle_area(area="axial")
        bpy.ops.cuspwise.remove_colour_map()
    scan().hide_set(True)
    theme = Path(bpy.utils.preset_paths("interface_theme")[0]) / "Blender_Light.xml"
    menu = "USERPREF_MT_interface_theme_presets"
    bpy.ops.script.execute_preset(filepath=str(theme), menu_idname=menu)
    bpy.context.preferences.view.ui_scale = 1.5
    return 3.0


def turn_off():
    """Nothing of it stays."""
    picture("areas_4_light")
    bpy.context.scene.cuspwise.show_areas = False
    return 2.0


def end():
    """Write what was noted."""
    picture("areas_5_off")
    FACTS["key_off"] = key()
    return -1.0


STEPS = [
    start_check,
    wait_for_job,
    look,
    open_panel,
    clicked,
    turn_on,
    shown,
    edit,
    edited,
    read_anew,
    painted,
    read_anew,
    cleaned,
    light,
    turn_off,
    end,
]


run(STEPS)
