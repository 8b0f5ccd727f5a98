"""Runs inside a real window: checks a tray of six scans, reads, sorts and writes the table."""

import time

import bpy
import numpy as np
from driver import (
    FACTS,
    OUT,
    add,
    clear,
    click,
    clicked,
    demo_crown,
    look_at_all,
    open_tab,
    part,
    picture,
    press,
    run,
    running,
    settings,
    show_only,
    view,
    wait_for_job,
)
from mathutils import Matrix

EDGE_MM = SPACING_MM = 0.25
GROUPS = (("Milled", "milled", 3), ("Printed", "tilted", 2))
# Places in a window of 1400 × 1000: the button, and the title of the table shown alone.
CHECK_ALL = (1008, 470)
TITLE = (911, 97)
TABLE = OUT / "tray.csv"
TICKS = {"last": 0.0, "longest": 0.0}


def scans():
    """All listed scans."""
    return [item.scan for item in settings().scans]


def states():
    """What is known of each."""
    return [scan.cuspwise.state for scan in scans()]


def prepare():
    """The demo's design; five crowns and a scan without faces beside it."""
    clear()
    demo, ways = demo_crown(EDGE_MM), part("standalone_core.demo.study_groups")
    produce = part("standalone_core.demo.production").produce
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    settings().spacing_mm = SPACING_MM
    for row, (title, way, count) in enumerate(GROUPS):
        rng = np.random.default_rng(50 + row)
        for number in range(count):
            made = produce(demo, getattr(ways, way)(rng), edge_mm=EDGE_MM, rng=rng)
            item = settings().scans.add()
            item.scan = add(f"{title} {number + 1}", made.mesh.vertices, made.mesh.faces)
            item.group = title
            place = np.array(made.T_true_design_scan)
            place[:3, 3] += (13.0 * (number + 1), 13.0 * row, 0.0)
            item.scan.matrix_world = Matrix(place.tolist())
    item = settings().scans.add()
    item.scan, item.group = bpy.data.objects.new("Printed 3", bpy.data.meshes.new("-")), "Printed"
    bpy.context.scene.collection.objects.link(item.scan)
    return 1.0


def show_tab():
    """The extension's tab, and all crowns."""
    look_at_all()
    return open_tab()


def start():
    """Click the button."""
    picture("tray_1_listed")
    return click(CHECK_ALL)


def cancel():
    """Wait for two scans to be checked, then press Esc."""
    FACTS["running"] = FACTS.get("running", False) or running()
    if FACTS["running"] and states().count("CURRENT") < 2:
        return None
    picture("tray_2_running")
    press("Escape")
    return 3.0


def run_again():
    """Go on with the rest, and see how long ticks take."""
    FACTS["after_esc"] = {"running": running(), "checked": states().count("CURRENT")}
    FACTS["kept"] = [scan.cuspwise.result_id for scan in scans() if scan.cuspwise.result_id]
    job = part("addon.blender.job").JobOperator
    tick = job.modal

    def timed(operator, context, event):
        begin = time.perf_counter()
        try:
            return tick(operator, context, event)
        finally:
            TICKS["longest"] = max(TICKS["longest"], time.perf_counter() - begin)

    job.modal = timed
    with view():
        bpy.ops.cuspwise.check_all("INVOKE_DEFAULT")
    return 1.0


def table():
    """Bring the table to the front."""
    FACTS["states"] = states()
    FACTS["problem"] = scans()[-1].cuspwise.problem
    FACTS["still"] = [s.cuspwise.result_id for s in scans()][: len(FACTS["kept"])]
    FACTS["longest_tick_s"] = TICKS["longest"]
    show_only("crowns")
    return click(TITLE)


def sort(sort_by, name):
    """Sort the table and choose a crown in it."""
    settings().crowns.sort_by = sort_by
    if sort_by == "AREA":
        settings().crowns.area = "margin"
    settings().scan_index = [scan.name for scan in scans()].index(name)
    return 1.5


def by_verdict():
    """The most urgent first."""
    picture("tray_3_table")
    return sort("VERDICT", "Printed 2")


def by_margin():
    """The worst margin first; its map follows."""
    picture("tray_4_by_verdict")
    FACTS["coloured"] = [scan.name for scan in scans() if scan.cuspwise.coloured]
    return sort("AREA", "Milled 1")


def filtered():
    """One group alone."""
    picture("tray_5_by_margin")
    FACTS["coloured_then"] = [scan.name for scan in scans() if scan.cuspwise.coloured]
    settings().crowns.group = "printed"
    return sort("NAME", "Printed 3")


def write():
    """Copy and export the table."""
    picture("tray_6_group")
    with view():
        bpy.ops.cuspwise.copy_crowns()
        bpy.ops.cuspwise.export_crowns(filepath=str(TABLE))
    FACTS["clipboard"] = bpy.context.window_manager.clipboard.splitlines()
    FACTS["csv"] = TABLE.read_text(encoding="utf-8").splitlines()
    return 1.0


run(
    [
        prepare,
        show_tab,
        start,
        clicked,
        cancel,
        run_again,
        wait_for_job,
        table,
        clicked,
        by_verdict,
        by_margin,
        filtered,
        write,
    ]
)
