"""A tray for the tests: a coarse design, crowns made in two ways, and a scan that is none."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

EDGE_MM = SPACING_MM = 0.7  # coarse, for speed
GROUPS = (("Milled", "milled"), ("Printed", "tilted"))
BROKEN = "No surface"


def surfaces_of(part: Any) -> SimpleNamespace:
    """Return the design, and two crowns made in each of two ways, by name."""
    design = part("standalone_core.demo.crown").demo_crown(EDGE_MM)
    ways = part("standalone_core.demo.study_groups")
    produce = part("standalone_core.demo.production").produce
    made = {}
    for number, (title, way) in enumerate(GROUPS):
        rng = np.random.default_rng(20 + number)
        for crown in (1, 2):
            errors = getattr(ways, way)(rng)
            mesh = produce(design, errors, edge_mm=EDGE_MM, rng=rng).mesh
            made[f"{title} {crown}"] = (title, mesh)
    return SimpleNamespace(design=design.mesh, made=made)


def fill(extension: SimpleNamespace, found: SimpleNamespace) -> Any:
    """Fill a new file with the design and its crowns; return its settings."""
    import bpy

    settings = bpy.context.scene.cuspwise
    settings.design = extension.add_object("Design", found.design)
    settings.spacing_mm = SPACING_MM
    for name, (title, mesh) in found.made.items():
        item = settings.scans.add()
        item.scan, item.group = extension.add_object(name, mesh), title
    return settings


def add_broken(case: SimpleNamespace, at: int) -> Any:
    """List an object without faces, at this place of the list; return it."""
    bpy = case.bpy
    broken = bpy.data.objects.new(BROKEN, bpy.data.meshes.new(BROKEN))
    case.scene.collection.objects.link(broken)
    case.settings.scans.add().scan = broken
    case.settings.scans.move(len(case.settings.scans) - 1, at)
    return broken


def result(case: SimpleNamespace, scan: Any) -> Any:
    """What is kept of a scan."""
    return case.part("addon.check.store").result_of(scan)
