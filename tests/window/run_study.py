"""Runs inside a real window: runs a study of nine scans, cancels it once, shows table and maps.

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
from mathutils import Matrix

OUT = Path(os.environ["GUI_OUT"])
PACKAGE = next(name for name in bpy.context.preferences.addons.keys() if name.endswith("cuspwise"))  # noqa: SIM118
FACTS = {}
FOLDER = OUT / "crowns_study"  # beside the .blend, by default
EDGE_MM = SPACING_MM = 0.3
GROUPS = (("Milled", "milled"), ("Printed upright", "upright"), ("Printed tilted", "tilted"))
CROWNS = 3
# Places in a window of 1400 × 1000: titles of panels from the bottom up, and the study's button
# once its panel alone is open.
TITLES = ((911, 775), (911, 528), (911, 97))
RUN_STUDY = (1000, 384)


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


def view(kind="WINDOW"):
    """Context of the 3D view."""
    area, region = area_and(kind)
    window = bpy.context.window_manager.windows[0]
    return bpy.context.temp_override(window=window, area=area, region=region)


def settings():
    """The scene's choices."""
    return bpy.context.scene.cuspwise


def kept():
    """What is kept of the study."""
    return part("addon.study.store").study_of(bpy.context.scene)


def measured():
    """How many scans are measured and kept in the folder."""
    return len(list((FOLDER / "study_results" / "kept").glob("scan-*")))


def running():
    """Whether a job is under way."""
    return bpy.context.window_manager.cuspwise_job.running


def later(*commands):
    """Let xdotool work in a process of its own: the window must see the pointer rest."""
    subprocess.Popen(["sh", "-c", "; ".join(["sleep 0.5", *commands])])


# Steps: each returns the seconds to wait before the next, or None to be called again soon.


def prepare():
    """The demo's design, and three crowns made in each of three ways, side by side."""
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    design = part("standalone_core.demo.crown").demo_crown(EDGE_MM)
    ways, produce = (part(f"standalone_core.demo.{m}") for m in ("study_groups", "production"))
    new_mesh = part("addon.blender.bridge").new_mesh

    def add(name, mesh):
        obj = bpy.data.objects.new(name, new_mesh(name, mesh.vertices, mesh.faces))
        bpy.context.scene.collection.objects.link(obj)
        return obj

    settings().design = add("Design", design.mesh)
    for row, (title, way) in enumerate(GROUPS):
        rng = np.random.default_rng(50 + row)
        for number in range(CROWNS):
            errors = getattr(ways, way)(rng)
            made = produce.produce(design, errors, edge_mm=EDGE_MM, rng=rng)
            item = settings().scans.add()
            item.scan, item.group = add(f"{way} {number + 1}", made.mesh), title
            # Upright beside the design, though its mesh lies in a pose of the scanner's.
            place = np.array(made.T_true_design_scan)
            place[:3, 3] += (13.0 * (number + 1), 13.0 * (row - 1), 0.0)
            item.scan.matrix_world = Matrix(place.tolist())
    settings().spacing_mm = SPACING_MM
    settings().study.equivalence_um = 5.0
    bpy.ops.wm.save_as_mainfile(filepath=str(FOLDER.with_name("crowns.blend")))
    return 1.0


def open_tab():
    """Bring the extension's tab to the front."""
    area, region = area_and("UI")
    area.spaces.active.show_region_ui = True
    region.active_panel_category = "Cuspwise"
    region.tag_redraw()
    with view():
        bpy.ops.object.select_all(action="SELECT")
        bpy.ops.view3d.view_selected()
        bpy.ops.object.select_all(action="DESELECT")
    return 1.5


def open_study():
    """Open the study's panel, and close those above it that are open."""
    picture("study_1_listed")
    click = "sleep 0.7 mousedown 1 sleep 0.2 mouseup 1 sleep 0.7"
    later(*(f"xdotool mousemove {x} {y} {click}" for x, y in TITLES), "xdotool mousemove 400 300")
    return 6.0


def start():
    """Click the button."""
    picture("study_2_open")
    x, y = RUN_STUDY
    later(f"xdotool mousemove {x} {y} sleep 0.7 mousedown 1 sleep 0.2 mouseup 1")
    return 2.5


def cancel():
    """Wait for two scans to be measured, then press Esc."""
    FACTS["running"] = FACTS.get("running", False) or running()
    if FACTS["running"] and measured() < 2:
        return None
    picture("study_3_running")
    subprocess.run(["xdotool", "key", "Escape"], check=True)
    return 3.0


def run_again():
    """Nothing has changed, the scans measured stay; now to the end."""
    FACTS["after_esc"] = {"running": running(), "study": kept(), "measured": measured() >= 2}
    FACTS["objects"] = len(bpy.data.objects)
    FACTS["before"] = measured()
    with view():
        bpy.ops.cuspwise.run_study("INVOKE_DEFAULT")
    return 1.0


def wait():
    """Wait for the job's end."""
    return None if running() else 1.5


def answer():
    """The answer and the table."""
    FACTS["groups"] = {group["title"]: group["n"] for group in kept()["groups"]}
    FACTS["stale"] = part("addon.study.store").why_stale(bpy.context.scene)
    FACTS["report"] = (FOLDER / "study_results" / "report.html").is_file()
    settings().study.area = "margin"
    picture("study_4_answer")
    return 1.0


def scroll(times=30):
    """Scroll the sidebar down to the table."""
    with view("UI"):
        for _ in range(times):
            bpy.ops.view2d.scroll_down()
    return 1.0


def show(kind, group=None, axis="TOP"):
    """Show a map on the design."""
    study = settings().study
    study.map_kind = kind
    if group:
        study.map_group = group
    with view():
        if not study.shown:
            bpy.ops.cuspwise.show_group_map()
        bpy.ops.view3d.view_axis(type=axis)
        bpy.context.scene.cuspwise.design.select_set(True)
        bpy.ops.view3d.view_selected()
        bpy.context.scene.cuspwise.design.select_set(False)
    return 1.5


def settle():
    """Draw the sidebar once more: panels take their places after they have their sizes."""
    area_and("UI")[0].tag_redraw()
    return 1.0


def mean_map():
    """The mean map of one group."""
    picture("study_5_table")
    scroll(200)
    wait = show("mean", "Printed tilted")
    hidden = [item.scan.hide_get() for item in settings().scans]
    FACTS["shown"] = {"hidden": hidden, "limit_um": settings().shown_limit_um}
    return wait


def share_map():
    """Share outside the tolerance."""
    picture("study_6_mean")
    return show("share")


def difference_map():
    """Where two groups differ."""
    picture("study_7_share")
    return show("difference")


def make_stale():
    """A scan goes to another group."""
    picture("study_8_difference")
    settings().scans[0].group = "Printed tilted"
    with view("UI"):
        for _ in range(400):
            bpy.ops.view2d.scroll_up()
    area_and("UI")[0].tag_redraw()
    return 2.0


def remove():
    """Everything as it was."""
    picture("study_9_stale")
    FACTS["changed"] = part("addon.study.store").why_stale(bpy.context.scene)
    with view():
        bpy.ops.cuspwise.remove_colour_map()
    return 1.5


def end():
    """Write what was noted."""
    FACTS["removed"] = {
        "hidden": sum(item.scan.hide_get() for item in settings().scans),
        "attributes": [a.name for a in settings().design.data.attributes if "study" in a.name],
    }
    return -1.0


STEPS = [
    prepare,
    open_tab,
    open_tab,
    open_study,
    start,
    cancel,
    run_again,
    wait,
    settle,
    answer,
    scroll,
    settle,
    mean_map,
    settle,
    share_map,
    settle,
    difference_map,
    settle,
    make_stale,
    settle,
    remove,
    end,
]


def step():
    """Take the next step."""
    try:
        pause = STEPS[0]()
    except Exception:
        FACTS["error"] = traceback.format_exc()
        traceback.print_exc()
        pause = -1.0
    if pause is None:
        return 0.3
    STEPS.pop(0)
    if pause >= 0.0 and STEPS:
        return pause
    (OUT / "facts.json").write_text(json.dumps(FACTS, indent=1), encoding="utf-8")
    (OUT / "done").touch()
    return None


bpy.app.timers.register(step, first_interval=1.0)
