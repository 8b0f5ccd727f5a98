"""``cuspwise study`` without pictures against the same study written with open3d and scipy.

24 crowns in three groups, about 150,000 triangles each, and all 84 pairs within groups. Both run
as whole processes on two processors; ours, besides, finds areas and writes tables, statistics,
figures and the page. Not part of the short form: one round takes about six minutes. Memory is that
of our largest process, with 12 and with 24 crowns.
"""

from __future__ import annotations

import csv
import json
import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np
from bench_check import call
from cuspwise.standalone_core.demo.study_scenario import StudyCase, study_case
from cuspwise.standalone_core.mesh.write import write_mesh
from peers import installed
from ratios import Row, seconds

PEER = Path(__file__).with_name("open3d_study.py")
EDGE_MM = 0.0816
SPACING_MM = 0.15
"""Longer than all edges: both measure at the design's vertices."""
GOAL = 2.0
GROUPS = ("milled", "upright", "tilted")


def run(short: bool) -> list[Row]:
    """One row; none in the short form or without the peer."""
    if short or not installed("open3d"):
        return []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        case = study_case(EDGE_MM)
        write_study(case, folder, per_group=4)
        half_mb = call(ours(folder))[1]
        write_study(case, folder, per_group=8)
        shutil.rmtree(folder / "out")
        found: dict[str, str] = {}
        peak_mb: list[float] = []
        our_s = seconds(lambda: peak_mb.append(call(ours(folder))[1]))
        peer = [sys.executable, str(PEER), str(folder / "design.stl")]
        peer += [str(folder / group) for group in GROUPS]
        peer_s = seconds(lambda: found.update(peer=call(peer)[0]))
        note = f"largest process {half_mb:.0f} MB with 12 crowns, {peak_mb[0]:.0f} MB with 24; "
        note += apart(json.loads(found["peer"])["trueness"], folder / "out" / "tables")
        return [
            Row(
                what="study, 24 crowns of 150k triangles, 84 pairs",
                peer="open3d + scipy",
                ours_s=our_s,
                peer_s=peer_s,
                ratio=peer_s / our_s,
                goal=GOAL,
                note=note,
            )
        ]


def ours(folder: Path) -> list[str]:
    command = [sys.executable, "-m", "cuspwise.standalone_core", "study"]
    command += [str(folder / "study.toml"), "--out", str(folder / "out")]
    return [*command, "--workers", "2", "--no-pictures"]


def write_study(case: StudyCase, folder: Path, per_group: int) -> None:
    """Write the design, the first crowns of every group, and the study file."""
    write_mesh(folder / "design.stl", case.design.mesh)
    for group in GROUPS:
        (folder / group).mkdir(exist_ok=True)
        for scan in [scan for scan in case.scans if scan.group == group][:per_group]:
            if not (folder / scan.file).exists():
                write_mesh(folder / scan.file, case.produced(scan).mesh)
    lines = ['design = "design.stl"']
    lines += [f'[groups.{group}]\nscans = ["{group}/*.stl"]' for group in GROUPS]
    lines.append(f"[measuring]\nspacing_mm = {SPACING_MM}\n")
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
