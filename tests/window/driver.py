"""What the scripts of this folder share: they work like a user inside a real window.

A script is a list of steps, taken by a timer, since a picture shows what was drawn after the script
last gave up control. A step returns the seconds to wait before the next one, None to be called
again soon, or a negative number to end. What the steps note in ``FACTS`` tells the test how it was
at each of them. Places are given in a window of 1400 × 1000.
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
EDGE_MM = SPACING_MM = 0.2
AGAIN_S = 0.3
CLICK = "sleep 1.5 mousedown 1 sleep 0.3 mouseup 1 sleep 1"
CLICKED = OUT / "clicked"


def run(steps, file="facts.json"):
    """Take the steps, and write what they noted."""
    left = list(steps)

    def step():
        try:
            wait = left[0]()
        except Exception:
            FACTS["error"] = traceback.format_exc()
            traceback.print_exc()
            wait = -1.0
        if wait is None:
            return AGAIN_S
        left.pop(0)
        if wait >= 0.0 and left:
            return wait
        (OUT / file).write_text(json.dumps(FACTS, indent=1), encoding="utf-8")
        (OUT / "done").touch()
        return None

    bpy.app.timers.register(step, first_interval=1.0)


def part(name):
    """A module of the extension."""
    return importlib.import_module(f"{PACKAGE}.{name}")


# What there is -------------------------------------------------------------------------------


def settings():
    """The scene's choices."""
    return bpy.context.scene.cuspwise


def design():
    """The design's object."""
    return settings().design


def scan():
    """The first scan's object."""
    return settings().scans[0].scan


def running():
    """Whether a job is under way."""
    return bpy.context.window_manager.cuspwise_job.running


def wait_for_job():
    """Wait for the job's end."""
    return None if running() else 1.5


# What is seen --------------------------------------------------------------------------------


def picture(name):
    """Photograph the screen."""
    subprocess.run([os.environ["GUI_SHOT"], f"{name}.png"], check=True)


def area_and(kind):
    """The 3D view's area and its region of a kind."""
    screen = bpy.context.window_manager.windows[0].screen
    area = next(a for a in screen.areas if a.type == "VIEW_3D")
    return area, next(r for r in area.regions if r.type == kind)


def view(kind="WINDOW"):
    """Context of a region of the 3D view."""
    area, region = area_and(kind)
    window = bpy.context.window_manager.windows[0]
    return bpy.context.temp_override(window=window, area=area, region=region)


def open_tab():
    """Bring the extension's tab to the front."""
    area, region = area_and("UI")
    area.spaces.active.show_region_ui = True
    region.active_panel_category = "Cuspwise"
    region.tag_redraw()
    return 1.5


def show_only(*names):
    """Leave only these panels, or those of these modules: then the others move no place."""
    panels = part("addon.panels")
    for cls in reversed(panels.CLASSES):
        module = cls.__module__.rpartition(".")[2]
        if issubclass(cls, bpy.types.Panel) and not {module, cls.__name__} & set(names):
            bpy.utils.unregister_class(cls)


def scroll(way, times):
    """Scroll the sidebar up or down."""
    with view("UI"):
        for _ in range(times):
            getattr(bpy.ops.view2d, f"scroll_{way}")()


def look_at(obj, axis):
    """Look at an object along an axis, with nothing selected."""
    with view():
        bpy.ops.object.select_all(action="DESELECT")
        bpy.ops.view3d.view_axis(type=axis)
        obj.select_set(True)
        bpy.ops.view3d.view_selected()
        obj.select_set(False)


def look_at_all():
    """Look at everything, with nothing selected."""
    with view():
        bpy.ops.object.select_all(action="SELECT")
        bpy.ops.view3d.view_selected()
        bpy.ops.object.select_all(action="DESELECT")


# What a user does ----------------------------------------------------------------------------


def later(*commands):
    """Let xdotool work in a process of its own: the window must see the pointer rest."""
    subprocess.Popen(["sh", "-c", "; ".join(["sleep 0.5", *commands])])


def click(*places):
    """Click slowly at places, as titles of panels need it; ``clicked`` waits for the end."""
    CLICKED.unlink(missing_ok=True)
    moves = [f"xdotool mousemove {x} {y} {CLICK}" for x, y in places]
    later(*moves, "xdotool mousemove 400 300", f"touch {CLICKED}")
    return 1.0


def clicked():
    """Wait until all places were clicked at."""
    return 1.0 if CLICKED.exists() else None


def press(key):
    """Press a key at once."""
    subprocess.run(["xdotool", "key", key], check=True)


# What it works on ----------------------------------------------------------------------------


def clear():
    """An empty scene."""
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)


def add(name, vertices, faces):
    """Add a mesh to the scene."""
    made = part("addon.blender.bridge").new_mesh(name, vertices, faces)
    obj = bpy.data.objects.new(name, made)
    bpy.context.scene.collection.objects.link(obj)
    return obj


def demo_crown(edge_mm=EDGE_MM):
    """The demo's design."""
    return part("standalone_core.demo.crown").demo_crown(edge_mm)


def add_teeth(demo, edge_mm=EDGE_MM):
    """The teeth around a demo crown: mesial and distal neighbour, and the antagonist."""
    teeth = part("standalone_core.demo.neighbours")
    for name, tooth in zip(
        ("Mesial", "Distal"), teeth.demo_neighbours(demo, edge_mm=edge_mm), strict=True
    ):
        add(name, tooth.mesh.vertices, tooth.mesh.faces).select_set(True)
    antagonist = teeth.demo_antagonist(demo, edge_mm=edge_mm).mesh
    settings().teeth.antagonist = add("Antagonist", antagonist.vertices, antagonist.faces)
    with view():
        bpy.ops.cuspwise.add_neighbours()
        bpy.ops.object.select_all(action="DESELECT")
    for item in settings().teeth.neighbours:
        item.side = item.tooth.name.lower()


def produced(demo, errors, edge_mm=EDGE_MM, seed=3):
    """A crown produced with these errors."""
    rng = np.random.default_rng(seed)
    return part("standalone_core.demo.production").produce(demo, errors, edge_mm=edge_mm, rng=rng)


def printed_errors():
    """The errors of the demo's printed crown."""
    return part("standalone_core.demo.scenario").printed_errors()


def start_check(vertices_and_faces=None):
    """The demo's design with a scan, the printed one if none is given; check it."""
    clear()
    demo = demo_crown()
    if vertices_and_faces is None:
        mesh = produced(demo, printed_errors()).mesh
        vertices_and_faces = mesh.vertices, mesh.faces
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    add("Scan", *vertices_and_faces).select_set(True)
    settings().spacing_mm = SPACING_MM
    with view():
        bpy.ops.cuspwise.add_scans()
        bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
    return 1.0
