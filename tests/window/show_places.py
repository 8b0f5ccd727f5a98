"""Runs inside a real window: maps seen alone, patches and marks looked at, circles that stay."""

import bpy
import numpy as np
from bpy_extras import view3d_utils
from driver import (
    EDGE_MM,
    FACTS,
    SPACING_MM,
    add,
    area_and,
    clear,
    demo_crown,
    design,
    look_at,
    open_tab,
    part,
    picture,
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

READS, READS_SEEN = [], []
QUIET_WAITS, MOST_WAITS = 5, 60  # of 0.3 s: 1.5 s without reading, within 18 s


def seen():
    """Names of the meshes that are seen."""
    return sorted(o.name for o in bpy.data.objects if o.type == "MESH" and o.visible_get())


def legend():
    """What the legend says."""
    with view():
        made = part("addon.drawing.legend").layout_for(bpy.context)
    return [line.text for line in made.words]


def met():
    """The object under the middle of the view, and how far its place is from the one looked at."""
    bpy.context.view_layer.update()
    area, region = area_and("WINDOW")
    eye, middle = area.spaces.active.region_3d, (region.width / 2, region.height / 2)
    origin = view3d_utils.region_2d_to_origin_3d(region, eye, middle)
    way = view3d_utils.region_2d_to_vector_3d(region, eye, middle)
    graph = bpy.context.evaluated_depsgraph_get()
    found, world, _normal, _face, obj, _matrix = bpy.context.scene.ray_cast(graph, origin, way)
    place = settings().place
    aim = place.obj.matrix_world @ part("addon.drawing.looking").Vector(place.local)
    return [obj.name if found else "", (world - aim).length if found else -1.0]


def prepare():
    """The demo's design and two scans, which will lie in one place."""
    clear()
    demo = demo_crown()
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    settings().spacing_mm = SPACING_MM
    for number in (1, 2):
        mesh = produced(demo, printed_errors(), EDGE_MM, seed=number).mesh
        add(f"Scan {number}", mesh.vertices, mesh.faces).select_set(True)
        with view():
            bpy.ops.cuspwise.add_scans()
    return 1.0


def check(number):
    """Check a scan of the list."""

    def step():
        settings().scan_index = number
        with view():
            bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
        return 1.0

    return step


def alone():
    """Only the second scan is seen, then only the first, then all of them without a map."""
    look_at(scan(), "TOP")
    FACTS["second"] = seen()
    settings().scan_index = 0
    FACTS["first"] = seen()
    return open_tab()


def removed():
    """All come back with the button."""
    picture("places_1_alone")
    FACTS["legend"] = legend()
    with view():
        bpy.ops.cuspwise.remove_colour_map()
    FACTS["removed"] = seen()
    FACTS["legend_removed"] = legend()
    with view():
        bpy.ops.cuspwise.show_colour_map()
    area, _region = area_and("WINDOW")
    FACTS["distance_before"] = area.spaces.active.region_3d.view_distance
    return 1.0


def click_patch(number_of):
    """A click on a row of the list, as the sidebar does it."""

    def step():
        with view("UI"):
            scan().cuspwise.patch_index = number_of()
        return 1.5

    return step


def kept_patches():
    """The patches of the first scan."""
    return part("addon.check.store").result_of(scan())["check"]["patches"]


def inside():
    """The worst patch of the inner surface."""
    found = [k for k, p in enumerate(kept_patches()) if p["areas"][0] == "intaglio"]
    return found[0]


def looked_at(name):
    """What the middle of the view shows, with a picture."""

    def step():
        FACTS[name] = [*met(), *seen()]
        picture(f"places_{name}")
        return 0.5

    return step


def scroll_to_patches():
    """The list, in the sidebar."""
    scroll("up", 400)
    scroll("down", 48)
    return 1.5


def filtered():
    """Missing material only, by size."""
    picture("places_4_list")
    settings().patches.sign, settings().patches.sort = "MISSING", "SIZE"
    return 1.5


def back():
    """Where the view looked before any patch was clicked."""
    picture("places_5_filtered")
    area, _region = area_and("WINDOW")
    with view():
        bpy.ops.cuspwise.leave_place()
    FACTS["distance_after"] = area.spaces.active.region_3d.view_distance
    return 0.5


def mark():
    """Two support marks, whose circles stay on the crown when marking is over."""
    marks = part("addon.areas.support_marks")
    target = marks.target(design(), bpy.context.scene, bpy.context.evaluated_depsgraph_get())
    shape = part("standalone_core.demo.shape").CrownShape()
    for spot in printed_errors().spots[:2]:
        place = shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
        marks.mark(target, place, 0.5, "support")
    with view():
        bpy.ops.cuspwise.measure_marks("INVOKE_DEFAULT")
    return 1.0


def look_at_marks():
    """The mark chosen last, by the button beside the list."""
    if running():
        return None
    with view():
        bpy.ops.cuspwise.frame_mark()
    return 1.5


def circles(name):
    """How many circles are drawn, over the map, without it, for another scan."""
    kept = part("addon.drawing.marks_overlay")._kept
    FACTS[name] = len(kept[0][1]) if kept else 0


def with_map():
    """Over the map of the first scan; then over that of the second."""
    circles("circles_map")
    settings().scan_index = 1
    return 1.5


def other_scan():
    """Then without any map."""
    picture("places_7_other_scan")
    circles("circles_other")
    with view():
        bpy.ops.cuspwise.remove_colour_map()
    return 1.5


def edit():
    """The areas, with their circles, while the design is edited."""
    circles("circles_removed")
    settings().show_areas = True
    overlay = part("addon.drawing.overlay")
    read = overlay.read

    def noted(*given):
        READS.append(read(*given))
        return READS[-1]

    overlay.read = noted
    with view():
        bpy.context.view_layer.objects.active = design()
        bpy.ops.object.mode_set(mode="EDIT")
        bpy.ops.mesh.select_all(action="DESELECT")
    return 1.0


def quiet():
    """Wait until what is drawn was not read anew for a while; note if that never ends."""
    still = READS_SEEN and READS_SEEN[-1] == len(READS)
    READS_SEEN[:] = [*READS_SEEN, len(READS)] if still else [len(READS)]
    FACTS["waits"] = FACTS.get("waits", 0) + 1
    return 0.0 if len(READS_SEEN) > QUIET_WAITS or FACTS["waits"] > MOST_WAITS else None


def edited():
    """Moved a little: read anew, once."""
    FACTS["reads_before"] = len(READS)
    FACTS["waits"] = 0
    READS_SEEN.clear()
    with view():
        bpy.ops.mesh.select_all(action="SELECT")
        bpy.ops.transform.translate(value=(0.0, 0.0, 0.001))
    return 1.0


def still_there():
    """Key and circles as before; then the areas below the axial walls and the occlusal surface."""
    picture("places_8_edited")
    FACTS["reads_after"], FACTS["waited"] = len(READS), FACTS["waits"] <= MOST_WAITS
    FACTS["circles_edited"] = len(READS[-1].circles)
    FACTS["key_edited"] = legend()
    with view():
        bpy.ops.object.mode_set(mode="OBJECT")
    part("addon.drawing.overlay").toggle_area(design(), "axial")
    return 2.0


def end():
    """Write what was noted."""
    picture("places_9_external")
    FACTS["key_external"] = legend()
    return -1.0


STEPS = [
    prepare,
    check(0),
    wait_for_job,
    check(1),
    wait_for_job,
    alone,
    removed,
    click_patch(lambda: 0),
    looked_at("2_patch"),
    click_patch(inside),
    looked_at("3_inside"),
    scroll_to_patches,
    filtered,
    back,
    mark,
    look_at_marks,
    looked_at("6_mark"),
    with_map,
    other_scan,
    edit,
    quiet,
    edited,
    quiet,
    still_there,
    end,
]


run(STEPS)
