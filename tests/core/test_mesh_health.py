"""Health and repair against closed forms and against defects put in on purpose."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.errors import MeshError
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.health import DEBRIS_AREA_SHARE, inspect_mesh
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh

SPHERE = trimesh.creation.icosphere(subdivisions=3, radius=5.0)


def _mesh(source: trimesh.Trimesh) -> TriangleMesh:
    return TriangleMesh(source.vertices, source.faces)


def _joined(*parts: TriangleMesh) -> TriangleMesh:
    offsets = np.cumsum([0, *(len(part.vertices) for part in parts)])
    return TriangleMesh(
        np.concatenate([part.vertices for part in parts]),
        np.concatenate([part.faces + k for part, k in zip(parts, offsets, strict=False)]),
    )


def _at(mesh: TriangleMesh, x: float, scale: float = 1.0) -> TriangleMesh:
    return TriangleMesh(mesh.vertices * scale + [x, 0, 0], mesh.faces)


def _cup() -> TriangleMesh:
    """Sphere without its lower part: open like an outer shell of a crown."""
    mesh = _mesh(SPHERE)
    return mesh.kept(mesh.triangles[:, :, 2].mean(axis=1) > -2.0)


# --- health ----------------------------------------------------------------------------------


def test_cube_has_its_area_volume_and_no_defect() -> None:
    report = inspect_mesh(_mesh(trimesh.creation.box(extents=(2, 3, 4))))
    assert (report.triangles, report.vertices, report.pieces) == (12, 8, 1)
    assert report.closed
    assert report.problems == ()
    assert report.size_mm == (2, 3, 4)
    assert report.area_mm2 == pytest.approx(2 * (2 * 3 + 3 * 4 + 4 * 2))
    assert report.volume_mm3 == pytest.approx(24)


def test_sphere_and_torus_tend_to_their_closed_forms() -> None:
    # 4πR², 4πR³/3; 4π²Rr, 2π²Rr². An inscribed surface is smaller, by less than 1 % here.
    sphere = inspect_mesh(_mesh(trimesh.creation.icosphere(subdivisions=4, radius=5.0)))
    torus = inspect_mesh(_mesh(trimesh.creation.torus(5, 2, major_sections=96, minor_sections=96)))
    for report, area, volume in (
        (sphere, 4 * np.pi * 25, 4 / 3 * np.pi * 125),
        (torus, 4 * np.pi**2 * 10, 2 * np.pi**2 * 20),
    ):
        assert 0.99 * area < report.area_mm2 < area
        assert report.volume_mm3 is not None
        assert 0.99 * volume < report.volume_mm3 < volume


def test_volume_does_not_depend_on_the_place() -> None:
    mesh = _mesh(SPHERE)
    far = TriangleMesh(mesh.vertices + np.array([1000.0, -2000.0, 500.0]), mesh.faces)
    assert far.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-9)


def test_open_shell_has_a_border_and_no_volume() -> None:
    box = _mesh(trimesh.creation.box(extents=(2, 3, 4)))
    report = inspect_mesh(box.kept(box.face_normals[:, 2] < 0.5))
    assert report.volume_mm3 is None
    assert not report.closed
    assert (report.borders, report.border_edges) == (1, 4)
    assert report.border_length_mm == pytest.approx(2 * (2 + 3))
    assert report.inward_pieces == 0


def test_defects_put_in_are_counted() -> None:
    mesh = _mesh(SPHERE)
    faces = mesh.faces.copy()
    faces[100:110] = faces[100:110, ::-1]
    again = faces[[3, 4, 5]][:, [1, 2, 0]]
    turned_again = faces[[9]][:, ::-1]
    without_area = [[0, 0, 1], [7, 7, 7]]
    report = inspect_mesh(
        TriangleMesh(mesh.vertices, np.concatenate([faces, again, turned_again, without_area]))
    )
    assert report.duplicate_faces == 4
    assert report.degenerate_faces == 2
    assert report.mixed_winding_edges > 0
    assert len(report.problems) == 4  # edges with more than two faces come with the duplicates
    assert "4 duplicate faces." in report.problems


def test_debris_is_counted_by_its_share_of_area() -> None:
    mesh = _mesh(SPHERE)
    just_debris = np.sqrt(DEBRIS_AREA_SHARE) * 0.99
    no_debris = np.sqrt(DEBRIS_AREA_SHARE) * 1.01
    report = inspect_mesh(_joined(mesh, _at(mesh, 20, just_debris), _at(mesh, 40, no_debris)))
    assert report.pieces == 3
    assert (report.debris_pieces, report.debris_triangles) == (1, len(mesh))


def test_reports_agree_with_trimesh(shared_meshes: Path) -> None:
    for path in sorted((shared_meshes / "teeth").glob("*.obj")):
        mesh = read_mesh(path).mesh
        reference = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
        report = inspect_mesh(mesh)
        assert report.closed == reference.is_watertight
        assert (report.mixed_winding_edges == 0) == reference.is_winding_consistent
        assert report.area_mm2 == pytest.approx(reference.area, rel=1e-12)
        assert report.volume_mm3 == pytest.approx(reference.volume, rel=1e-9)


# --- repair ----------------------------------------------------------------------------------


def test_sound_mesh_is_handed_back_as_it_is() -> None:
    mesh = _mesh(SPHERE)
    repair = repair_mesh(mesh)
    assert repair.mesh is mesh
    assert repair.actions == ()
    assert repair.warnings == ()


@pytest.mark.parametrize("seed", range(5))
def test_any_faces_turned_round_come_back(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = _joined(_mesh(SPHERE), _at(_mesh(SPHERE), 20, 0.5))
    turned = rng.random(len(mesh)) < rng.random()
    faces = np.where(turned[:, None], mesh.faces[:, ::-1], mesh.faces)
    repair = repair_mesh(TriangleMesh(mesh.vertices, faces))
    assert repair.mesh.volume_mm3 == pytest.approx(mesh.volume_mm3)
    np.testing.assert_array_equal(np.sort(repair.mesh.faces, axis=1), np.sort(faces, axis=1))
    np.testing.assert_allclose(repair.mesh.face_normals, mesh.face_normals, atol=1e-12)


def test_inside_out_solid_is_turned() -> None:
    repair = repair_mesh(_mesh(SPHERE).flipped())
    assert repair.health.inward_pieces == 1
    assert repair.mesh.volume_mm3 > 0
    assert repair.actions == ("Turned 1 shell that was inside out.",)


def test_inside_out_scan_with_holes_is_turned() -> None:
    mesh = _mesh(SPHERE)
    holed = mesh.kept(np.random.default_rng(0).random(len(mesh)) > 0.03)
    assert inspect_mesh(holed).borders > 10
    repair = repair_mesh(holed.flipped())
    np.testing.assert_allclose(repair.mesh.face_normals, holed.face_normals)


def test_open_shell_keeps_its_winding_and_the_hollow_side_is_said() -> None:
    outer = repair_mesh(_cup())
    assert outer.actions == ()
    assert outer.warnings == ()
    inner = repair_mesh(_cup().flipped())
    assert inner.actions == ()
    assert "look into its hollow" in inner.warnings[0]


def test_mixed_winding_of_an_open_shell_follows_the_larger_area() -> None:
    cup = _cup()
    faces = cup.faces.copy()
    faces[cup.triangles[:, 0, 2] > 3.0] = faces[cup.triangles[:, 0, 2] > 3.0][:, ::-1]
    repair = repair_mesh(TriangleMesh(cup.vertices, faces))
    np.testing.assert_array_equal(repair.mesh.face_normals, cup.face_normals)


def test_wall_of_a_void_stays_turned_inward() -> None:
    solid = _mesh(SPHERE)
    hollow = _joined(solid, _at(solid, 1.0, 0.5).flipped())
    repair = repair_mesh(hollow)
    assert repair.actions == ()
    assert repair.mesh.volume_mm3 == pytest.approx(solid.volume_mm3 * (1 - 1 / 8))
    beside = _joined(solid, _at(solid, 20.0, 0.5).flipped())
    assert repair_mesh(beside).mesh.volume_mm3 == pytest.approx(solid.volume_mm3 * (1 + 1 / 8))


def test_duplicates_and_faces_without_area_are_dropped() -> None:
    mesh = _mesh(SPHERE)
    extra = [*mesh.faces[[1, 2]], mesh.faces[3][::-1], [0, 0, 1]]
    vertices = np.concatenate([mesh.vertices, [[7, 7, 7]]])
    repair = repair_mesh(TriangleMesh(vertices, np.concatenate([mesh.faces, extra])))
    assert repair.actions == (
        "Left out 1 vertex without faces.",
        "Dropped 1 face without area.",
        "Dropped 3 duplicate faces.",
    )
    np.testing.assert_array_equal(repair.mesh.faces, mesh.faces)
    np.testing.assert_array_equal(repair.mesh.vertices, mesh.vertices)


def test_face_without_area_that_seals_a_crack_stays() -> None:
    # A box whose lid has an extra vertex in the middle of one side of one triangle only: the
    # flat triangle beside it closes the surface.
    corners = [[x, y, z] for x in (0, 4) for y in (0, 4) for z in (0, 4)]
    box = trimesh.convex.convex_hull(np.array(corners, dtype=float))
    mesh = _mesh(box)
    a, b, c = mesh.faces[0]
    middle = len(mesh.vertices)
    vertices = np.concatenate([mesh.vertices, [(mesh.vertices[a] + mesh.vertices[b]) / 2]])
    faces = np.concatenate([mesh.faces[1:], [[a, middle, c], [middle, b, c], [a, b, middle]]])
    repair = repair_mesh(TriangleMesh(vertices, faces))
    assert repair.health.degenerate_faces == 1
    assert inspect_mesh(repair.mesh).closed
    assert "1 face without area" in repair.warnings[0]


def test_double_sided_sheet_becomes_single() -> None:
    cup = _cup()
    sheet = TriangleMesh(cup.vertices, np.concatenate([cup.faces, cup.faces[:, ::-1]]))
    repair = repair_mesh(sheet)
    np.testing.assert_array_equal(repair.mesh.faces, cup.faces)


def test_equal_vertices_are_merged() -> None:
    mesh = _mesh(SPHERE)
    loose = TriangleMesh(mesh.triangles.reshape(-1, 3), np.arange(3 * len(mesh)).reshape(-1, 3))
    assert inspect_mesh(loose).pieces == len(mesh)
    repair = repair_mesh(loose)
    assert len(repair.mesh.vertices) == len(mesh.vertices)
    assert inspect_mesh(repair.mesh).closed


def test_debris_goes_on_request_only() -> None:
    mesh = _joined(_mesh(SPHERE), _at(_mesh(SPHERE), 20, 0.02))
    kept = repair_mesh(mesh)
    assert kept.mesh is mesh
    assert kept.warnings == ("Kept 1 debris piece with 1,280 triangles.",)
    dropped = repair_mesh(mesh, ignore_loose_pieces=True)
    assert dropped.actions == ("Dropped 1 debris piece.",)
    assert len(dropped.mesh) == len(SPHERE.faces)


def test_moebius_band_is_called_one_sided() -> None:
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    rim = np.stack(
        [
            np.stack(
                [
                    (5 + s * np.cos(turn / 2)) * np.cos(turn),
                    (5 + s * np.cos(turn / 2)) * np.sin(turn),
                    s * np.sin(turn / 2),
                ],
                axis=1,
            )
            for s in (-1.0, 1.0)
        ],
        axis=1,
    ).reshape(-1, 3)
    faces = []
    for k in range(40):
        a, b, c, d = 2 * k, 2 * k + 1, 2 * k + 2, 2 * k + 3
        if k == 39:
            c, d = 1, 0  # joined with half a turn
        faces += [[a, c, b], [b, c, d]]
    mesh = TriangleMesh(rim, faces)
    assert any("one side" in problem for problem in inspect_mesh(mesh).problems)
    repair = repair_mesh(mesh)
    assert repair.actions == ()
    assert any("Möbius" in warning for warning in repair.warnings)


def test_mesh_without_area_is_refused() -> None:
    line = TriangleMesh([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]], "line")
    empty = TriangleMesh(np.zeros((3, 3)), np.zeros((0, 3), dtype=int), "empty")
    for mesh in (line, empty):
        with pytest.raises(MeshError, match="no triangle with an area") as caught:
            repair_mesh(mesh)
        assert caught.value.subject == mesh.name
