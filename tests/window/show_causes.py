"""Runs inside a real window: the panel of the causes, their maps, the build direction."""

import json

import bpy
from driver import (
    FACTS,
    area_and,
    design,
    look_at,
    open_tab,
    part,
    picture,
    run,
    scan,
    scroll,
    settings,
    start_check,
    view,
    wait_for_job,
)
from mathutils import Euler


def say_production():
    """What is known of the printed crown; the build direction from an axis."""
    look_at(scan(), "FRONT")
    area, _region = area_and("UI")
    area.spaces.active.region_3d.view_rotation = Euler((1.0, 0.0, 0.4)).to_quaternion()
    area.spaces.active.region_3d.view_distance *= 1.3
    facts = settings().causes.production
    facts.way, facts.enlargement = "printed", 1.245
    with view():
        bpy.ops.cuspwise.build_direction_from_axis(axis="POS_Z")
    FACTS["lines"] = len(part("addon.drawing.build_arrow").lines_of(bpy.context))
    return open_tab()


def before():
    """The panel before anything was looked for."""
    scroll("down", 300)
    return 1.5


def start_causes():
    """Find them while the window goes on."""
    picture("causes_1_before")
    with view():
        FACTS["answer"] = list(bpy.ops.cuspwise.find_causes("INVOKE_DEFAULT"))
    return 1.0


def read_panel():
    """Scroll to the panel's top half."""
    kept = json.loads(scan().cuspwise.causes)
    FACTS["stated"] = [row["cause"] for row in kept["causes"] if row["stated"]]
    FACTS["maps"] = kept["maps"]
    scroll("down", 300)
    return 1.5


def read_more():
    """The lower end, then upwards."""
    picture("causes_2_lower")
    scroll("up", 30)
    return 1.5


def show_left():
    """The map of what is left, in place of the deviations."""
    picture("causes_3_upper")
    with view():
        bpy.ops.cuspwise.show_cause_map(key="left")
        layout = part("addon.drawing.legend").layout_for(bpy.context)
    FACTS["legend_left"] = [words.text for words in layout.words]
    FACTS["hidden"] = [design().hide_get(), scan().hide_get()]
    return 1.5


def show_one():
    """The map of the first cause."""
    picture("causes_4_left")
    with view():
        bpy.ops.cuspwise.show_cause_map(key=FACTS["maps"][0])
        layout = part("addon.drawing.legend").layout_for(bpy.context)
    FACTS["legend_one"] = [words.text for words in layout.words]
    return 1.5


def back():
    """The deviations again."""
    picture("causes_5_one")
    with view():
        bpy.ops.cuspwise.show_colour_map()
    FACTS["hidden_after"] = [design().hide_get(), scan().hide_get()]
    return 1.0


def to_the_marks():
    """The support marks that were found are in the middle of the panel."""
    kept = json.loads(scan().cuspwise.causes)
    FACTS["found"] = [row["kind"] for row in kept["marks"]]
    scroll("down", 300)
    return 1.5


def accept():
    """Make the first one a mark of the design."""
    picture("causes_6_marks")
    with view():
        bpy.ops.cuspwise.accept_found_mark("INVOKE_DEFAULT", number=0)
    return 1.0


def accepted():
    """It is measured by now."""
    FACTS["marked"] = part("addon.areas.support_marks").names(design())
    rows = part("addon.check.mark_results").rows(scan(), design())
    FACTS["measured"] = [row["verdict"] for row in rows.values()]
    return 0.5


run(
    [
        start_check,
        wait_for_job,
        say_production,
        before,
        start_causes,
        wait_for_job,
        read_panel,
        read_more,
        show_left,
        show_one,
        back,
        to_the_marks,
        accept,
        wait_for_job,
        accepted,
    ]
)
