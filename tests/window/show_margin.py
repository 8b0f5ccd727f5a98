"""Runs inside a real window: a crown with flash, its margin line in colours, the results."""

import time

import bpy
import numpy as np
from driver import (
    EDGE_MM,
    FACTS,
    area_and,
    click,
    clicked,
    demo_crown,
    design,
    look_at,
    open_tab,
    part,
    picture,
    produced,
    run,
    scan,
    scroll,
    settings,
    start_check,
    view,
    wait_for_job,
)
from mathutils import Euler

# Titles of panels in a window of 1400 × 1000.
SCANS_TITLE = (926, 97)


def verdict(area):
    """The kept verdict of an area."""
    store = part("addon.check.store")
    return next(v for v in store.verdicts_of(store.result_of(scan())) if v.area == area)


def legend():
    """What the legend says."""
    with view():
        return [words.text for words in part("addon.drawing.legend").layout_for(bpy.context).words]


def spoilt(demo):
    """A printed crown with flash 0.3 mm high on a quarter of its margin."""
    errors = part("standalone_core.demo.production_errors")
    mesh = produced(
        demo,
        errors.ProductionErrors(
            waves=(errors.Wave((0.2, 0.5, 1.0), 9.0, 25.0, 75.0),),
            noise=errors.ScannerNoise(2.0),
            any_pose=False,
        ),
        seed=1,
    ).mesh
    vertices, line = mesh.vertices.copy(), demo.margin_line_mm
    away = np.linalg.norm(vertices[:, None] - line, axis=2)
    at = away.argmin(axis=1)
    drawn = (away.min(axis=1) < 0.55 * EDGE_MM) & (at > 0.75 * len(line))
    arm = line[at[drawn]] - line.mean(axis=0)
    arm -= np.outer(arm @ demo.insertion, demo.insertion)
    arm /= np.linalg.norm(arm, axis=1, keepdims=True)
    vertices[drawn] = line[at[drawn]] + 0.3 / 2**0.5 * (arm - demo.insertion)
    return vertices, mesh.faces


def prepare():
    """The demo's design and its spoilt scan, checked."""
    return start_check(spoilt(demo_crown()))


def look():
    """From below and the side; the tab in front."""
    look_at(scan(), "FRONT")
    area, _region = area_and("UI")
    area.spaces.active.region_3d.view_rotation = Euler((1.9, 0.0, 0.5)).to_quaternion()
    open_tab()
    FACTS["legend_before"] = legend()
    return 1.5


def close_panel():
    """Close the uppermost panel, so that there is room for the results."""
    return click(SCANS_TITLE)


def turn_on():
    """The line over the coloured scan."""
    settings().show_margin = True
    return 2.0


def shown():
    """What the legend says; then down to the results."""
    picture("margin_1_line")
    FACTS["legend"] = legend()
    FACTS["title"] = verdict("margin").verdict
    scroll("down", 300)
    return 1.5


def choose_patch():
    """The flash is chosen in the list: the view goes there."""
    data = scan().cuspwise
    data.patch_index = next(k for k, patch in enumerate(data.patches) if patch.unmatched)
    return 1.5


def other_limits():
    """Limits that let the flash pass: judged anew in a thread."""
    picture("margin_2_results")
    chosen = settings()
    FACTS["before"] = [verdict("margin").verdict, verdict("margin").tolerance_um]
    chosen.tolerance_margin_um = 150.0
    chosen.max_unmatched_um, chosen.max_unmatched_mm2 = 900.0, 90.0
    FACTS["at_once"] = verdict("margin").tolerance_um
    FACTS["started"] = time.monotonic()
    return 0.1


def judged():
    """Wait until the verdicts are those of the new limits, as long as a busy machine may take."""
    waited = time.monotonic() - FACTS["started"]
    if verdict("margin").tolerance_um != 150.0 and waited < 60.0:
        return None
    FACTS["after"] = [verdict("margin").verdict, verdict("margin").tolerance_um]
    return 1.5


def below():
    """The design alone, from below."""
    picture("margin_3_judged")
    settings().shown = "DESIGN"
    look_at(design(), "BOTTOM")
    scroll("up", 300)
    return 2.0


def turn_off():
    """In place of the line the areas; then neither."""
    picture("margin_4_below")
    settings().show_areas = True
    FACTS["margin_with_areas"] = settings().show_margin
    settings().show_areas = False
    return 1.5


def end():
    """Write what was noted."""
    FACTS["legend_after"] = legend()
    return -1.0


STEPS = [
    prepare,
    wait_for_job,
    look,
    close_panel,
    clicked,
    turn_on,
    shown,
    choose_patch,
    other_limits,
    judged,
    below,
    turn_off,
    end,
]


run(STEPS)
