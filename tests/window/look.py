"""Runs inside a real window: does the work of a user, with pictures, and notes what happened.

Steps are taken by a timer, since a picture shows what was drawn after the script last gave up
control. ``facts.json`` tells the test what the state was at each step.
"""

import importlib
import json
import os
import subprocess
import traceback
from pathlib import Path

import bpy
import numpy as np

OUT = Path(os.environ["GUI_OUT"])
PACKAGE = next(name for name in bpy.context.preferences.addons.keys() if name.endswith("cuspwise"))  # noqa: SIM118
FACTS = {}
# Places in a window of 1400 × 1000.
# On the design, on the scan, beside both, on the sidebar.
PLACES = ((287, 281), (800, 606), (500, 700), (990, 770))
FISSURE = (575, 500)
CHECK_CROWN = ("998", "438")


def part(name):
    """A module of the extension."""
    return importlib.import_module(f"{PACKAGE}.{name}")


def picture(name):
    """Photograph the screen."""
    subprocess.run([os.environ["GUI_SHOT"], f"{name}.png"], check=True)


def view():
    """Context of the 3D view."""
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    region = next(r for r in area.regions if r.type == "WINDOW")
    return bpy.context.temp_override(window=window, area=area, region=region)


def sidebar():
    """The sidebar's region."""
    area = next(
        a for a in bpy.context.window_manager.windows[0].screen.areas if a.type == "VIEW_3D"
    )
    return area, next(r for r in area.regions if r.type == "UI")


def scan():
    """The scan's object."""
    return bpy.context.scene.cuspwise.scans[0].scan


def running():
    """Whether a job is under way."""
    return bpy.context.window_manager.cuspwise_job.running


# Steps: each returns the seconds to wait before the next, or None to be called again soon.


def prepare():
    """A scene with the demo's design and, imported from a file, its scan."""
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    design = part("standalone_core.demo.crown").demo_crown(0.2)
    produced = part("standalone_core.demo.production").produce(
        design,
        part("standalone_core.demo.scenario").printed_errors(),
        edge_mm=0.2,
        rng=np.random.default_rng(3),
    )
    path = OUT / "printed.stl"
    part("standalone_core.mesh.files").write_mesh(path, produced.mesh)
    obj = bpy.data.objects.new(
        "Design",
        part("addon.blender.bridge").new_mesh("Design", design.mesh.vertices, design.mesh.faces),
    )
    bpy.context.scene.collection.objects.link(obj)
    bpy.context.scene.cuspwise.design = obj
    with view():
        bpy.ops.cuspwise.import_scans(filepath=str(path))
        bpy.ops.object.select_all(action="SELECT")
        bpy.ops.view3d.view_selected()
        bpy.ops.object.select_all(action="DESELECT")
    area, _region = sidebar()
    area.spaces.active.show_region_ui = True
    return 1.0


def open_tab():
    """Bring the extension's tab to the front."""
    area, region = sidebar()
    area.spaces.active.show_region_ui = True
    region.active_panel_category = "Cuspwise"
    region.tag_redraw()
    return 1.5


def pick_landmarks():
    """Click on design and scan, and beside them; the right button ends it."""
    FACTS["imported"] = scan().cuspwise.file_notes
    with view():
        bpy.ops.cuspwise.pick_landmarks("INVOKE_DEFAULT")
    clicks = [f"xdotool mousemove {x} {y} sleep 1 click 1 sleep 1" for x, y in PLACES]
    # In a process of its own: the window must see the pointer rest where it clicks.
    subprocess.Popen(["sh", "-c", "sleep 0.3; " + "; ".join([*clicks, "xdotool click 3"])])
    return 11.0


def start_check():
    """Click the button."""
    picture("1_imported")
    marks = [obj for obj in bpy.data.objects if obj.cuspwise.landmark]
    FACTS["landmarks"] = sorted(f"{m.parent.name} {m.cuspwise.landmark}" for m in marks)
    subprocess.run(["xdotool", "mousemove", *CHECK_CROWN], check=True)
    subprocess.run(["xdotool", "click", "1"], check=True)
    return 2.0


def cancel_check():
    """A picture of the bar, then Esc from the keyboard."""
    FACTS["running"] = running()
    picture("2_running")
    subprocess.run(["xdotool", "key", "Escape"], check=True)
    return 1.5


def check_again():
    """Nothing has changed; now to the end."""
    FACTS["after_esc"] = {"running": running(), "state": scan().cuspwise.state}
    FACTS["after_esc"]["groups"] = len(bpy.data.objects["Design"].vertex_groups)
    with view():
        bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
    return 1.0


def wait_for_check():
    """Wait for the job's end."""
    return None if running() else 1.5


def show_checked():
    """The result, and the same with other limits."""
    picture("3_checked")
    data = scan().cuspwise
    FACTS["checked"] = {"state": data.state, "limit_um": bpy.context.scene.cuspwise.shown_limit_um}
    bpy.data.objects["Design"].hide_set(True)
    settings = bpy.context.scene.cuspwise
    settings.limit_is_automatic = False
    settings.limit_um = 25.0
    settings.tolerance_whole_um = 10.0
    with view():
        bpy.ops.view3d.view_axis(type="TOP")
        scan().select_set(True)
        bpy.ops.view3d.view_selected()
        scan().select_set(False)
    return 2.0


def read_value():
    """Read under the mouse, and leave a label."""
    with view():
        bpy.ops.cuspwise.read_value("INVOKE_DEFAULT")
    x, y = FISSURE
    moves = f"xdotool mousemove {x} {y} sleep 0.4 click 1 sleep 0.4 mousemove {x - 60} {y + 40}"
    subprocess.Popen(["sh", "-c", f"sleep 0.3; {moves}"])
    return 3.0


def end_reading():
    """The value beside the mouse and the label; the right button ends it."""
    picture("4_reading")
    FACTS["labels"] = [o.name for o in scan().children if not o.cuspwise.landmark]
    subprocess.run(["xdotool", "click", "3"], check=True)
    return 1.5


def scroll():
    """Scroll the sidebar down to the table."""
    area, region = sidebar()
    window = bpy.context.window_manager.windows[0]
    with bpy.context.temp_override(window=window, area=area, region=region):
        for _ in range(200):
            bpy.ops.view2d.scroll_down()
    return 1.0


def stale():
    """Moved: stale in words."""
    picture("5_table")
    scan().location.x += 0.2
    area, region = sidebar()
    window = bpy.context.window_manager.windows[0]
    with bpy.context.temp_override(window=window, area=area, region=region):
        for _ in range(400):
            bpy.ops.view2d.scroll_up()
    return 2.5


def remove():
    """Everything as it was."""
    picture("6_stale")
    FACTS["stale"] = {"state": scan().cuspwise.state, "reason": scan().cuspwise.state_reason}
    with view():
        bpy.ops.cuspwise.remove_colour_map()
    return 1.5


def end():
    """Write what was noted."""
    picture("7_removed")
    FACTS["removed"] = {
        "slots": len(scan().material_slots),
        "view_transform": bpy.context.scene.view_settings.view_transform,
    }
    return -1.0


STEPS = [
    prepare,
    open_tab,
    open_tab,
    pick_landmarks,
    start_check,
    cancel_check,
    check_again,
    wait_for_check,
    show_checked,
    read_value,
    end_reading,
    scroll,
    stale,
    remove,
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
