"""A small study of real meshes in a folder, quick enough to be run again and again."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

import numpy as np
from cuspwise.standalone_core.demo.die import DemoDie, demo_die
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise, Wave
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.mesh.write import write_mesh
from made.crowns import demo_crown

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
"""With causes; what looks at something else is quicker without, see :data:`NO_CAUSES`."""

NO_CAUSES = "[causes]\nfind_causes = false\n"


def write_small_study(
    folder: Path, groups: Mapping[str, int], text: str = STUDY + NO_CAUSES
) -> Path:
    """Write a design, scans of produced crowns and a study file; return the study file."""
    for name, mesh in _meshes(tuple(groups.items())).items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        write_mesh(file, mesh)
    file = folder / "study.toml"
    file.write_text(text, encoding="utf-8")
    return file


@cache
def small_die() -> DemoDie:
    """The die that the small study's design was made for, with 50 µm of cement space all over."""
    return demo_die(demo_crown(EDGE_MM), cement_um=50.0, margin_um=50.0, edge_mm=EDGE_MM)


@cache
def _meshes(groups: tuple[tuple[str, int], ...]) -> dict[str, TriangleMesh]:
    """The design and the groups' scans under their files' names, made once a process."""
    design = demo_crown(EDGE_MM)
    meshes = {"design.stl": design.mesh}
    rng = np.random.default_rng(11)
    for group, count in groups:
        for k in range(count):
            errors = ProductionErrors(
                waves=(Wave((0.2, 0.5, 1.0), 9.0, 8.0 + 2.0 * k, 75.0),),
                scale=(0.998,) * 3 if group == "b" else (1.0,) * 3,
                noise=ScannerNoise(2.0),
            )
            crown = produce(design, errors, edge_mm=EDGE_MM, rng=rng)
            meshes[f"{group}/{k}.stl"] = crown.mesh
    return meshes


def written(out: Path) -> dict[str, bytes]:
    """All that a study wrote for readers, but for the page, which bears its date."""
    files = [f for f in sorted(out.rglob("*")) if f.is_file() and "kept" not in f.parts]
    return {f.relative_to(out).as_posix(): f.read_bytes() for f in files if f.name != "report.html"}
