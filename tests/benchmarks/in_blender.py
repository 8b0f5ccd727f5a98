"""Run by a Python with bpy: how long registering and recolouring take, as JSON on the last line."""

from __future__ import annotations

import json
import time
from statistics import median

import bpy
import numpy as np

ROUNDS = 7


def main() -> None:
    """Time both; the extension's package must be importable as ``cuspwise``."""
    start = time.perf_counter()
    import cuspwise

    cuspwise.register()
    register_s = time.perf_counter() - start
    from cuspwise.addon.drawing.painting import paint
    from cuspwise.standalone_core.report.drawing.deviation_colours import deviation_colours

    crown = cuspwise.demo_crown(edge_mm=0.0725).mesh
    mesh = bpy.data.meshes.new("crown")
    mesh.from_pydata(crown.vertices.tolist(), [], crown.faces.tolist())
    scan = bpy.data.objects.new("crown", mesh)
    bpy.context.scene.collection.objects.link(scan)
    values = np.random.default_rng(1).normal(scale=0.02, size=len(crown.vertices))
    times = []
    for number in range(ROUNDS):
        start = time.perf_counter()
        paint(scan, deviation_colours(values, 0.05 + 0.01 * number, "standard"))
        times.append(time.perf_counter() - start)
    note = f"Blender {bpy.app.version_string}, {len(crown)} triangles"
    print(json.dumps({"register": register_s, "recolour": median(times[1:]), "note": note}))


if __name__ == "__main__":
    main()
