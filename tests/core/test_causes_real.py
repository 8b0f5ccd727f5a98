"""Copies of real surfaces, scaled by a known factor, moved, and meshed anew."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.causes.result import CausesResult
from cuspwise.standalone_core.causes.settings import ProductionFacts
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.explain import explain
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.tiers import slow
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

SPACING_MM = 0.12
NAMES = (
    "crowns/small_molar_cap.ply",
    "crowns/incisor_enamel_cap.ply",
    "teeth/sj_crown_FDI11.obj",
    "teeth/sj_crown_FDI16.obj",
    "worn_pair/dentine_original.ply",
)
STAR_SHAPED = NAMES[1:4]
"""Nearly all of their surface is seen from the mean of their vertices."""


@cache
def surface(path: Path) -> TriangleMesh:
    return read_mesh(path).mesh


@cache
def split(mesh: TriangleMesh) -> TriangleMesh:
    """The same surface, its triangles split: these follow its own edges, and hide no sag."""
    return evaluation_mesh(mesh, SPACING_MM).mesh


@cache
def sampled(mesh: TriangleMesh) -> TriangleMesh:
    """Points on a star-shaped surface, joined as their directions are: its edges are cut off."""
    count = int(mesh.area_mm2 / (0.866 * SPACING_MM**2))
    plain = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    chosen = trimesh.sample.sample_surface(plain, 2 * count, seed=1)[0]
    box = np.floor(chosen / (0.75 * SPACING_MM)).astype(int)
    points = chosen[np.unique(box, axis=0, return_index=True)[1]]
    arms = points - mesh.vertices.mean(axis=0)
    arms /= np.linalg.norm(arms, axis=1, keepdims=True)
    faces = ConvexHull(arms).simplices
    corners = points[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inward = np.einsum("ij,ij->i", normals, arms[faces].mean(axis=1)) < 0.0
    faces[inward] = faces[inward][:, ::-1]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    return TriangleMesh(points, faces[longest < 6.0 * SPACING_MM])


def explained(design: TriangleMesh, copy: TriangleMesh, factor: float) -> CausesResult:
    """Causes of a scaled copy in any pose."""
    motion = np.eye(4)
    motion[:3, :3] = Rotation.from_rotvec([0.6, -1.1, 0.4]).as_matrix()
    motion[:3, 3] = 3.0, -8.0, 12.0
    scan = TriangleMesh(factor * copy.vertices, copy.faces).moved(motion)
    settings = CheckSettings(
        design_unit="mm",
        scan_unit="mm",
        spacing_mm=0.2,
        superimpose=SuperimposeSettings(look_for_rivals=False),
        production=ProductionFacts(enlargement=1.25),
    )
    result = check_meshes(design, scan, settings)
    assert result.superimposition.verdict == "good"
    assert not result.is_design
    return explain(result)


def hold_to(found: CausesResult, factor: float) -> None:
    """Scale is one of two answers, its interval holds the factor, and no factor follows."""
    scale, growth = found.of_family("scale"), found.of_family("growth")
    assert (scale.cause, scale.instead) == ("", "growth")
    assert (growth.cause, growth.instead) == ("", "scale")
    assert scale.low <= 1e3 * (factor - 1.0) <= scale.high
    # As wide as facets leave in doubt, and not wide enough to hold all that could be.
    assert scale.low * scale.high > 0.0
    assert growth.estimate * scale.estimate > 0.0
    assert found.corrections == ()
    assert any("look alike" in note for note in found.notes)
    assert not [one for one in found.stated if one.family not in ("scale", "growth", "supports")]


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        (NAMES[0], 0.997),
        *(slow(name, factor) for name in NAMES for factor in (0.998, 1.004)),
    ],
)
def test_the_interval_of_scale_or_growth_covers_the_factor(name, factor, shared_meshes):
    design = surface(shared_meshes / name)
    hold_to(explained(design, split(design), factor), factor)


MISSED = pytest.mark.xfail(strict=True, reason="the interval ends 0.07 ‰ short of the factor")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "factor"),
    [
        pytest.param(name, factor, marks=MISSED if (name, factor) == (NAMES[2], 0.997) else ())
        for name in STAR_SHAPED
        for factor in (0.997, 1.004)
    ],
)
def test_it_does_where_the_copy_has_points_of_its_own(name, factor, shared_meshes):
    design = surface(shared_meshes / name)
    hold_to(explained(design, sampled(design), factor), factor)


@pytest.mark.parametrize("name", [NAMES[0], *(slow(name) for name in NAMES[1:4])])
def test_a_copy_with_split_triangles_has_no_cause(name, shared_meshes):
    design = surface(shared_meshes / name)
    assert not causes(explained(design, split(design), 1.0))


@pytest.mark.slow
@pytest.mark.parametrize("name", STAR_SHAPED)
def test_a_copy_with_points_of_its_own_has_no_cause(name, shared_meshes):
    design = surface(shared_meshes / name)
    assert not causes(explained(design, sampled(design), 1.0))


def causes(found: CausesResult) -> list[str]:
    return [one.sentence for one in found.stated if one.family != "supports"]
