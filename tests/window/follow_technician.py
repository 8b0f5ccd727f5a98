"""Runs inside a real window: a technician's day, from six dropped files to study and report."""

import csv
import time

import bpy
import numpy as np
from driver import (
    FACTS,
    OUT,
    clear,
    demo_crown,
    open_tab,
    part,
    picture,
    press,
    run,
    settings,
    view,
    wait_for_job,
)

EDGE_MM = SPACING_MM = 0.25
FILES, REPORT, TABLE = OUT / "tray ü", OUT / "report", OUT / "table.csv"
WAYS = (("Milled", "milled"), ("Printed", "tilted"))
CROWNS = 3
TICKS = {"longest": 0.0}


def scans():
    """All listed scans."""
    return [item.scan for item in settings().scans]


def prepare():
    """Files of a design and six crowns; from now on ticks are timed."""
    clear()
    demo, ways = demo_crown(EDGE_MM), part("standalone_core.demo.study_groups")
    produce = part("standalone_core.demo.production").produce
    write = part("standalone_core.mesh.write").write_mesh
    FILES.mkdir()
    write(FILES / "design.stl", demo.mesh)
    for row, (title, way) in enumerate(WAYS):
        rng = np.random.default_rng(70 + row)
        for number in range(CROWNS):
            made = produce(demo, getattr(ways, way)(rng), edge_mm=EDGE_MM, rng=rng)
            write(FILES / f"{title} {number + 1}.stl", made.mesh)
    settings().spacing_mm = SPACING_MM
    bpy.ops.wm.save_as_mainfile(filepath=str(OUT / "tray.blend"))
    time_ticks()
    return 1.0


def time_ticks():
    """Note how long the longest tick of any job takes."""
    job = part("addon.blender.job").JobOperator
    tick = job.modal

    def timed(operator, context, event):
        begin = time.perf_counter()
        try:
            return tick(operator, context, event)
        finally:
            TICKS["longest"] = max(TICKS["longest"], time.perf_counter() - begin)

    job.modal = timed


def press_button(name, **options):
    """Press a button of the sidebar."""
    with view():
        getattr(bpy.ops.cuspwise, name)("INVOKE_DEFAULT", **options)
    return 1.5


def drop():
    """Design and scans at once; our question names the likely design."""
    files = [{"name": path.name} for path in sorted(FILES.iterdir())]
    return press_button("drop_scans", directory=str(FILES), files=files)


def answer():
    """Return is OK."""
    press("Return")
    return 1.0


def check_all():
    """Say how each was made, and check the tray."""
    settings().spacing_mm = SPACING_MM
    for item in settings().scans:
        item.group = item.scan.name.split()[0]
    FACTS["listed"] = [settings().design.name, *(scan.name for scan in scans())]
    picture("technician_1_dropped")
    return press_button("check_all")


def mark():
    """Mark the worst place of the last printed crown, as if a support had stood there."""
    settings().scan_index = len(settings().scans) - 1
    FACTS["states"] = [scan.cuspwise.state for scan in scans()]
    kept = part("addon.check.store").result_of(scans()[-1])
    place = kept["check"]["patches"][0]["peak_mm"]
    with view():
        bpy.ops.cuspwise.mark_support(location=place, radius_mm=0.6)
    return 1.0


def write_table():
    """The table holds the mark of every crown."""
    picture("technician_2_checked")
    with view():
        bpy.ops.cuspwise.export_crowns(filepath=str(TABLE))
    with TABLE.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    FACTS["marks"] = {row["crown"]: row["n_marks"] for row in rows}
    return 0.5


def study():
    """Compare both ways."""
    return press_button("run_study")


def report():
    """Write the report of the crown chosen."""
    folder = part("addon.study.study_store").folder_of(bpy.context.scene)
    FACTS["study"] = sorted(p.name for p in folder.rglob("*.html"))
    FACTS["states_then"] = [scan.cuspwise.state for scan in scans()]
    picture("technician_3_studied")
    REPORT.mkdir()
    return press_button("write_report", directory=str(REPORT))


def end():
    """What there is in the end."""
    FACTS["report"] = sorted(p.relative_to(REPORT).as_posix() for p in REPORT.rglob("*.*"))
    FACTS["longest_tick_s"] = TICKS["longest"]
    return -1.0


run(
    [
        prepare,
        open_tab,
        drop,
        answer,
        wait_for_job,
        check_all,
        wait_for_job,
        mark,
        write_table,
        study,
        wait_for_job,
        report,
        wait_for_job,
        end,
    ]
)
