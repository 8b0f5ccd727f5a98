"""``cuspwise study`` without pictures against the same study written with open3d and scipy.

24 crowns in three groups, about 150,000 triangles each, and all 84 pairs within groups. Both run
as whole processes on two processors; ours, besides, finds areas and writes tables, statistics,
figures and the page. Not part of the short form: one round takes about six minutes. Memory is that
of our largest process, with 12 and with 24 crowns. A second row does all that a study does by
default; a third tells from three sizes what one more crown and one more pair cost.
"""

from __future__ import annotations

import csv
import json
import math
import shutil
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.study_groups import GROUPS as DEMO_GROUPS
from cuspwise.standalone_core.demo.study_scenario import StudyCase, study_case
from cuspwise.standalone_core.mesh.write import write_mesh
from peers import installed
from processes import call
from ratios import NO_PEER, Row

PEER = Path(__file__).with_name("open3d_study.py")
EDGE_MM = 0.0816
SPACING_MM = 0.15
"""Longer than all edges: both measure at the design's vertices."""
GOAL = 2.0
GROUPS = ("milled", "upright", "tilted")
WHAT = "study, 24 crowns of 150k triangles, 84 pairs"
DOES = (
    "Both: read, superimpose, signed distances, measures of every crown and every pair, on two"
    " processors. Ours alone: repair, areas, what counts, statistics, tables, figures, page; no"
    " causes, no pictures of crowns"
)
GROWING = 6, 14, 30
COARSE_EDGE_MM, COARSE_SPACING_MM = 0.2, 0.3
SEED = 11


def compared(short: bool) -> list[Row]:
    """The study without causes and pictures, against the peer if it is there."""
    del short  # there is one form
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        case = study_case(EDGE_MM)
        write_study(case, folder, per_group=4)
        half_mb = call(ours(folder)).memory_mb
        write_study(case, folder, per_group=8)
        shutil.rmtree(folder / "out")
        done = call(ours(folder))
        note = f"largest process {half_mb:.0f} MB with 12 crowns, {done.memory_mb:.0f} MB with 24; "
        note += f"our CPU {done.cpu_s:.0f} s"
        row = Row(WHAT, NO_PEER, done.wall_s, math.nan, math.nan, GOAL, note, DOES, done.memory_mb)
        if not installed("open3d"):
            return [replace(row, goal=None)]
        command = [sys.executable, str(PEER), str(folder / "design.stl")]
        peer = call(command + [str(folder / group) for group in GROUPS])
        note += f", peer's {peer.cpu_s:.0f} s; "
        note += apart(json.loads(peer.output)["trueness"], folder / "out" / "tables")
        ratio = peer.wall_s / done.wall_s
        return [replace(row, peer="open3d + scipy", peer_s=peer.wall_s, ratio=ratio, note=note)]


def whole(short: bool) -> list[Row]:
    """The same study with all that it does by default."""
    del short
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_study(study_case(EDGE_MM), folder, per_group=8, find_causes=True)
        done = call(ours(folder)[:-1])
        what, does = f"{WHAT}, causes and pictures", "Ours alone: all that a study does by default"
        note = f"our CPU {done.cpu_s:.0f} s"
        nan = math.nan
        row = Row(what, NO_PEER, done.wall_s, nan, nan, None, note, does, done.memory_mb)
        return [row]


def growth(short: bool) -> list[Row]:
    """What one more crown and one more pair cost: CPU of studies of three sizes, one process."""
    del short
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        design = demo_crown(COARSE_EDGE_MM)
        write_mesh(folder / "design.stl", design.mesh)
        done, terms = [], []
        for count in GROWING:
            write_grown(design, folder, count)
            shutil.rmtree(folder / "out", ignore_errors=True)
            done.append(call([*ours(folder, workers=1)]))
            terms.append([1.0, 2.0 * count, count * (count - 1.0)])
        start_s, crown_s, pair_s = np.linalg.solve(terms, [one.cpu_s for one in done])
    faces, largest = len(design.mesh), max(one.memory_mb for one in done)
    note = f"CPU: {crown_s:.3f} s a crown, {pair_s:.4f} s a pair, {start_s:.1f} s besides; "
    note += ", ".join(f"2 × {n}: {one.cpu_s:.1f} s" for n, one in zip(GROWING, done, strict=True))
    what = f"study, 2 × {GROWING[-1]} crowns of {faces / 1000:.0f}k triangles, one process"
    nan, does = math.nan, DOES.replace("two processors", "one process")
    return [Row(what, NO_PEER, done[-1].wall_s, nan, nan, None, note, does, largest)]


def ours(folder: Path, workers: int = 2) -> list[str]:
    command = [sys.executable, "-m", "cuspwise.standalone_core", "study"]
    command += [str(folder / "study.toml"), "--out", str(folder / "out")]
    return [*command, "--workers", str(workers), "--no-pictures"]


def write_grown(design: DemoCrown, folder: Path, count: int) -> None:
    """Write so many crowns for each of two groups, but those that are there, and the study file."""
    for number, group in enumerate(DEMO_GROUPS[:2]):
        (folder / group.name).mkdir(exist_ok=True)
        for crown in range(count):
            rng = np.random.default_rng([SEED, number, crown])
            file = folder / group.name / f"{crown:02d}.stl"
            if not file.exists():
                errors = group.errors(rng)
                write_mesh(file, produce(design, errors, edge_mm=COARSE_EDGE_MM, rng=rng).mesh)
    write_file(folder, tuple(group.name for group in DEMO_GROUPS[:2]), COARSE_SPACING_MM)


def write_study(
    case: StudyCase, folder: Path, per_group: int, *, find_causes: bool = False
) -> None:
    """Write the design, the first crowns of every group, and the study file."""
    write_mesh(folder / "design.stl", case.design.mesh)
    for group in GROUPS:
        (folder / group).mkdir(exist_ok=True)
        for scan in [scan for scan in case.scans if scan.group == group][:per_group]:
            if not (folder / scan.file).exists():
                write_mesh(folder / scan.file, case.produced(scan).mesh)
    write_file(folder, GROUPS, SPACING_MM, find_causes=find_causes)


def write_file(
    folder: Path, groups: tuple[str, ...], spacing_mm: float, *, find_causes: bool = False
) -> None:
    """Write the study file."""
    lines = ['design = "design.stl"']
    lines += [f'[groups.{group}]\nscans = ["{group}/*.stl"]' for group in groups]
    lines.append(f"[measuring]\nspacing_mm = {spacing_mm}")
    lines.append(f"[causes]\nfind_causes = {str(find_causes).lower()}\n")
    (folder / "study.toml").write_text("\n".join(lines), encoding="utf-8")


def apart(peer: dict[str, list[list[float]]], tables: Path) -> str:
    """Say how far the two are apart: mean absolute deviation of the whole crown, by group."""
    found: dict[str, list[float]] = {}
    with (tables / "trueness.csv").open(encoding="utf-8-sig") as stream:
        for row in csv.DictReader(stream):
            names = row["direction"], row["area"], row["measure"]
            if names == ("design_to_scan", "whole", "mean_abs_um"):
                found.setdefault(row["group"], []).append(float(row["value"]))
    pairs = [(np.mean(found[name]), np.mean(np.array(peer[name])[:, 0])) for name in GROUPS]
    texts = [f"{a:.2f}/{b:.2f}" for a, b in pairs]
    return f"mean |d| per group, ours/peer: {', '.join(texts)} µm"


ROWS = {"study": compared, "study_whole": whole, "study_growth": growth}
SHORT = ()
