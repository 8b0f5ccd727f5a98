"""Runs inside a real window: walls, contacts and the section plane of a crown among its teeth."""

import json

import bpy
import numpy as np
from driver import (
    FACTS,
    SPACING_MM,
    add,
    add_teeth,
    area_and,
    clear,
    demo_crown,
    design,
    look_at,
    open_tab,
    part,
    picture,
    run,
    scroll,
    settings,
    view,
    wait_for_job,
)
from mathutils import Euler, Quaternion


def set_up():
    """The demo's design among neighbours and antagonist, and a copy of it shifted by 35 µm."""
    clear()
    demo = demo_crown()
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    settings().spacing_mm = SPACING_MM
    shift = 0.035 * part("standalone_core.demo.crown").DIRECTIONS.mesial
    add("Scan", demo.mesh.vertices - shift, demo.mesh.faces).select_set(True)
    with view():
        bpy.ops.cuspwise.add_scans()
        bpy.ops.object.select_all(action="DESELECT")
    add_teeth(demo)
    look_at(design(), "FRONT")
    return 1.5


def turn_view(*angles):
    """Look from somewhere."""
    area, _region = area_and("WINDOW")
    area.spaces.active.region_3d.view_rotation = Euler(angles).to_quaternion()


def start_walls():
    """Check the design's walls while the window goes on."""
    scroll("down", 300)
    turn_view(2.6, 0.0, 0.5)
    settings().fit.crown = "DESIGN"
    with view():
        FACTS["walls"] = list(bpy.ops.cuspwise.check_walls("INVOKE_DEFAULT"))
    return 1.0


def read_walls():
    """What is drawn, and the panel."""
    with view():
        layout = part("addon.drawing.legend").layout_for(bpy.context)
        crown, places = part("addon.fit.place_rings").ringed(bpy.context)
    FACTS["walls_legend"] = [words.text for words in layout.words]
    FACTS["rings"] = [crown.name, len(places)]
    FACTS["walls_hidden"] = [o.name for o in bpy.data.objects if o.hide_get()]
    scroll("down", 300)
    return 1.5


def upper_walls():
    """The panel's upper half."""
    picture("fit_parts_1_walls")
    scroll("up", 14)
    return 1.5


def start_contacts():
    """Check the scan's contacts while the window goes on."""
    picture("fit_parts_2_walls_panel")
    settings().fit.crown = "SCAN"
    turn_view(1.2, 0.0, 1.9)
    with view():
        FACTS["contacts"] = list(bpy.ops.cuspwise.check_contacts("INVOKE_DEFAULT"))
    return 1.0


def read_contacts():
    """What is drawn, and the panel."""
    scan = bpy.data.objects["Scan"]
    kept = json.loads(scan.cuspwise.teeth.contacts)
    FACTS["sentences"] = [row["sentence"] for row in kept["rows"]]
    with view():
        layout = part("addon.drawing.legend").layout_for(bpy.context)
    FACTS["contacts_legend"] = [words.text for words in layout.words]
    scroll("down", 300)
    return 1.5


def show_section():
    """A plane through the middle, along the arch."""
    picture("fit_parts_3_contacts")
    with view():
        bpy.ops.cuspwise.remove_colour_map()
        bpy.ops.cuspwise.place_section(across="Y")
    turn_view(np.pi / 2, 0.0, 0.0)
    return 1.5


def read_section():
    """What is drawn in the view's own plane."""
    FACTS["section"] = drawn()
    return 0.5


def follow():
    """Let the plane follow the view, and turn that."""
    picture("fit_parts_4_section")
    settings().teeth.section.follows_view = True
    turn_view(1.1, 0.0, 0.6)
    return 1.5


def followed():
    """The plane faces whoever looks on."""
    FACTS["followed"] = drawn()
    picture("fit_parts_5_followed")
    area, _region = area_and("WINDOW")
    before = area.spaces.active.region_3d.view_rotation.copy()
    turned = before @ Quaternion((0.0, 1.0, 0.0), 0.5)
    area.spaces.active.region_3d.view_rotation = turned
    area.spaces.active.region_3d.update()
    FACTS["eye_then"] = list(area.spaces.active.region_3d.view_matrix.row[2][:3])
    with view():
        settings().teeth.section.follows_view = False
    area.spaces.active.region_3d.view_rotation = before
    return 1.0


def stays():
    """It stays as it was seen last when it no longer follows."""
    FACTS["stays"] = list(settings().teeth.section.normal)
    FACTS["stays_drawn"] = drawn()["normal"]
    return 0.5


def drawn():
    """Plane, outlines and key as they are drawn."""
    overlay = part("addon.fit.section_overlay")
    area, region = area_and("WINDOW")
    window = bpy.context.window_manager.windows[0]
    space = area.spaces.active
    with bpy.context.temp_override(
        window=window, area=area, region=region, space_data=space, region_data=space.region_3d
    ):
        made = overlay.drawn_in(bpy.context)
        again = overlay.drawn_in(bpy.context)
        words = [line.text for line in overlay.layout_for(bpy.context).words]
    eye = list(space.region_3d.view_matrix.row[2][:3])
    return {
        "names": [name for name, _colour, _gap in made.entries],
        "normal": list(made.plane.normal),
        "eye": eye,
        "words": words,
        "held": again is made,
    }


run(
    [
        set_up,
        open_tab,
        start_walls,
        wait_for_job,
        read_walls,
        upper_walls,
        start_contacts,
        wait_for_job,
        read_contacts,
        show_section,
        read_section,
        follow,
        followed,
        stays,
    ]
)
