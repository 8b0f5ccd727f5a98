"""Runs inside a real window: a crown seated on its die, run down, its map and the polar plot."""

import json

import bpy
from driver import (
    FACTS,
    add,
    area_and,
    clear,
    demo_crown,
    look_at_all,
    open_tab,
    part,
    picture,
    run,
    scroll,
    settings,
    view,
    wait_for_job,
)
from mathutils import Euler

EDGE_MM = 0.3


def crown():
    """The crown that is seated."""
    return settings().design


def kept():
    """What is kept of its fit."""
    return json.loads(crown().cuspwise.fit.text)


def set_up():
    """The demo's design on its die, with directions."""
    clear()
    demo = demo_crown(EDGE_MM)
    die = part("standalone_core.demo.die").demo_die(
        demo, cement_um=60.0, margin_um=40.0, edge_mm=EDGE_MM
    )
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    settings().spacing_mm = EDGE_MM
    fit = settings().fit
    fit.crown = "DESIGN"
    fit.die = add("Die", die.mesh.vertices, die.mesh.faces)
    fit.mesial, fit.buccal = "POS_X", "POS_Y"
    fit.cement_space_um = 60.0
    FACTS["lies"] = fit.lies_on_die
    look_at_all()
    area, _region = area_and("UI")
    area.spaces.active.region_3d.view_rotation = Euler((1.2, 0.0, 0.4)).to_quaternion()
    area.spaces.active.region_3d.view_distance *= 1.2
    area.spaces.active.show_region_ui = True
    return 1.5


def before():
    """The panel before anything was seated."""
    scroll("down", 300)
    return 1.5


def start():
    """Seat it while the window goes on."""
    picture("fit_1_before")
    with view():
        FACTS["answer"] = list(bpy.ops.cuspwise.seat_crown("INVOKE_DEFAULT"))
    return 1.0


def lift():
    """Run it up, so that the die is seen below."""
    FACTS["stop"] = kept()["fit"]["seat"]["stop"]
    FACTS["is_on_die"] = crown().cuspwise.fit.is_on_die
    crown().cuspwise.fit.height_mm = 4.0
    scroll("down", 300)
    return 1.5


def down():
    """Down again, with the panel's upper part."""
    picture("fit_2_lifted")
    crown().cuspwise.fit.height_mm = 0.0
    scroll("up", 45)
    return 1.5


def show_map():
    """The gap from below, the die out of the way."""
    picture("fit_3_seated")
    with view():
        bpy.ops.cuspwise.show_fit_map(key="gap")
        layout = part("addon.drawing.legend").layout_for(bpy.context)
    FACTS["legend"] = [words.text for words in layout.words]
    area, _region = area_and("UI")
    area.spaces.active.region_3d.view_rotation = Euler((2.7, 0.0, 0.4)).to_quaternion()
    with view():
        shown = part("addon.fit.spots_overlay").shown_crown(bpy.context)
    FACTS["spots_on"] = shown.name if shown else None
    FACTS["hidden"] = settings().fit.die.hide_get()
    return 1.5


def show_polar():
    """The polar plot beside the legend."""
    picture("fit_4_gap")
    settings().fit.show_polar = True
    with view():
        parts = part("addon.fit.polar_overlay").parts_for(bpy.context)
    FACTS["polar"] = [words.text for words in parts.words]
    return 1.5


def back():
    """Without colours, back at the design."""
    picture("fit_5_polar")
    with view():
        bpy.ops.cuspwise.remove_colour_map()
        bpy.ops.cuspwise.back_to_design()
    FACTS["hidden_after"] = settings().fit.die.hide_get()
    scroll("down", 300)
    scroll("up", 22)
    return 1.5


def read_seat():
    """The slider, the seat and its spots."""
    picture("fit_6_seat")
    return 0.5


run(
    [
        set_up,
        open_tab,
        before,
        start,
        wait_for_job,
        lift,
        down,
        show_map,
        show_polar,
        back,
        read_seat,
    ]
)
