"""Runs inside a real window: the areas overlay, edited, on a light theme, scaled.

Steps are taken by a timer, since a picture shows what was drawn after the script last gave up
control. ``facts.json`` tells the test what the state was at each step.
"""

import importlib
import json
import os
import subprocess
import time
import traceback
from pathlib import Path

import bpy
import numpy as np
from mathutils import Euler

OUT = Path(os.environ["GUI_OUT"])
PACKAGE = next(name for name in bpy.context.preferences.addons.keys() if name.endswith("cuspwise"))  # noqa: SIM118
FACTS = {}
DRAWN_MS, READ, READ_BEFORE, TRIES = [], [], [], []
# Titles of panels in a window of 1400 × 1000, the lower one first: it moves when the other closes.
AREAS_TITLE, SCANS_TITLE = (912, 457), (926, 97)
EDGES_MM = 0.2


def part(name):
    """A module of the extension."""
    return importlib.import_module(f"{PACKAGE}.{name}")


def picture(name):
    """Photograph the screen."""
    subprocess.run([os.environ["GUI_SHOT"], f"{name}.png"], check=True)


def area_and(kind):
    """The 3D view's area and its region of a kind."""
    screen = bpy.context.window_manager.windows[0].screen
    area = next(a for a in screen.areas if a.type == "VIEW_3D")
    return area, next(r for r in area.regions if r.type == kind)


def view():
    """Context of the 3D view."""
    area, region = area_and("WINDOW")
    window = bpy.context.window_manager.windows[0]
    return bpy.context.temp_override(window=window, area=area, region=region)


def scan():
    """The scan's object."""
    return bpy.context.scene.cuspwise.scans[0].scan


def design():
    """The design's object."""
    return bpy.context.scene.cuspwise.design


def key():
    """What the key says; empty without one."""
    with view():
        entries = part("addon.drawing.overlay").key_shown(bpy.context)
    return [] if entries is None else [entry.words for entry in entries]


def seen_of(name):
    """Count of the triangles of an area in what was read for the overlay last."""
    return {p.area: len(p.triangles) for p in READ[-1].patches.patches}.get(name, 0)


def type_later(*commands):
    """Let xdotool work in a process of its own: the window must see the pointer rest."""
    subprocess.Popen(["sh", "-c", "; ".join(["sleep 0.5", *commands])])


# Steps: each returns the seconds to wait before the next, or None to be called again soon.


def prepare():
    """The demo's design and its printed scan, checked."""
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    demo = part("standalone_core.demo.crown").demo_crown(EDGES_MM)
    produced = part("standalone_core.demo.production").produce(
        demo,
        part("standalone_core.demo.scenario").printed_errors(),
        edge_mm=EDGES_MM,
        rng=np.random.default_rng(3),
    )
    new_mesh = part("addon.blender.bridge").new_mesh
    for name, mesh in (("Design", demo.mesh), ("Scan", produced.mesh)):
        obj = bpy.data.objects.new(name, new_mesh(name, mesh.vertices, mesh.faces))
        bpy.context.scene.collection.objects.link(obj)
        obj.select_set(name == "Scan")
    settings = bpy.context.scene.cuspwise
    settings.design = bpy.data.objects["Design"]
    settings.spacing_mm = 0.2
    with view():
        bpy.ops.cuspwise.add_scans()
        bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
    return 1.0


def wait_for_check():
    """Wait for the job's end."""
    return None if running() else 1.0


def running():
    """Whether a job is under way."""
    return bpy.context.window_manager.cuspwise_job.running


def look():
    """Two marks, seen from the lingual side and a little from above; the tab in front."""
    marks = part("addon.areas.support_marks")
    target = marks.target(design(), bpy.context.scene, bpy.context.evaluated_depsgraph_get())
    shape = part("standalone_core.demo.shape").CrownShape()
    for spot in part("standalone_core.demo.scenario").printed_errors().spots[:2]:
        place = shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
        marks.mark(target, place, 0.5, "support")
    with view():
        bpy.ops.object.select_all(action="DESELECT")
        bpy.ops.view3d.view_axis(type="FRONT")
        scan().select_set(True)
        bpy.ops.view3d.view_selected()
        scan().select_set(False)
    area, region = area_and("UI")
    area.spaces.active.region_3d.view_rotation = Euler((1.1, 0.0, 0.3)).to_quaternion()
    area.spaces.active.show_region_ui = True
    region.active_panel_category = "Cuspwise"
    return 1.5


def open_panel():
    """Open the areas' panel and close the one above it."""
    click = "sleep 0.7 mousedown 1 sleep 0.2 mouseup 1 sleep 0.7"
    type_later(*(f"xdotool mousemove {x} {y} {click}" for x, y in (AREAS_TITLE, SCANS_TITLE)))
    return 5.0


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
    prepare,
    wait_for_check,
    look,
    open_panel,
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


def step():
    """Take the next step."""
    try:
        wait = STEPS[0]()
    except Exception:
        FACTS["error"] = traceback.format_exc()
        traceback.print_exc()
        wait = -1.0
    if wait is None:
        return 0.3
    STEPS.pop(0)
    if wait >= 0.0 and STEPS:
        return wait
    (OUT / "facts.json").write_text(json.dumps(FACTS, indent=1), encoding="utf-8")
    (OUT / "done").touch()
    return None


bpy.app.timers.register(step, first_interval=1.0)
