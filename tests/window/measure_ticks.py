"""Runs inside a real window: how long the window stands still while a crown is checked.

Writes ``ticks.json``: the longest and the 99th percentile, in milliseconds, of the calls of
``modal`` (parted into reading, work and writing), of the gaps between them, and of the gaps
between the beats of a timer of Blender's own, which tell how long nothing else could happen.
What the same drawing costs without a job is told too: a gap is the job's only where it is longer.
Nothing is asserted: other work on the machine lengthens every gap.
"""

import os
import time

import bpy
import numpy as np
from driver import (
    FACTS,
    add,
    clear,
    demo_crown,
    look_at_all,
    part,
    printed_errors,
    produced,
    run,
    scan,
    settings,
    view,
    wait_for_job,
)

EDGE_MM = 0.073  # 190 000 triangles
SCAN_EDGE_MM = float(os.environ.get("CUSPWISE_SCAN_EDGE_MM", EDGE_MM))  # 0.0225: two millions
ROUNDS = 2  # the second finds areas and colours of the first
IDLE_S = 3.0
CALLS: list = []  # of each call of modal: when it began, time and processor time, doing what, label
BEATS: list = []


def prepare():
    """Design and scan, and a watch on the calls of ``modal``."""
    clear()
    demo = demo_crown(EDGE_MM)
    mesh = produced(demo, printed_errors(), edge_mm=SCAN_EDGE_MM).mesh
    FACTS["triangles"] = [len(demo.mesh.faces), len(mesh.faces)]
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    add("Scan", mesh.vertices, mesh.faces).select_set(True)
    with view():
        bpy.ops.cuspwise.add_scans()
    look_at_all()
    watch(part("addon.blender.job").JobOperator)
    return 2.0


def watch(operator):
    """Note when each call of ``modal`` began, how long it took, and what it did."""
    modal = operator.modal

    def watched(self, context, event):
        worker, ticks = self._worker, event.type == "TIMER"
        doing = "read" if worker is None else "write" if worker.ended else "work"
        label = bpy.context.window_manager.cuspwise_job.label
        begin, used = time.perf_counter(), time.thread_time()
        try:
            return modal(self, context, event)
        finally:
            if ticks:
                used = time.thread_time() - used
                CALLS.append((begin, time.perf_counter() - begin, used, doing, label))

    operator.modal = watched


def start():
    """Start the check as a click does."""
    CALLS.clear()
    BEATS.clear()
    with view():
        begin = time.perf_counter()
        bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
        FACTS["invoke_ms"] = 1e3 * (time.perf_counter() - begin)
    return 0.0


def note():
    """Note what was measured."""
    calls = np.array([call[:3] for call in CALLS])
    found = {"seconds": calls[-1, :2].sum() - calls[0, 0]}
    found["modal"] = spread(calls[:, 1])
    gaps = np.diff(calls[:, 0])
    found["between ticks"] = spread(gaps)
    found["longest gaps"] = [
        [round(1e3 * float(gaps[k])), CALLS[k + 1][4]] for k in np.argsort(-gaps)[:12]
    ]
    for doing in ("read", "work", "write"):
        found[f"modal, {doing}"] = spread([call[1] for call in CALLS if call[3] == doing])
        processor = spread([call[2] for call in CALLS if call[3] == doing])
        found[f"modal, {doing}, processor time"] = processor
    inside = [beat for beat in BEATS if calls[0, 0] <= beat <= calls[-1, :2].sum()]
    found["between beats"] = spread(np.diff(inside))
    FACTS.setdefault("rounds", []).append(found)
    FACTS["state"] = scan().cuspwise.state
    return 2.0


def rest():
    """No job, for comparison."""
    BEATS.clear()
    return IDLE_S


def redraw():
    """Note the rest; now no job, but all that is drawn anew for one."""
    FACTS["between beats at rest"] = spread(np.diff(BEATS))
    BEATS.clear()
    for k in range(50):
        bpy.app.timers.register(lambda k=k: show(k), first_interval=0.1 * k)
    return 6.0


def show(k):
    """Draw what a job's progress draws."""
    job = part("addon.blender.job")
    progress = part("standalone_core.progress").Progress(f"Step {k}", k / 50)
    job._show(bpy.context, progress)


def drawn():
    """Note it."""
    bpy.context.window_manager.cuspwise_job.running = False
    bpy.context.workspace.status_text_set(None)
    FACTS["between beats, redrawing"] = spread(np.diff(BEATS))
    return 1.0


def end():
    """Nothing more."""
    return -1.0


def spread(seconds):
    """Longest and 99th percentile, ms, of how many."""
    if not len(seconds):
        return None
    spans = 1e3 * np.asarray(seconds)
    return {
        "longest_ms": round(float(spans.max()), 1),
        "p99_ms": round(float(np.percentile(spans, 99)), 1),
        "count": len(spans),
    }


def beat():
    """A sign of life, as often as Blender allows."""
    BEATS.append(time.perf_counter())
    return 0.005


STEPS = [prepare, rest, redraw, drawn, *(ROUNDS * [start, wait_for_job, note]), end]


run(STEPS, "ticks.json")
bpy.app.timers.register(beat, first_interval=1.0)
