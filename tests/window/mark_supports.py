"""Runs inside a real window: marks support marks with the mouse, the wheel and the keyboard.

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
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector

OUT = Path(os.environ["GUI_OUT"])
PACKAGE = next(name for name in bpy.context.preferences.addons.keys() if name.endswith("cuspwise"))  # noqa: SIM118
FACTS = {}
# Places in a window of 1400 × 1000: titles of panels in the sidebar.
SCANS_TITLE, AREAS_TITLE, MARKS_TITLE = (960, 97), (934, 457), (950, 671)
FIRST_ROW = (940, 810)


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


def support_groups():
    """Names of the vertex groups that are support marks."""
    return [group.name for group in design().vertex_groups if "support" in group.name]


def running():
    """Whether a job is under way."""
    return bpy.context.window_manager.cuspwise_job.running


def stub(number):
    """Where the demo's printed crown has a stub, on the screen from above left."""
    spot = part("standalone_core.demo.scenario").printed_errors().spots[number]
    shape = part("standalone_core.demo.shape").CrownShape()
    place = shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
    area, region = area_and("WINDOW")
    on_region = location_3d_to_region_2d(region, area.spaces.active.region_3d, Vector(place))
    height = bpy.context.window_manager.windows[0].height
    return round(region.x + on_region.x), round(height - region.y - on_region.y)


def type_later(*commands):
    """Let xdotool work in a process of its own: the window must see the pointer rest."""
    subprocess.Popen(["sh", "-c", "; ".join(["sleep 0.5", *commands])])


# Steps: each returns the seconds to wait before the next, or None to be called again soon.


def prepare():
    """The demo's design and its printed scan in place, seen from the lingual side."""
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    demo = part("standalone_core.demo.crown").demo_crown(0.2)
    produced = part("standalone_core.demo.production").produce(
        demo,
        part("standalone_core.demo.scenario").printed_errors(),
        edge_mm=0.2,
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


def look():
    """From the lingual side, and the extension's tab with the areas' panel alone open."""
    with view():
        bpy.ops.object.select_all(action="DESELECT")
        bpy.ops.view3d.view_axis(type="FRONT")
        scan().select_set(True)
        bpy.ops.view3d.view_selected()
        scan().select_set(False)
    area, region = area_and("UI")
    area.spaces.active.show_region_ui = True
    region.active_panel_category = "Cuspwise"
    FACTS["state"] = scan().cuspwise.state
    FACTS["design_hidden"] = design().hide_get()
    return 1.5


def mark():
    """Two clicks on two stubs: the first as wide as the wheel makes it, the second as typed."""
    (x1, y1), (x2, y2) = stub(0), stub(1)
    with view():
        bpy.ops.cuspwise.mark_support("INVOKE_DEFAULT")
    type_later(
        f"xdotool mousemove {x1} {y1} sleep 0.7 click 4 sleep 0.4 click 4 sleep 0.4 click 1",
        f"sleep 0.7; xdotool mousemove {x2} {y2} sleep 0.7 key 0 sleep 0.2 key period sleep 0.2",
        "xdotool key 7 sleep 0.4",
    )
    return 8.0


def marking():
    """The circle under the mouse, the one that is there, the words; then the second click."""
    picture("marks_1_marking")
    settings = bpy.context.scene.cuspwise
    FACTS["typed_mm"] = settings.contact_radius_mm
    type_later("xdotool click 1 sleep 0.7 key Escape")
    return 4.0


def measured():
    """What stands in the list once Esc ended it."""
    circles = part("addon.areas.support_marks").circles(design())
    FACTS["radii_mm"] = {name: kept["radius_mm"] for name, kept in circles.items()}
    rows = part("addon.check.mark_results").rows(scan(), design())
    FACTS["rows"] = {name: [row["verdict"], row["height_um"]] for name, row in rows.items()}
    FACTS["groups"] = support_groups()
    return 0.5


def open_panel():
    """Open the areas' panel and close the one above it."""
    titles = (AREAS_TITLE, SCANS_TITLE)
    type_later(
        *(
            f"xdotool mousemove {x} {y} sleep 0.7 mousedown 1 sleep 0.2 mouseup 1 sleep 0.7"
            for x, y in titles
        )
    )
    return 5.0


def open_marks():
    """Open the panel of the marks in it."""
    x, y = MARKS_TITLE
    picture("marks_0_areas")
    click = "sleep 0.7 mousedown 1 sleep 0.2 mouseup 1 sleep 0.5"
    type_later(f"xdotool mousemove {x} {y} {click} mousemove 400 300")
    return 3.0


def choose():
    """A click on the first row brings it into view; scroll down to what is told of it."""
    picture("marks_2_panel")
    x, y = FIRST_ROW
    type_later(f"xdotool mousemove {x} {y} sleep 0.7 click 1 sleep 1.5")
    return 4.0


def scroll():
    """Scroll the sidebar down."""
    FACTS["cursor"] = list(bpy.context.scene.cursor.location)
    rows = part("addon.check.mark_results").rows(scan(), design())
    FACTS["peak"] = rows["support: 1"]["peak_mm"]
    area, region = area_and("UI")
    window = bpy.context.window_manager.windows[0]
    with bpy.context.temp_override(window=window, area=area, region=region):
        for _ in range(9):
            bpy.ops.view2d.scroll_down()
    return 1.5


def undo():
    """One step back takes this time's clicks back, and what was measured of them."""
    with view():
        bpy.ops.ed.undo()
    return 2.0


def undone():
    """Neither mark is left."""
    FACTS["undone"] = support_groups()
    with view():
        bpy.ops.ed.redo()
    return 2.0


def redone():
    """Both are back, with their numbers."""
    FACTS["redone"] = support_groups()
    rows = part("addon.check.mark_results").rows(scan(), design())
    FACTS["redone_rows"] = {name: [row["verdict"], row["height_um"]] for name, row in rows.items()}
    return 0.5


def end():
    """What is told of the mark chosen."""
    picture("marks_3_chosen")
    return -1.0


STEPS = [
    prepare,
    wait_for_check,
    look,
    mark,
    marking,
    wait_for_check,
    measured,
    undo,
    undone,
    redone,
    open_panel,
    open_marks,
    choose,
    scroll,
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
