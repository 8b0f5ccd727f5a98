"""``cuspwise check`` without pictures against the same job written with open3d.

Both run as whole processes on the same two binary STL files: a demo crown and its scan in an
unknown pose, with known errors and 2 µm of noise. Times are the wall time of the process, imports
included; ours writes all tables, the page and the coloured meshes, the peer prints three measures.
How far each is from the truth is told by the whole crown's RMS, which the formulae give.
"""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
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
from ratios import THREAD_NAMES, Row, alternate

PEER = Path(__file__).with_name("open3d_pipeline.py")
EDGES_MM = {
    "190k triangles each": 0.0725,
    "500k triangles each": 0.0447,
    "2M triangles each": 0.02235,
}
GOAL = 2.0
SEED = 20

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


def run(short: bool) -> list[Row]:
    """One row per size and one of crowded rows; the short form has the first size only."""
    if not installed("open3d"):
        return []
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as folder:
        for name, edge_mm in list(EDGES_MM.items())[: 1 if short else None]:
            pair = make_pair(Path(folder), edge_mm)
            rounds = 3 if short else 7 if name.startswith("190k") else 2
            rows.append(compare(name, pair, Path(folder) / "out", rounds))
        pair = make_crowded_pair(Path(folder))
        rows.append(compare("187k and 280k in crowded rows", pair, Path(folder) / "out", 3))
    return rows


def make_pair(folder: Path, edge_mm: float) -> Pair:
    """Write design and scan as binary STL, with the RMS after the ideal fit by the formulae."""
    crown = demo_crown(edge_mm)
    produced = produce(crown, ERRORS, edge_mm=edge_mm, rng=np.random.default_rng(SEED))
    true = true_rms_um(produced.surface)
    pair = Pair(folder / "design.stl", folder / "scan.stl", true)
    write_mesh(pair.design, crown.mesh)
    write_mesh(pair.scan, produced.mesh)
    return pair


def make_crowded_pair(folder: Path) -> Pair:
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


def compare(name: str, pair: Pair, out: Path, rounds: int) -> Row:
    """Time both in turn and put what they found, and our memory, into the note."""
    ours = [sys.executable, "-m", "cuspwise.standalone_core", "check", str(pair.design)]
    ours += [str(pair.scan), "--no-pictures", "--no-causes", "--out", str(out)]
    peer = [sys.executable, str(PEER), str(pair.design), str(pair.scan)]
    found: dict[str, str] = {}

    def run_peer() -> None:
        found["peer"] = call(peer)[0]

    peak_mb: list[float] = []

    def run_ours() -> None:
        peak_mb.append(call(ours)[1])

    (row,) = alternate(
        f"check, {name}",
        run_ours,
        {"open3d pipeline": run_peer},
        rounds=rounds,
        goals={"open3d pipeline": GOAL},
    )
    peer_rms = json.loads(found["peer"])["measures"]["scan_to_design"]["rms_um"]
    note = f"RMS scan to design: ours {our_rms(out):.3f} µm, peer {peer_rms:.3f} µm"
    note += f", true {pair.true_rms_um:.3f} µm; our peak memory {max(peak_mb):.0f} MB"
    return Row(**{**row.__dict__, "note": note})


def call(command: list[str]) -> tuple[str, float]:
    """Run a process as its user would; its output and its peak memory in MB.

    How many threads linear algebra has is left to the process: what this one was given for the
    benchmarks inside it is not handed on.
    """
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    surroundings = {name: text for name, text in os.environ.items() if name not in THREAD_NAMES}
    process = subprocess.Popen(command, env=surroundings, text=True, **pipes)
    output = process.stdout.read() if process.stdout else ""
    message = process.stderr.read() if process.stderr else ""
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(command)} failed: {message[-2000:]}")
    return output, usage.ru_maxrss / 1024


def our_rms(out: Path) -> float:
    """The whole crown's RMS from scan to design, µm, from the table of measures."""
    with (out / "measures.csv").open(encoding="utf-8-sig") as stream:
        for row in csv.DictReader(stream):
            if (row["area"], row["direction"]) == ("whole", "scan_to_design"):
                return float(row["rms_um"])
    raise RuntimeError("measures.csv has no row for the whole crown")
