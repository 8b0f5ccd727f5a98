"""Runs inside a real window: runs a study of nine scans, cancels it once, shows table and maps."""

import bpy
import numpy as np
from driver import (
    FACTS,
    OUT,
    add,
    area_and,
    clear,
    click,
    clicked,
    demo_crown,
    design,
    look_at,
    look_at_all,
    open_tab,
    part,
    picture,
    press,
    run,
    running,
    scroll,
    settings,
    show_only,
    view,
    wait_for_job,
)
from mathutils import Matrix

FOLDER = OUT / "crowns_study"  # beside the .blend, by default
EDGE_MM = SPACING_MM = 0.3
GROUPS = (("Milled", "milled"), ("Printed upright", "upright"), ("Printed tilted", "tilted"))
CROWNS = 3
# Places in a window of 1400 × 1000, where the study's panel alone is shown: its title, its button.
TITLE, RUN_STUDY = (911, 97), (1008, 307)


def kept():
    """What is kept of the study."""
    return part("addon.study.study_store").study_of(bpy.context.scene)


def measured():
    """How many scans are measured and kept in the folder."""
    return len(list((FOLDER / "study_results" / "kept").glob("scan-*")))


def prepare():
    """The demo's design, and three crowns made in each of three ways, side by side."""
    clear()
    demo, ways = demo_crown(EDGE_MM), part("standalone_core.demo.study_groups")
    produce = part("standalone_core.demo.production").produce
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    for row, (title, way) in enumerate(GROUPS):
        rng = np.random.default_rng(50 + row)
        for number in range(CROWNS):
            errors = getattr(ways, way)(rng)
            made = produce(demo, errors, edge_mm=EDGE_MM, rng=rng)
            item = settings().scans.add()
            item.scan = add(f"{way} {number + 1}", made.mesh.vertices, made.mesh.faces)
            item.group = title
            # Upright beside the design, though its mesh lies in a pose of the scanner's.
            place = np.array(made.T_true_design_scan)
            place[:3, 3] += (13.0 * (number + 1), 13.0 * (row - 1), 0.0)
            item.scan.matrix_world = Matrix(place.tolist())
    settings().spacing_mm = SPACING_MM
    settings().study.equivalence_um = 5.0
    bpy.ops.wm.save_as_mainfile(filepath=str(FOLDER.with_name("crowns.blend")))
    return 1.0


def show_tab():
    """The extension's tab, and all crowns."""
    look_at_all()
    return open_tab()


def open_study():
    """Open the study's panel, with none above it."""
    picture("study_1_listed")
    show_only("study")
    return click(TITLE)


def start():
    """Click the button."""
    picture("study_2_open")
    return click(RUN_STUDY)


def cancel():
    """Wait for two scans to be measured, then press Esc."""
    FACTS["running"] = FACTS.get("running", False) or running()
    if FACTS["running"] and measured() < 2:
        return None
    picture("study_3_running")
    press("Escape")
    return 1.0


def run_again():
    """Nothing has changed, the scans measured stay; now to the end."""
    FACTS["after_esc"] = {"running": running(), "study": kept(), "measured": measured() >= 2}
    FACTS["objects"] = len(bpy.data.objects)
    FACTS["before"] = measured()
    with view():
        bpy.ops.cuspwise.run_study("INVOKE_DEFAULT")
    return 1.0


def answer():
    """The answer and the table."""
    FACTS["groups"] = {group["title"]: group["n"] for group in kept()["groups"]}
    FACTS["out_of_date"] = part("addon.study.study_store").why_out_of_date(bpy.context.scene)
    FACTS["report"] = (FOLDER / "study_results" / "report.html").is_file()
    settings().study.area = "margin"
    picture("study_4_answer")
    return 1.0


def scroll_down():
    """Scroll the sidebar down to the table."""
    scroll("down", 30)
    return 1.0


def show(kind, group=None, axis="TOP"):
    """Show a map on the design."""
    study = settings().study
    study.map_kind = kind
    if group:
        study.map_group = group
    if not study.shown:
        with view():
            bpy.ops.cuspwise.show_group_map()
    look_at(design(), axis)
    return 1.5


def settle():
    """Draw the sidebar once more: panels take their places after they have their sizes."""
    area_and("UI")[0].tag_redraw()
    return 1.0


def mean_map():
    """The mean map of one group."""
    picture("study_5_table")
    scroll("down", 200)
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


def make_out_of_date():
    """A scan goes to another group."""
    picture("study_8_difference")
    settings().scans[0].group = "Printed tilted"
    scroll("up", 400)
    area_and("UI")[0].tag_redraw()
    return 2.0


def remove():
    """Everything as it was."""
    picture("study_9_out_of_date")
    FACTS["changed"] = part("addon.study.study_store").why_out_of_date(bpy.context.scene)
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
    show_tab,
    show_tab,
    open_study,
    clicked,
    start,
    clicked,
    cancel,
    wait_for_job,
    run_again,
    wait_for_job,
    settle,
    answer,
    scroll_down,
    settle,
    mean_map,
    settle,
    share_map,
    settle,
    difference_map,
    settle,
    make_out_of_date,
    settle,
    remove,
    end,
]


run(STEPS)
