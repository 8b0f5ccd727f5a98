"""A small study of real meshes in a folder, quick enough to be run again and again."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise, Wave
from cuspwise.standalone_core.mesh.write import write_mesh

EDGE_MM = 0.4

STUDY = """\
title = "Small"
design = "design.stl"
[groups.a]
scans = ["a/*.stl"]
[groups.b]
scans = ["b/*.stl"]
[analysis]
areas = ["whole", "margin"]
measures = ["mean_abs_um"]
resamples = 200
[equivalence_um]
default = 10
[measuring]
spacing_mm = 0.4
"""


def write_small_study(folder: Path, groups: Mapping[str, int], text: str = STUDY) -> Path:
    """Write a design, scans of produced crowns and a study file; return the study file."""
    design = demo_crown(EDGE_MM)
    folder.mkdir(parents=True, exist_ok=True)
    write_mesh(folder / "design.stl", design.mesh)
    rng = np.random.default_rng(11)
    for group, count in groups.items():
        (folder / group).mkdir()
        for k in range(count):
            errors = ProductionErrors(
                waves=(Wave((0.2, 0.5, 1.0), 9.0, 8.0 + 2.0 * k, 75.0),),
                scale=(0.998,) * 3 if group == "b" else (1.0,) * 3,
                noise=ScannerNoise(2.0),
            )
            crown = produce(design, errors, edge_mm=EDGE_MM, rng=rng)
            write_mesh(folder / group / f"{k}.stl", crown.mesh)
    file = folder / "study.toml"
    file.write_text(text, encoding="utf-8")
    return file


def written(out: Path) -> dict[str, bytes]:
    """All that a study wrote for readers, but for the page, which bears its date."""
    files = [f for f in sorted(out.rglob("*")) if f.is_file() and "kept" not in f.parts]
    return {f.relative_to(out).as_posix(): f.read_bytes() for f in files if f.name != "report.html"}
