"""Runs inside a real window: a crown with flash, its margin line in colours, the results.

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
EDGES_MM = 0.2
# Titles of panels in a window of 1400 × 1000.
SCANS_TITLE = (926, 97)


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


def region(kind):
    """Context of a region of the 3D view."""
    area, found = area_and(kind)
    window = bpy.context.window_manager.windows[0]
    return bpy.context.temp_override(window=window, area=area, region=found)


def scan():
    """The scan's object."""
    return bpy.context.scene.cuspwise.scans[0].scan


def verdict(area):
    """The kept verdict of an area."""
    store = part("addon.check.store")
    return next(v for v in store.verdicts_of(store.result_of(scan())) if v.area == area)


def legend():
    """What the legend says."""
    with region("WINDOW"):
        return [words.text for words in part("addon.drawing.legend").layout_for(bpy.context).words]


def spoilt(demo):
    """A printed crown with flash 0.3 mm high on a quarter of its margin."""
    errors = part("standalone_core.demo.production_errors")
    produced = part("standalone_core.demo.production").produce(
        demo,
        errors.ProductionErrors(
            waves=(errors.Wave((0.2, 0.5, 1.0), 9.0, 25.0, 75.0),),
            noise=errors.ScannerNoise(2.0),
            any_pose=False,
        ),
        edge_mm=EDGES_MM,
        rng=np.random.default_rng(1),
    )
    vertices, line = produced.mesh.vertices.copy(), demo.margin_line_mm
    away = np.linalg.norm(vertices[:, None] - line, axis=2)
    at = away.argmin(axis=1)
    drawn = (away.min(axis=1) < 0.55 * EDGES_MM) & (at > 0.75 * len(line))
    arm = line[at[drawn]] - line.mean(axis=0)
    arm -= np.outer(arm @ demo.insertion, demo.insertion)
    arm /= np.linalg.norm(arm, axis=1, keepdims=True)
    vertices[drawn] = line[at[drawn]] + 0.3 / 2**0.5 * (arm - demo.insertion)
    return vertices, produced.mesh.faces


# Steps: each returns the seconds to wait before the next, or None to be called again soon.


def prepare():
    """The demo's design and its spoilt scan, checked."""
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    demo = part("standalone_core.demo.crown").demo_crown(EDGES_MM)
    new_mesh = part("addon.blender.bridge").new_mesh
    made = {"Design": (demo.mesh.vertices, demo.mesh.faces), "Scan": spoilt(demo)}
    for name, surface in made.items():
        obj = bpy.data.objects.new(name, new_mesh(name, *surface))
        bpy.context.scene.collection.objects.link(obj)
        obj.select_set(name == "Scan")
    settings = bpy.context.scene.cuspwise
    settings.design = bpy.data.objects["Design"]
    settings.spacing_mm = 0.2
    with region("WINDOW"):
        bpy.ops.cuspwise.add_scans()
        bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
    return 1.0


def wait_for_check():
    """Wait for the job's end."""
    return None if bpy.context.window_manager.cuspwise_job.running else 1.0


def look():
    """From below and the side; the tab in front."""
    with region("WINDOW"):
        bpy.ops.object.select_all(action="DESELECT")
        bpy.ops.view3d.view_axis(type="FRONT")
        scan().select_set(True)
        bpy.ops.view3d.view_selected()
        scan().select_set(False)
    area, sidebar = area_and("UI")
    area.spaces.active.region_3d.view_rotation = Euler((1.9, 0.0, 0.5)).to_quaternion()
    area.spaces.active.show_region_ui = True
    sidebar.active_panel_category = "Cuspwise"
    FACTS["legend_before"] = legend()
    return 1.5


def close_panel():
    """Close the uppermost panel, so that there is room for the results."""
    x, y = SCANS_TITLE
    click = "sleep 0.7 mousedown 1 sleep 0.2 mouseup 1 sleep 0.7"
    subprocess.Popen(["sh", "-c", f"sleep 0.5; xdotool mousemove {x} {y} {click}"])
    return 3.0


def turn_on():
    """The line over the coloured scan."""
    bpy.context.scene.cuspwise.show_margin = True
    return 2.0


def shown():
    """What the legend says; then down to the results."""
    picture("margin_1_line")
    FACTS["legend"] = legend()
    FACTS["title"] = verdict("margin").verdict
    scroll("down")
    return 1.5


def scroll(way):
    """Scroll the sidebar to an end."""
    with region("UI"):
        for _ in range(300):
            getattr(bpy.ops.view2d, f"scroll_{way}")()


def choose_patch():
    """The flash is chosen in the list: the view goes there."""
    data = scan().cuspwise
    data.patch_index = next(k for k, patch in enumerate(data.patches) if patch.unmatched)
    return 1.5


def other_limits():
    """Limits that let the flash pass: judged anew in a thread."""
    picture("margin_2_results")
    settings = bpy.context.scene.cuspwise
    FACTS["before"] = [verdict("margin").verdict, verdict("margin").tolerance_um]
    settings.tolerance_margin_um = 150.0
    settings.max_unmatched_um, settings.max_unmatched_mm2 = 900.0, 90.0
    FACTS["at_once"] = verdict("margin").tolerance_um
    FACTS["started"] = time.monotonic()
    return 0.1


def judged():
    """Wait until the verdicts are those of the new limits, as long as a busy machine may take."""
    waited = time.monotonic() - FACTS["started"]
    if verdict("margin").tolerance_um != 150.0 and waited < 60.0:
        return None
    FACTS["after"] = [verdict("margin").verdict, verdict("margin").tolerance_um]
    return 1.5


def below():
    """The design alone, from below."""
    picture("margin_3_judged")
    bpy.context.scene.cuspwise.shown = "DESIGN"
    with region("WINDOW"):
        bpy.ops.object.select_all(action="DESELECT")
        design = bpy.context.scene.cuspwise.design
        design.select_set(True)
        bpy.ops.view3d.view_axis(type="BOTTOM")
        bpy.ops.view3d.view_selected()
        design.select_set(False)
    scroll("up")
    return 2.0


def turn_off():
    """In place of the line the areas; then neither."""
    picture("margin_4_below")
    bpy.context.scene.cuspwise.show_areas = True
    FACTS["margin_with_areas"] = bpy.context.scene.cuspwise.show_margin
    bpy.context.scene.cuspwise.show_areas = False
    return 1.5


def end():
    """Write what was noted."""
    FACTS["legend_after"] = legend()
    return -1.0


STEPS = [
    prepare,
    wait_for_check,
    look,
    close_panel,
    turn_on,
    shown,
    choose_patch,
    other_limits,
    judged,
    below,
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
