"""Surface over surface, with places, areas and distances known by formula; and no false alarm."""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import Debris, ProductionErrors, ScannerNoise
from cuspwise.standalone_core.demo.scenario import milled_errors, printed_errors
from cuspwise.standalone_core.mesh.columns import crossings_along_axes
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.health import inspect_mesh
from cuspwise.standalone_core.mesh.intersections import self_intersections
from cuspwise.standalone_core.mesh.layers import MIN_LAYER_AREA_MM2
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import FloatArray, TriangleMesh
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.crowns import demo_crown
from scipy.spatial.transform import Rotation

CASES = int(os.environ.get("CUSPWISE_CASES", "12"))
RADIUS = 5.0
SPHERE = trimesh.creation.icosphere(subdivisions=5, radius=RADIUS)  # edges of 0.2 mm


@lru_cache
def _crown(edge_mm: float = 0.15) -> TriangleMesh:
    return demo_crown(edge_mm).mesh


def _sphere(radius: float = RADIUS) -> TriangleMesh:
    return TriangleMesh(SPHERE.vertices * (radius / RADIUS), SPHERE.faces)


def _joined(*parts: TriangleMesh) -> TriangleMesh:
    offsets = np.cumsum([0, *(len(part.vertices) for part in parts)])
    return TriangleMesh(
        np.concatenate([part.vertices for part in parts]),
        np.concatenate([part.faces + k for part, k in zip(parts, offsets, strict=False)]),
    )


def _turned(mesh: TriangleMesh, seed: int) -> TriangleMesh:
    turn = Rotation.random(random_state=seed).as_matrix()
    return TriangleMesh(mesh.vertices @ turn.T, mesh.faces)


def _noisy(mesh: TriangleMesh, sd_mm: float, seed: int = 0) -> TriangleMesh:
    noise = np.random.default_rng(seed).normal(scale=sd_mm, size=mesh.vertices.shape)
    return TriangleMesh(mesh.vertices + noise, mesh.faces)


def _offset(mesh: TriangleMesh, gap_mm: float | FloatArray) -> TriangleMesh:
    return TriangleMesh(
        mesh.vertices + np.multiply(mesh.vertex_normals.T, gap_mm).T, mesh.faces, mesh.name
    )


def _around(mesh: TriangleMesh, place: FloatArray, radius_mm: float) -> TriangleMesh:
    middles = mesh.triangles.mean(axis=1)
    return mesh.kept(np.linalg.norm(middles - place, axis=1) < radius_mm)


def _only_layer(mesh: TriangleMesh):
    report = inspect_mesh(mesh)
    assert len(report.double_layers) == 1, report.problems
    assert "1 double layer of surface." in report.problems
    return report.double_layers[0]


# --- the raster of lines ---------------------------------------------------------------------


def test_lines_through_a_solid_go_in_and_out_by_turns_and_add_up_to_its_volume() -> None:
    sphere = _turned(_sphere(), 1)
    for found in crossings_along_axes(sphere, 0.1):
        upward = sphere.face_cross[found.face, found.axis] > 0
        assert (upward[1:] != upward[:-1])[found.follows].all()
        volume = 0.1**2 * np.where(upward, 1.0, -1.0) @ found.heights_mm
        assert volume == pytest.approx(sphere.volume_mm3, rel=1e-3)
        # The crossing lies on its face.
        away = found.points_mm - sphere.triangles[found.face, 0]
        height = np.einsum("ki,ki->k", away, sphere.face_normals[found.face])
        np.testing.assert_allclose(height, 0.0, atol=1e-9)


def test_a_line_through_vertices_and_edges_crosses_once() -> None:
    """A box cut into a grid whose corners and diagonals lie on the lines themselves."""
    box = trimesh.creation.box(extents=(2, 2, 2)).subdivide().subdivide()
    mesh = TriangleMesh(box.vertices, box.faces)
    for shift in (0.0, 0.37 * 0.25, 0.59 * 0.25, 0.83 * 0.25):
        moved = TriangleMesh(mesh.vertices + shift, mesh.faces)
        for found in crossings_along_axes(moved, 0.25):
            assert (np.bincount(found.line)[np.unique(found.line)] == 2).all()


# --- double layers ---------------------------------------------------------------------------


@pytest.mark.parametrize("gap_um", [10.0, 30.0, 80.0, 150.0, 300.0])
def test_a_second_sphere_around_the_first_is_found_with_its_area_and_distance(gap_um) -> None:
    layer = _only_layer(_turned(_joined(_sphere(), _sphere(RADIUS + 1e-3 * gap_um)), 2))
    middle_radius = RADIUS + 0.5e-3 * gap_um
    assert layer.area_mm2 == pytest.approx(4 * np.pi * middle_radius**2, rel=0.05)
    # Facets make the two spheres flatter by the same share.
    assert layer.distance_um == pytest.approx(gap_um, rel=0.02)
    assert np.linalg.norm(layer.place_mm) == pytest.approx(middle_radius, abs=0.02)


@pytest.mark.parametrize("gap_um", [10.0, 30.0, 80.0, 150.0, 300.0])
@pytest.mark.parametrize("sd_um", [0.0, 5.0])
def test_a_partial_second_layer_of_3_mm2_is_found_where_it_is(gap_um: float, sd_um: float) -> None:
    # A cap of half angle α has the area 2πR²(1 − cos α).
    place = RADIUS * np.array([0.6, 0.0, 0.8])
    cap = _around(_sphere(), place, np.sqrt(3.0 / np.pi))
    assert cap.area_mm2 == pytest.approx(3.0, rel=0.05)
    above = TriangleMesh(cap.vertices * (1 + 1e-3 * gap_um / RADIUS), cap.faces)
    layer = _only_layer(_noisy(_joined(_sphere(), above), 1e-3 * sd_um))
    # A line's cell is 0.0625 mm²: some cells at the rim either way.
    assert layer.area_mm2 == pytest.approx(3.0, abs=0.6)
    assert layer.distance_um == pytest.approx(gap_um, abs=0.02 * gap_um + 1.2 * sd_um)
    assert np.linalg.norm(layer.place_mm - place) < 0.4
    assert layer.most_um >= layer.distance_um


@pytest.mark.parametrize("gap_um", [10.0, 30.0, 80.0, 150.0, 300.0])
def test_a_flap_that_hangs_on_the_surface_is_found(gap_um: float) -> None:
    """The flap shares the vertices of one side with the surface: one piece, not two."""
    place = RADIUS * np.array([0.0, -0.6, 0.8])
    cap = _around(_sphere(), place, 1.3)
    hinge = cap.vertices[:, 0] < -0.6
    raised = cap.vertices * (1 + np.where(hinge, 0.0, 1e-3 * gap_um)[:, None] / RADIUS)
    flapped = repair_mesh(_joined(_sphere(), TriangleMesh(raised, cap.faces)))
    assert inspect_mesh(flapped.mesh).pieces == 1
    layer = _only_layer(flapped.mesh)
    free_mm2 = cap.kept(~hinge[cap.faces].any(axis=1)).area_mm2
    assert layer.area_mm2 == pytest.approx(free_mm2, rel=0.2)
    assert layer.distance_um == pytest.approx(gap_um, rel=0.1)
    assert sum("second layer" in text for text in flapped.warnings) == 1


@pytest.mark.parametrize("seed", range(CASES))
def test_a_crown_and_its_copy_a_few_hundredths_off(seed: int) -> None:
    """The sheets cross each other; two copies overlap by nearly all of their volume."""
    rng = np.random.default_rng(seed)
    crown = _crown()
    turn = Rotation.from_rotvec(rng.normal(size=3) * 0.003).as_matrix()
    shift = rng.normal(size=3)
    shift *= rng.uniform(0.02, 0.06) / np.linalg.norm(shift)
    copy = TriangleMesh(crown.vertices @ turn.T + shift, crown.faces)
    report = inspect_mesh(_turned(_joined(crown, copy), seed))
    assert report.double_layers
    assert sum(x.area_mm2 for x in report.double_layers) > 0.8 * crown.area_mm2
    assert report.double_layers[0].most_um < 1e3 * (0.06 + 0.02 * 8)
    (overlap,) = report.overlapping_pieces
    assert 0.8 * crown.volume_mm3 < overlap.volume_mm3 < crown.volume_mm3
    warnings = repair_mesh(_joined(crown, copy)).warnings
    assert any("second layer" in text for text in warnings)
    assert any("Two pieces overlap" in text for text in warnings)


def test_a_copy_with_other_triangles_in_the_same_place_is_found() -> None:
    # The very same plane faces, cut otherwise: nothing is between the sheets.
    box = trimesh.creation.box(extents=(6, 7, 8))
    finer = box.subdivide()
    both = _joined(TriangleMesh(box.vertices, box.faces), TriangleMesh(finer.vertices, finer.faces))
    assert inspect_mesh(both).duplicate_faces == 0
    layers = inspect_mesh(both).double_layers
    assert sum(x.area_mm2 for x in layers) == pytest.approx(box.area, rel=0.1)
    assert max(x.most_um for x in layers) < 0.001


def test_an_identical_copy_goes_as_duplicate_faces() -> None:
    repair = repair_mesh(_joined(_crown(), _crown()))
    assert f"Dropped {len(_crown()):,} duplicate faces." in repair.actions
    assert repair.warnings == ()
    # Before equal vertices are merged, two pieces lie over each other.
    assert repair.health.double_layers
    assert repair.health.overlapping_pieces


def test_a_layer_smaller_than_the_least_is_left() -> None:
    place = RADIUS * np.array([0.6, 0.0, 0.8])
    for area_mm2, count in ((0.5 * MIN_LAYER_AREA_MM2, 0), (2.5 * MIN_LAYER_AREA_MM2, 1)):
        cap = _around(_sphere(), place, np.sqrt(area_mm2 / np.pi))
        above = TriangleMesh(cap.vertices * 1.02, cap.faces)
        assert len(inspect_mesh(_joined(_sphere(), above)).double_layers) == count


@pytest.mark.parametrize(("edge_mm", "gap_um"), [(0.5, 80.0), (0.3, 30.0)])
def test_a_second_layer_on_a_crowns_scan_is_warned_of_by_check(edge_mm, gap_um) -> None:
    design = demo_crown(edge_mm)
    part = _around(design.mesh, design.mesh.vertices[design.mesh.vertices[:, 2].argmax()], 2.5)
    part = part.kept(part.face_normals[:, 2] > 0.2)  # of the outer side only
    scan = _joined(design.mesh, _offset(part, 1e-3 * gap_um))
    laid = CheckSettings(superimpose=SuperimposeSettings(start="in_place", refine=False))
    result = check_meshes(design.mesh, scan, laid)
    (said,) = (text for text in result.warnings if "second layer" in text)
    assert said.startswith("Scan: A second layer of surface lies over ")
    (layer,) = result.scan.repair.health.double_layers
    # Sheets at the fossae's bottoms come nearer to each other than the offset.
    assert layer.distance_um == pytest.approx(gap_um, rel=0.1)
    assert layer.area_mm2 == pytest.approx(part.area_mm2, rel=0.25)


# --- overlapping pieces ----------------------------------------------------------------------


@pytest.mark.parametrize("distance", [0.5, 2.0, 6.0, 9.0])
def test_overlapping_spheres_share_the_volume_of_their_lens(distance: float) -> None:
    # Of two equal balls: V = π(4R + d)(2R − d)²/12.
    lens = np.pi * (4 * RADIUS + distance) * (2 * RADIUS - distance) ** 2 / 12
    direction = Rotation.random(random_state=int(10 * distance)).as_matrix()[0]
    moved = TriangleMesh(_sphere().vertices + distance * direction, SPHERE.faces)
    report = inspect_mesh(_joined(_sphere(), moved))
    (overlap,) = report.overlapping_pieces
    assert overlap.pieces == (0, 1)
    assert overlap.volume_mm3 == pytest.approx(lens, rel=0.03)
    np.testing.assert_allclose(overlap.place_mm, 0.5 * distance * direction, atol=0.3)
    assert "1 pair of overlapping pieces." in report.problems


def test_a_solid_within_a_solid_overlaps_and_a_void_does_not() -> None:
    small = TriangleMesh(_sphere(2.0).vertices + 1.0, SPHERE.faces)
    (overlap,) = inspect_mesh(_joined(_sphere(), small)).overlapping_pieces
    assert overlap.volume_mm3 == pytest.approx(4 / 3 * np.pi * 2**3, rel=0.03)
    assert inspect_mesh(_joined(_sphere(), small.flipped())).overlapping_pieces == ()


def test_pieces_that_touch_or_stand_apart_do_not_overlap() -> None:
    box = TriangleMesh(*_box((4, 5, 6)))
    for gap in (0.0, 0.02):
        beside = TriangleMesh(box.vertices + np.array([4 + gap, 0.3, 0.2]), box.faces)
        report = inspect_mesh(_joined(box, beside))
        assert report.overlapping_pieces == ()
        assert report.double_layers == ()


def _box(extents) -> tuple[FloatArray, np.ndarray]:
    box = trimesh.creation.box(extents=extents)
    return box.vertices, box.faces


# --- no false alarm --------------------------------------------------------------------------


@pytest.mark.parametrize("wall_um", [20.0, 100.0, 300.0])
def test_a_thin_wall_is_no_double_layer(wall_um: float) -> None:
    shell = _joined(_sphere(), _sphere(RADIUS - 1e-3 * wall_um).flipped())
    cup = shell.kept(shell.triangles[:, :, 2].mean(axis=1) > -1.0)
    for mesh in (shell, cup, _turned(_noisy(shell, 0.002), 4)):
        assert inspect_mesh(mesh).double_layers == ()
        assert inspect_mesh(mesh).overlapping_pieces == ()


@pytest.mark.parametrize("edge_deg", [5.0, 20.0, 60.0])
def test_a_sharp_rim_is_no_double_layer(edge_deg: float) -> None:
    """A wedge 6 mm long: its two sides meet at a sharp edge."""
    half = np.tan(np.radians(edge_deg / 2)) * 6.0
    profile = np.array([[0.0, 0.0], [6.0, -half], [6.0, half]])
    corners = [[x, y, z] for z in (0.0, 5.0) for x, y in profile]
    wedge = trimesh.convex.convex_hull(np.array(corners))
    for seed in range(3):
        mesh = _turned(TriangleMesh(wedge.vertices, wedge.faces), seed)
        assert inspect_mesh(mesh).problems == ()


def test_a_leaf_folded_over_the_surface_with_both_its_sides_is_no_double_layer() -> None:
    """A stub leaning over: from its underside to the surface below is free space."""
    edges = (np.array([0.0, 1.0, 6.0, 8.0]), np.array([0.0, 4.0]), np.array([0, 1, 1.1, 1.2]))
    solid = np.ones((3, 1, 3), dtype=bool)
    solid[1:, 0, 1] = solid[2, 0, 2] = False  # 0.1 mm of air below a leaf 0.1 mm thick
    leaf = _blocks(edges, solid)
    assert leaf.volume_mm3 == pytest.approx(4.0 * (8.0 + 0.1 + 0.6))
    for seed in range(3):
        assert inspect_mesh(_turned(leaf, seed)).problems == ()


def _blocks(edges: tuple[FloatArray, FloatArray, FloatArray], solid: np.ndarray) -> TriangleMesh:
    """The surface of the blocks of a grid that are solid, two triangles a side."""
    padded = np.pad(solid, 1)
    corners, faces = [], []
    for axis in range(3):
        for step in (-1, 1):
            bare = padded & ~np.roll(padded, -step, axis)
            for block in np.argwhere(bare) - 1:
                square = np.repeat(block[None], 4, axis=0)
                square[:, axis] += step > 0
                square[[1, 2], (axis + 1) % 3] += 1
                square[[2, 3], (axis + 2) % 3] += 1
                first = len(corners)
                faces += [[first + k for k in t[::step]] for t in ([0, 1, 2], [0, 2, 3])]
                corners += [[edges[k][n] for k, n in enumerate(c)] for c in square]
    return repair_mesh(TriangleMesh(corners, faces)).mesh


@pytest.mark.parametrize("edge_mm", [0.5, 0.15, 0.06])
@pytest.mark.parametrize("sd_um", [0.0, 5.0, 10.0])
def test_a_sound_crown_raises_no_alarm(edge_mm: float, sd_um: float) -> None:
    report = inspect_mesh(_turned(_noisy(_crown(edge_mm), 1e-3 * sd_um), int(sd_um)))
    assert report.problems == ()


def test_a_very_fine_noisy_surface_raises_no_alarm() -> None:
    """Edges of 0.03 mm with 5 µm of noise lean by tens of degrees, and some fold over."""
    grid = np.linspace(0.0, 4.0, 134)
    x, y = (side.ravel() for side in np.meshgrid(grid, grid, indexing="ij"))
    bowl = np.stack([x, y, 0.5 * np.sin(1.5 * x) * np.cos(1.2 * y)], axis=1)
    corner = np.arange(len(x)).reshape(134, 134)
    a, b, c, d = corner[:-1, :-1], corner[1:, :-1], corner[1:, 1:], corner[:-1, 1:]
    faces = np.stack([a, b, c, a, c, d], axis=-1).reshape(-1, 3)
    for seed in range(3):
        sheet = _turned(_noisy(TriangleMesh(bowl, faces), 0.005, seed), seed)
        assert inspect_mesh(sheet).double_layers == ()


@pytest.mark.parametrize("errors", [printed_errors(), milled_errors()], ids=["printed", "milled"])
def test_produced_crowns_raise_no_alarm(errors: ProductionErrors) -> None:
    crown = produce(demo_crown(0.25), errors, edge_mm=0.25, rng=np.random.default_rng(1))
    repair = repair_mesh(crown.mesh)
    assert repair.health.double_layers == ()
    assert repair.health.overlapping_pieces == ()
    assert self_intersections(repair.mesh).pairs == 0


def test_debris_beside_a_crown_raises_no_alarm() -> None:
    errors = ProductionErrors(debris=Debris(5), noise=ScannerNoise(5.0))
    crown = produce(demo_crown(0.3), errors, edge_mm=0.3, rng=np.random.default_rng(2))
    assert crown.mesh.graph.piece_of_face.max() == 5
    assert inspect_mesh(crown.mesh).double_layers == ()


@pytest.mark.parametrize("folder", ["crowns", "teeth", "worn_pair"])
def test_real_teeth_raise_no_alarm(shared_meshes: Path, folder: str) -> None:
    paths = [p for p in sorted((shared_meshes / folder).iterdir()) if p.suffix in (".ply", ".obj")]
    assert paths
    for path in paths:
        repair = repair_mesh(read_mesh(path).mesh)
        assert repair.health.double_layers == (), path.name
        assert repair.health.overlapping_pieces == (), path.name


def test_huge_and_tiny_meshes_and_slivers_are_taken_in_their_stride() -> None:
    for scale in (1e-6, 1e6, 1e38):
        mesh = TriangleMesh(SPHERE.vertices * scale, SPHERE.faces)
        assert inspect_mesh(mesh).double_layers == ()
    # Ten thousand needles across a metre would be cut by lines forty million times.
    rng = np.random.default_rng(0)
    ends = rng.normal(size=(10_000, 2, 3)) * 500.0
    corners = np.concatenate([ends, ends[:, :1] + 1e-3], axis=1)
    needles = TriangleMesh(corners.reshape(-1, 3), np.arange(30_000).reshape(-1, 3))
    found = crossings_along_axes(needles, 0.25)
    assert found[0].spacing_mm > 0.25
