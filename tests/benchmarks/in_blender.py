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

    vertices, faces = ring(309)
    mesh = bpy.data.meshes.new("crown")
    mesh.from_pydata(vertices.tolist(), [], faces.tolist())
    scan = bpy.data.objects.new("crown", mesh)
    bpy.context.scene.collection.objects.link(scan)
    values = np.random.default_rng(1).normal(scale=0.02, size=len(vertices))
    times = []
    for number in range(ROUNDS):
        start = time.perf_counter()
        paint(scan, deviation_colours(values, 0.05 + 0.01 * number, "standard"))
        times.append(time.perf_counter() - start)
    note = f"Blender {bpy.app.version_string}, {len(faces)} triangles"
    print(json.dumps({"register": register_s, "recolour": median(times[1:]), "note": note}))


def ring(count: int) -> tuple[np.ndarray, np.ndarray]:
    """A closed ring of count² points and twice as many triangles."""
    angle = 2.0 * np.pi * np.arange(count) / count
    around, about = np.meshgrid(angle, angle)
    out = 5.0 + 2.0 * np.cos(about)
    points = np.stack([out * np.cos(around), out * np.sin(around), 2.0 * np.sin(about)], axis=-1)
    number = np.arange(count * count).reshape(count, count)
    after, above = np.roll(number, -1, axis=1), np.roll(number, -1, axis=0)
    both = np.roll(above, -1, axis=1)
    faces = [
        np.stack(corners, axis=-1) for corners in ((number, after, both), (number, both, above))
    ]
    return points.reshape(-1, 3), np.concatenate(faces).reshape(-1, 3)


if __name__ == "__main__":
    main()
