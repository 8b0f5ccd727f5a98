"""Runs inside a real window: does the work of a user, with pictures, and notes what happened."""

import subprocess

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d
from driver import (
    FACTS,
    OUT,
    add,
    area_and,
    clear,
    demo_crown,
    design,
    look_at,
    look_at_all,
    open_tab,
    part,
    picture,
    press,
    printed_errors,
    produced,
    run,
    running,
    scan,
    scroll,
    settings,
    view,
    wait_for_job,
)
from mathutils import Vector

# Places in a window of 1400 × 1000.
SIDEBAR = (990, 770)
FISSURE = (575, 500)
CHECK_CROWN = ("998", "438")


def prepare():
    """A scene with the demo's design and, imported from a file, its scan."""
    clear()
    demo = demo_crown()
    path = OUT / "printed.stl"
    mesh = produced(demo, printed_errors()).mesh
    part("standalone_core.mesh.write").write_mesh(path, mesh)
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    with view():
        bpy.ops.cuspwise.import_scans(filepath=str(path))
    look_at_all()
    area, _region = area_and("UI")
    area.spaces.active.show_region_ui = True
    return 1.0


def pick_landmarks():
    """Show both side by side, to be clicked at."""
    FACTS.setdefault("imported", scan().cuspwise.file_notes)
    FACTS.setdefault("hidden", []).append(design().hide_get())
    FACTS.setdefault("lay", []).append([list(row) for row in scan().matrix_world])
    with view():
        bpy.ops.cuspwise.pick_landmarks("INVOKE_DEFAULT")
    return 2.0


def click_at_both():
    """Click on design and scan, between them and on the sidebar; the right button ends it."""
    picture(f"landmarks_{len(FACTS['lay'])}")
    one, other = seen_at(design()), seen_at(scan())
    FACTS["apart"] = other[0] - one[0]
    below = (one[0], 950)
    clicks = [
        f"xdotool mousemove {x} {y} sleep 0.7 click 1 sleep 0.7"
        for x, y in (one, other, below, SIDEBAR)
    ]
    # In a process of its own: the window must see the pointer rest where it clicks.
    subprocess.Popen(["sh", "-c", "sleep 0.3; " + "; ".join([*clicks, "xdotool click 3"])])
    return 9.0


def seen_at(obj):
    """The middle of an object on the screen."""
    area, region = area_and("WINDOW")
    middle = sum((obj.matrix_world @ Vector(corner) for corner in obj.bound_box), Vector()) / 8.0
    place = location_3d_to_region_2d(region, area.spaces.active.region_3d, middle)
    height = bpy.context.window_manager.windows[0].height
    return round(region.x + place.x), round(height - region.y - place.y)


def note_landmarks():
    """What was picked, and whether the scan lies where it lay."""
    marks = [obj for obj in bpy.data.objects if obj.cuspwise.landmark]
    found = sorted(f"{m.parent.name} {m.cuspwise.landmark}" for m in marks)
    FACTS.setdefault("landmarks", []).append(found)
    FACTS.setdefault("lies", []).append([list(row) for row in scan().matrix_world])
    FACTS.setdefault("hidden_then", []).append(design().hide_get())
    FACTS["state_then"] = scan().cuspwise.state
    return 0.3


def escape_picking():
    """Click on the scan, and take that back with Esc."""
    x, y = seen_at(scan())
    click = f"xdotool mousemove {x} {y} sleep 0.7 click 1 sleep 0.7 key Escape"
    subprocess.Popen(["sh", "-c", f"sleep 0.3; {click}"])
    return 4.0


def click_check():
    """Click the button."""
    picture("1_imported")
    subprocess.run(["xdotool", "mousemove", *CHECK_CROWN], check=True)
    subprocess.run(["xdotool", "click", "1"], check=True)
    return 2.0


def cancel_check():
    """A picture of the bar, then Esc from the keyboard."""
    FACTS["running"] = running()
    picture("2_running")
    press("Escape")
    return 1.5


def check_again():
    """Nothing has changed; now to the end."""
    FACTS["after_esc"] = {"running": running(), "state": scan().cuspwise.state}
    FACTS["after_esc"]["groups"] = len(bpy.data.objects["Design"].vertex_groups)
    with view():
        bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
    return 1.0


def show_checked():
    """The result, and the same with other limits."""
    picture("3_checked")
    data = scan().cuspwise
    FACTS["checked"] = {"state": data.state, "limit_um": settings().shown_limit_um}
    settings().limit_is_automatic = False
    settings().limit_um = 25.0
    settings().tolerance_whole_um = 10.0
    look_at(scan(), "TOP")
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


def scroll_down():
    """Scroll the sidebar down to the table."""
    scroll("down", 200)
    return 1.0


def out_of_date():
    """Moved: out of date in words."""
    picture("5_table")
    scan().location.x += 0.2
    scroll("up", 400)
    return 2.5


def remove():
    """Everything as it was."""
    picture("6_out_of_date")
    FACTS["out_of_date"] = {"state": scan().cuspwise.state, "reason": scan().cuspwise.state_reason}
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
    click_at_both,
    note_landmarks,
    click_check,
    cancel_check,
    check_again,
    wait_for_job,
    pick_landmarks,
    click_at_both,
    note_landmarks,
    pick_landmarks,
    escape_picking,
    note_landmarks,
    show_checked,
    read_value,
    end_reading,
    scroll_down,
    out_of_date,
    remove,
    end,
]


run(STEPS)
