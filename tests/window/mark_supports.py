"""Runs inside a real window: marks support marks with the mouse, the wheel and the keyboard."""

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from driver import (
    FACTS,
    area_and,
    click,
    clicked,
    design,
    later,
    look_at,
    open_tab,
    part,
    picture,
    printed_errors,
    run,
    scan,
    scroll,
    settings,
    show_only,
    start_check,
    view,
    wait_for_job,
)
from mathutils import Vector

# Places in a window of 1400 × 1000: titles of panels in the sidebar.
AREAS_TITLE, MARKS_TITLE = (934, 97), (950, 620)  # with their panels alone
FIRST_ROW = (940, 759)


def support_groups():
    """Names of the vertex groups that are support marks."""
    return [group.name for group in design().vertex_groups if "support" in group.name]


def stub(number):
    """Where the demo's printed crown has a stub, on the screen from above left."""
    spot = printed_errors().spots[number]
    shape = part("standalone_core.demo.shape").CrownShape()
    place = shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
    area, region = area_and("WINDOW")
    on_region = location_3d_to_region_2d(region, area.spaces.active.region_3d, Vector(place))
    height = bpy.context.window_manager.windows[0].height
    return round(region.x + on_region.x), round(height - region.y - on_region.y)


def look():
    """From the lingual side, and the extension's tab with the areas' panel alone open."""
    look_at(scan(), "FRONT")
    open_tab()
    FACTS["state"] = scan().cuspwise.state
    FACTS["design_hidden"] = design().hide_get()
    return 1.5


def mark():
    """A click on the first stub, with a circle as wide as the wheel makes it."""
    x, y = stub(0)
    with view():
        bpy.ops.cuspwise.mark_support("INVOKE_DEFAULT")
    later(f"xdotool mousemove {x} {y} sleep 0.7 click 4 sleep 0.4 click 4 sleep 0.4 click 1")
    return 2.0


def marked():
    """Once it is there, on to the second, with a radius that is typed."""
    if not circles():
        return None
    x, y = stub(1)
    later(
        f"xdotool mousemove {x} {y} sleep 0.7 key 0 sleep 0.2 key period sleep 0.2",
        "xdotool key 7",
    )
    return 2.0


def marking():
    """Once it is typed: the circle under the mouse, the one that is there, the words; a click."""
    if abs(settings().mark_radius_mm - 0.7) > 1e-3:
        return None
    FACTS["typed_mm"] = settings().mark_radius_mm
    picture("marks_1_marking")
    later("xdotool click 1 sleep 0.7 key Escape")
    return 4.0


def circles():
    """The design's marks that were made as circles."""
    return part("addon.areas.support_marks").circles(design())


def measured():
    """What stands in the list once Esc ended it."""
    FACTS["radii_mm"] = {name: kept["radius_mm"] for name, kept in circles().items()}
    rows = part("addon.check.mark_results").rows(scan(), design())
    FACTS["rows"] = {name: [row["verdict"], row["height_um"]] for name, row in rows.items()}
    FACTS["groups"] = support_groups()
    return 0.5


def open_panel():
    """Open the panel of the areas, with none above it."""
    show_only("AreasPanel", "support_marks")
    return click(AREAS_TITLE)


def open_marks():
    """Open the panel of the marks in it."""
    picture("marks_0_areas")
    return click(MARKS_TITLE)


def choose():
    """A click on the first row brings it into view; scroll down to what is told of it."""
    picture("marks_2_panel")
    x, y = FIRST_ROW
    later(f"xdotool mousemove {x} {y} sleep 0.7 click 1 sleep 1.5")
    return 4.0


def scroll_down():
    """Scroll the sidebar down."""
    FACTS["cursor"] = list(bpy.context.scene.cursor.location)
    rows = part("addon.check.mark_results").rows(scan(), design())
    FACTS["peak"] = rows["support: 1"]["peak_mm"]
    scroll("down", 9)
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
    start_check,
    wait_for_job,
    look,
    mark,
    marked,
    marking,
    wait_for_job,
    measured,
    undo,
    undone,
    redone,
    open_panel,
    clicked,
    open_marks,
    clicked,
    choose,
    scroll_down,
    end,
]


run(STEPS)
