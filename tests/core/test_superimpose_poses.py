"""A moved copy comes back from any pose.

Quick tests try three random poses of each shape, slow ones as many as the environment variable
CUSPWISE_POSES says: 100 in CI, 20 without it.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import made.superimpose_shapes as shapes
import numpy as np
import pytest
from cuspwise.standalone_core.mesh.files import read_mesh, write_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.superimposition import superimpose
from made.tiers import slow

MANY = slow(int(os.environ.get("CUSPWISE_POSES", "20")), id="many")
POSES = pytest.mark.parametrize("poses", [3, MANY])
TEETH = ("sj_crown_FDI11.obj", "sj_crown_FDI16.obj", "sj_crown_FDI36.obj")


@cache
def demo_parts() -> dict[str, TriangleMesh]:
    return shapes.parts_of_demo_crown(0.3)


@cache
def demo_design() -> PreparedDesign:
    return shapes.prepared(demo_parts()["whole"])


def check_poses(
    scan: TriangleMesh, design: PreparedDesign, poses: int, seed: int, folder: Path
) -> None:
    """Every pose comes back: by turns from float64 arrays and through a binary STL file."""
    failed = []
    for number, pose in enumerate(shapes.random_poses(poses, seed)):
        moved, bound_um = scan.moved(pose), 0.01
        if number % 2:
            file = write_mesh(folder / "scan.stl", moved)
            moved, bound_um = read_mesh(file, unit="mm").mesh, 0.5
        found = superimpose(moved, design)
        error_um = shapes.return_error_um(found.T_design_scan, pose, scan)
        if error_um > bound_um or found.verdict != "good":
            failed.append((number, error_um, found.verdict, found.reason))
    assert not failed


@pytest.mark.timeout(3600)
@POSES
@pytest.mark.parametrize("part", ["whole", "no intaglio", "a fifth missing"])
def test_the_demo_crown_comes_back(tmp_path, part, poses):
    check_poses(demo_parts()[part], demo_design(), poses, len(part), tmp_path)


@pytest.mark.timeout(3600)
@POSES
@pytest.mark.parametrize("name", [TEETH[1], *(slow(name) for name in TEETH[::2])])
def test_real_closed_crowns_come_back(shared_meshes, tmp_path, name, poses):
    crown = shapes.real_mesh(shared_meshes / "teeth" / name)
    check_poses(crown, shapes.prepared(crown), poses, int(name[-6:-4]), tmp_path)


def test_a_scan_with_other_triangles_comes_back():
    """No vertex of the scan is one of the design's: points spread over the design's faces."""
    rng = np.random.default_rng(0)
    design = demo_design()
    flat = design.index.mesh
    middle = flat.triangles.transpose(0, 2, 1) @ rng.dirichlet([2.0, 2.0, 2.0])
    # every face apart from the others, shrunk about an inner point
    faces = np.arange(3 * len(flat.faces)).reshape(-1, 3)
    shrunk = middle[:, None, :] + 0.6 * (flat.triangles - middle[:, None, :])
    scan = TriangleMesh(shrunk.reshape(-1, 3), faces)
    for pose in shapes.random_poses(5, seed=8):
        found = superimpose(scan.moved(pose), design)
        assert shapes.return_error_um(found.T_design_scan, pose, scan) <= 0.01
        assert found.verdict == "good"
