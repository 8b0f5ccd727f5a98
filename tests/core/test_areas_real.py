"""Areas of real teeth; skipped where the folder of real meshes is absent."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import AreaSet, AreaSettings
from cuspwise.standalone_core.areas.find import find_areas
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation


def load(path: Path) -> TriangleMesh:
    return read_mesh(path, unit="mm").mesh


def areas_of(mesh: TriangleMesh, settings: AreaSettings | None = None) -> AreaSet:
    return find_areas(evaluation_mesh(mesh), settings)


def along(points: np.ndarray, step_mm: float = 0.01) -> np.ndarray:
    """A closed polyline as dense points."""
    following = np.roll(points, -1, axis=0)
    count = int(np.linalg.norm(following - points, axis=1).max() / step_mm) + 2
    share = np.arange(count)[None, :, None] / count
    return (points[:, None] + share * (following - points)[:, None]).reshape(-1, 3)


def test_incisor_margin_follows_its_published_cervical_outline(shared_meshes: Path) -> None:
    """Micro-CT of an upper incisor (R package Toothnroll, GPL-2): cap and outline published.

    The outline was drawn on the cervical line between enamel and dentine and does not lie on
    the enamel cap: its points are 63 µm from the cap's nearest vertex. The margin line found is
    the cap's border; measured, the two are 62 and 58 µm apart on average and 143 and 137 µm at
    most (from and to the margin line), so that 30 µm cannot be reached by any line on the cap.
    """
    mesh = load(shared_meshes / "crowns" / "incisor_enamel_cap.ply")
    outline = np.loadtxt(
        shared_meshes / "crowns" / "incisor_cervical_outline.csv", delimiter=",", skiprows=1
    )
    area_set = areas_of(mesh)
    assert area_set.margin_line is not None
    margin, published = along(area_set.margin_line.points_mm), along(outline)
    there = cKDTree(published).query(margin)[0]
    back = cKDTree(margin).query(published)[0]
    assert there.mean() < 0.065
    assert back.mean() < 0.060
    assert max(there.max(), back.max()) < 0.150
    # Nothing else of the cap is nearer to the outline than its margin line.
    cap = evaluation_mesh(mesh, 0.05).points
    nearest = cKDTree(cap).query(published)[0]
    assert back.mean() - nearest.mean() < 0.010
    assert area_set.margin_line.length_mm == pytest.approx(
        np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1).sum(), rel=0.10
    )
    assert any("4 border loops" in text for text in area_set.warnings)


def test_incisor_cap_lies_on_its_dentine_like_a_crown_on_its_die(shared_meshes: Path) -> None:
    """The path of insertion points from the dentine's root to the incisal edge."""
    cap = load(shared_meshes / "crowns" / "incisor_enamel_cap.ply")
    dentine = load(shared_meshes / "crowns" / "incisor_dentine.ply")
    insertion = areas_of(cap).insertion
    assert insertion is not None
    root_to_edge = cap.vertices.mean(axis=0) - dentine.vertices.mean(axis=0)
    cosine = insertion @ root_to_edge / np.linalg.norm(root_to_edge)
    assert np.degrees(np.arccos(cosine)) < 20.0


def test_molar_caps_axis_is_square_to_the_published_occlusal_plane(shared_meshes: Path) -> None:
    """The authors (R package molaR) laid the occlusal plane parallel to xy."""
    area_set = areas_of(load(shared_meshes / "crowns" / "small_molar_cap.ply"))
    assert area_set.insertion is not None
    assert np.degrees(np.arccos(area_set.insertion[2])) < 20.0
    assert {"external", "occlusal", "axial", "margin", "fossae"} <= set(area_set.areas)
    assert "open shell" in area_set.missing["intaglio"]
    points = area_set.evaluation.points
    middle = {name: points[area_set[name].points].mean(axis=0)[2] for name in area_set.areas}
    assert middle["margin"] < middle["axial"] < middle["occlusal"]
    assert middle["fossae"] < middle["occlusal"]


@pytest.mark.parametrize("name", ["dentine_original", "dentine_clipped"])
def test_worn_pair_is_a_shell_with_one_border(shared_meshes: Path, name: str) -> None:
    """Its margin line is the whole border: 814 and 806 edges by the folder's own list."""
    mesh = load(shared_meshes / "worn_pair" / f"{name}.ply")
    area_set = areas_of(mesh)
    assert area_set.margin_line is not None
    edges = {"dentine_original": 814, "dentine_clipped": 806}[name]
    assert len(area_set.margin_line.points_mm) == edges
    assert "open shell" in area_set.missing["intaglio"]
    assert area_set.area_mm2("external") == pytest.approx(mesh.area_mm2, rel=1e-9)


@pytest.mark.parametrize("tooth", ["FDI11", "FDI16", "FDI36"])
def test_solid_teeth_have_no_intaglio(shared_meshes: Path, tooth: str) -> None:
    """Natural crowns, closed below by the authors: their base is a shallow dish, no cavity."""
    mesh = load(shared_meshes / "teeth" / f"sj_crown_{tooth}.obj")
    area_set = areas_of(mesh)
    assert "no cavity" in area_set.missing["intaglio"]
    assert area_set.margin_line is None
    assert area_set.insertion is None
    assert list(area_set.areas) == ["whole", "external"]


def test_real_shell_turned_gives_the_same_areas(shared_meshes: Path) -> None:
    mesh = load(shared_meshes / "crowns" / "small_molar_cap.ply")
    upright = areas_of(mesh)
    for seed in range(3):
        motion = np.eye(4)
        motion[:3, :3] = Rotation.random(random_state=seed).as_matrix()
        turned = areas_of(mesh.moved(motion))
        weights = upright.evaluation.weights_mm2
        for name in upright.areas:
            one, other = upright[name].points, turned[name].points
            assert weights[one & other].sum() > 0.99 * weights[one | other].sum(), name


def closed_crown_of(cap: TriangleMesh, thickness_mm: float) -> tuple[TriangleMesh, np.ndarray]:
    """Thicken a cap inward to a closed crown; small holes are filled first.

    Returns the crown and its true margin line, the outer edge of its flat rim.
    """
    vertices, faces = cap.vertices, [cap.faces]
    longest, *holes = sorted(cap.graph.border_loops, key=len, reverse=True)
    for hole in holes:
        middle = len(vertices)
        vertices = np.vstack([vertices, vertices[hole].mean(axis=0)])
        faces.append(np.column_stack([np.roll(hole, -1), hole, np.full(len(hole), middle)]))
    outer = TriangleMesh(vertices, np.vstack(faces))
    inner = vertices - thickness_mm * outer.vertex_normals
    count, following = len(vertices), np.roll(longest, -1)
    rim = [
        np.column_stack([following, longest, longest + count]),
        np.column_stack([following, longest + count, following + count]),
    ]
    all_faces = np.vstack([outer.faces, outer.faces[:, ::-1] + count, *rim])
    return TriangleMesh(np.vstack([vertices, inner]), all_faces), vertices[longest]


@pytest.mark.parametrize("thickness_mm", [0.08, 0.15, 0.4])
def test_incisor_cap_made_a_closed_crown(shared_meshes: Path, thickness_mm: float) -> None:
    """A front tooth: a margin that rises 3 mm between the teeth, an intaglio with undercuts."""
    cap = load(shared_meshes / "crowns" / "incisor_enamel_cap.ply")
    crown, true_margin = closed_crown_of(cap, thickness_mm)
    area_set = areas_of(crown)
    assert area_set.margin_line is not None
    margin, true = along(area_set.margin_line.points_mm), along(true_margin)
    there = cKDTree(true).query(margin)[0]
    back = cKDTree(margin).query(true)[0]
    assert max(there.mean(), back.mean()) < 0.030
    assert max(there.max(), back.max()) < 0.150
    is_outer = np.arange(len(crown.vertices)) < len(crown.vertices) // 2
    outer = area_set.evaluation.interpolate(is_outer.astype(float)) > 0.5
    weights, found = area_set.evaluation.weights_mm2, area_set["external"].points
    assert weights[outer & found].sum() > 0.95 * weights[outer | found].sum()
