"""``cuspwise check`` without causes and pictures against the same job written with open3d.

Both run as whole processes on the same two binary STL files: a demo crown and its scan in an
unknown pose, with known errors and 2 µm of noise. Times are the wall time of the process, imports
included; ours writes all tables, the page and the coloured meshes, the peer prints three measures.
How far each is from the truth is told by the whole crown's RMS, which the formulae give.
"""

from __future__ import annotations

import csv
import json
import sys
import tempfile
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.produced import ProducedSurface
from cuspwise.standalone_core.demo.production import produce, random_pose
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise, Wave
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.mesh.write import write_mesh
from lathe import crowded_rows
from oracle.true_measures import NoiseModel
from oracle.truth import truth_of
from peers import installed
from processes import Done, call
from ratios import Row, alternate

PEER = Path(__file__).with_name("open3d_pipeline.py")
SMALL = "190k triangles"
LATHE = "crowded rows, 187k + 280k triangles"
EDGES_MM = {SMALL: 0.0725, "500k triangles": 0.0447, "2M triangles": 0.02235}
QUICK = ("--no-pictures", "--no-causes")
CASES: dict[str, tuple[str, tuple[str, ...]]] = {
    "check": (SMALL, QUICK),
    "check_500k": ("500k triangles", QUICK),
    "check_2M": ("2M triangles", QUICK),
    "check_lathe": (LATHE, QUICK),
    "check_whole": (SMALL, ()),
}
"""By row: how large, and our options."""
GOAL = 2.0
SEED = 20
DOES = (
    "Both: read, superimpose from any pose, signed distances both ways. Ours alone: repair, areas,"
    " what counts, measures of all areas, verdict, tables, page and coloured meshes; no causes, no"
    " pictures"
)
DOES_ALL = "Ours alone: all that a check does, causes and pictures too"

ERRORS = ProductionErrors(
    waves=(
        Wave((1.0, 0.4, 0.2), 9.0, 6.0),
        Wave((0.2, 1.0, -0.5), 5.0, 4.0, 40.0),
        Wave((-0.3, 0.2, 1.0), 3.0, 3.0, 110.0),
    ),
    noise=ScannerNoise(2.0),
)


@dataclass(frozen=True)
class Pair:
    """The two files of one size."""

    design: Path
    scan: Path
    true_rms_um: float


def run(name: str, short: bool) -> list[Row]:
    """One row; without the peer none in the short form, ours alone in the full one."""
    if short and not installed("open3d"):
        return []
    size, options = CASES[name]
    with tempfile.TemporaryDirectory() as folder:
        make = make_lathe_pair if size == LATHE else partial(make_pair, edge_mm=EDGES_MM[size])
        pair = make(Path(folder))
        rounds = 3 if short else 7 if size == SMALL else 2
        return [compare(size, pair, Path(folder) / "out", rounds, options)]


def make_pair(folder: Path, edge_mm: float) -> Pair:
    """Write design and scan as binary STL, with the RMS after the ideal fit by the formulae."""
    crown = demo_crown(edge_mm)
    produced = produce(crown, ERRORS, edge_mm=edge_mm, rng=np.random.default_rng(SEED))
    true = true_rms_um(produced.surface)
    pair = Pair(folder / "design.stl", folder / "scan.stl", true)
    write_mesh(pair.design, crown.mesh)
    write_mesh(pair.scan, produced.mesh)
    return pair


def make_lathe_pair(folder: Path) -> Pair:
    """The same with both meshed in rows crowded at the margin: 187k and 280k triangles."""
    shape, rng = CrownShape(), np.random.default_rng(SEED)
    surface = ProducedSurface(shape, ERRORS)
    scan = crowded_rows(shape, surface.points, 318, 440, turn=0.007)
    noise = 1e-3 * ERRORS.noise.sigma_um * rng.normal(size=(len(scan.vertices), 1))
    scan = TriangleMesh(scan.vertices + noise * scan.vertex_normals, scan.faces, scan.name)
    pair = Pair(folder / "rows_design.stl", folder / "rows_scan.stl", true_rms_um(surface))
    write_mesh(pair.design, crowded_rows(shape, shape.points, 260, 360))
    write_mesh(pair.scan, scan.moved(random_pose(rng)))
    return pair


def true_rms_um(surface: ProducedSurface) -> float:
    """The whole crown's RMS after the ideal fit, by the formulae."""
    rows = truth_of(surface).measures("best_fit", noise=NoiseModel(ERRORS.noise.sigma_um))
    return {(row.area, row.direction): row.rms_um for row in rows}["whole", "scan_to_design"]


def compare(size: str, pair: Pair, out: Path, rounds: int, options: tuple[str, ...]) -> Row:
    """Time both in turn and put what they found, and what we took, into the note."""
    ours = [sys.executable, "-m", "cuspwise.standalone_core", "check", str(pair.design)]
    ours += [str(pair.scan), *options, "--out", str(out)]
    peer = [sys.executable, str(PEER), str(pair.design), str(pair.scan)]
    done: list[Done] = []
    found: dict[str, Done] = {}
    peers = {"open3d pipeline": lambda: found.update(peer=call(peer))}
    if not options or not installed("open3d"):
        peers = {}
    (row,) = alternate(
        f"check{'' if options else ' with causes and pictures'}, {size} each",
        lambda: done.append(call(ours)),
        peers,
        rounds=rounds,
        goals=dict.fromkeys(peers, GOAL),
        does=DOES if options else DOES_ALL,
    )
    note = f"RMS scan to design: ours {our_rms(out):.3f} µm"
    if found:
        measures = json.loads(found["peer"].output)["measures"]["scan_to_design"]
        note += f", peer {measures['rms_um']:.3f} µm"
    note += f", true {pair.true_rms_um:.3f} µm; our CPU {min(one.cpu_s for one in done):.2f} s"
    if found:
        note += f"; peer's memory {found['peer'].memory_mb:.0f} MB"
    return replace(row, note=note, memory_mb=max(one.memory_mb for one in done))


def our_rms(out: Path) -> float:
    """The whole crown's RMS from scan to design, µm, from the table of measures."""
    with (out / "measures.csv").open(encoding="utf-8-sig") as stream:
        for row in csv.DictReader(stream):
            if (row["area"], row["direction"]) == ("whole", "scan_to_design"):
                return float(row["rms_um"])
    raise RuntimeError("measures.csv has no row for the whole crown")


ROWS = {name: partial(run, name) for name in CASES}
SHORT = ("check",)
