"""A moved copy comes back: 200 of 200 random poses for each shape.

Each sweep takes one to two minutes on two free cores, several times that on busy ones.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import superimpose_shapes as shapes
from cuspwise.standalone_core.mesh.files import read_mesh, write_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.superimposition import superimpose

POSES = 200
TEETH = ("sj_crown_FDI11.obj", "sj_crown_FDI16.obj", "sj_crown_FDI36.obj")


@cache
def demo_parts() -> dict[str, TriangleMesh]:
    return shapes.parts_of_demo_crown(0.3)


@cache
def demo_design() -> PreparedDesign:
    return shapes.prepared(demo_parts()["whole"])


def float32(mesh: TriangleMesh) -> TriangleMesh:
    """Coordinates as a binary STL stores them."""
    return TriangleMesh(mesh.vertices.astype(np.float32), mesh.faces)


def check_poses(scan: TriangleMesh, design: PreparedDesign, seed: int) -> None:
    """Every pose comes back, in turn as float64 and as the float32 of a binary STL."""
    failed = []
    for number, pose in enumerate(shapes.random_poses(POSES, seed)):
        moved = scan.moved(pose)
        bound_um = 0.01
        if number % 2:
            moved, bound_um = float32(moved), 0.5
        found = superimpose(moved, design)
        error_um = shapes.return_error_um(found.T_design_scan, pose, scan)
        if error_um > bound_um or found.verdict != "good":
            failed.append((number, error_um, found.verdict, found.reason))
    assert not failed


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("part", ["whole", "no intaglio", "a fifth missing"])
def test_the_demo_crown_comes_back(part):
    check_poses(demo_parts()[part], demo_design(), seed=len(part))


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("name", TEETH)
def test_real_closed_crowns_come_back(shared_meshes, name):
    crown = shapes.real_mesh(shared_meshes / "teeth" / name)
    check_poses(crown, shapes.prepared(crown), seed=int(name[-6:-4]))


@pytest.mark.parametrize("part", ["whole", "no intaglio", "a fifth missing"])
def test_comes_back_through_a_binary_stl_file(tmp_path, part):
    scan = demo_parts()[part]
    for pose in shapes.random_poses(5, seed=5):
        path = tmp_path / "scan.stl"
        write_mesh(path, scan.moved(pose))
        found = superimpose(read_mesh(path).mesh, demo_design())
        error_um = shapes.return_error_um(found.T_design_scan, pose, scan)
        assert 0.0 < error_um <= 0.5
        assert found.verdict == "good"


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
