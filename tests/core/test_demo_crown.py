"""The demo crown: a closed, smooth, tooth-like surface whose mesh is what its formula says."""

from __future__ import annotations

from dataclasses import replace

import igl
import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.quadrature import surface_nodes
from cuspwise.standalone_core.demo.scenario import milled_errors
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.errors import SettingError
from scipy.spatial import cKDTree

MESHES = [(0.3, 5, True), (0.3, 4, True), (0.3, 5, False), (0.1, 5, True), (0.12, 5, False)]


@pytest.fixture(scope="module")
def crown() -> DemoCrown:
    return demo_crown(0.15)


def crossing_triangles(vertices: np.ndarray, faces: np.ndarray) -> int:
    """Pairs of triangles without a common vertex in which an edge of one pierces the other."""
    triangles = vertices[faces]
    centres = triangles.mean(axis=1)
    reach = np.linalg.norm(triangles - centres[:, None], axis=2).max()
    pairs = cKDTree(centres).query_pairs(2.0 * reach, output_type="ndarray")
    apart = ~(faces[pairs[:, 0], :, None] == faces[pairs[:, 1], None, :]).any(axis=(1, 2))
    pairs = pairs[apart]
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    boxes = (low[pairs[:, 0]] <= high[pairs[:, 1]]) & (low[pairs[:, 1]] <= high[pairs[:, 0]])
    pairs = pairs[boxes.all(axis=1)]
    crossing = np.zeros(len(pairs), dtype=bool)
    for one, other in (pairs.T, pairs[:, ::-1].T):
        for k in range(3):
            start, end = triangles[one, k], triangles[one, (k + 1) % 3]
            crossing |= _pierces(start, end, triangles[other])
    return int(crossing.sum())


def _pierces(start: np.ndarray, end: np.ndarray, triangle: np.ndarray) -> np.ndarray:
    def side(a, b, c, d):
        return np.sign(np.einsum("ij,ij->i", np.cross(b - a, c - a), d - a))

    a, b, c = triangle[:, 0], triangle[:, 1], triangle[:, 2]
    through_plane = side(a, b, c, start) * side(a, b, c, end) < 0
    turns = [side(start, end, *edge) for edge in ((a, b), (b, c), (c, a))]
    return through_plane & (turns[0] == turns[1]) & (turns[1] == turns[2]) & (turns[0] != 0)


@pytest.mark.parametrize(("edge_mm", "cusps", "margin_edges"), MESHES)
def test_the_mesh_is_closed_and_outward_with_even_triangles(edge_mm, cusps, margin_edges):
    crown = demo_crown(edge_mm, CrownShape(cusp_count=cusps), margin_edges=margin_edges)
    mesh = trimesh.Trimesh(crown.mesh.vertices, crown.mesh.faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.euler_number == 2  # a sphere's: one closed piece without a tunnel
    assert mesh.body_count == 1
    assert mesh.volume > 150.0
    lengths = mesh.edges_unique_length
    assert np.mean(lengths) == pytest.approx(edge_mm, rel=0.06)
    assert lengths.min() > 0.5 * edge_mm
    assert lengths.max() < 2.0 * edge_mm
    assert np.degrees(mesh.face_angles.min()) > 18.0


def test_count_of_triangles_grows_as_edges_shrink():
    # n triangles of edge e cover n √3/4 e²; the crown has about 433 mm².
    for edge_mm in (0.3, 0.1, 0.05):
        count = len(demo_crown(edge_mm).mesh)
        assert count * np.sqrt(3.0) / 4.0 * edge_mm**2 == pytest.approx(433.0, rel=0.03)


@pytest.mark.parametrize("margin_edges", [True, False])
@pytest.mark.parametrize("cusps", [5, 4])
def test_no_triangle_pierces_another(cusps, margin_edges):
    for edge_mm in (0.4, 0.17):
        crown = demo_crown(edge_mm, CrownShape(cusp_count=cusps), margin_edges=margin_edges)
        assert crossing_triangles(crown.mesh.vertices, crown.mesh.faces) == 0


@pytest.mark.slow
def test_a_badly_made_crown_does_not_pierce_itself_either():
    errors = replace(milled_errors(), any_pose=False)
    mesh = produce(CrownShape(), errors, edge_mm=0.15, rng=np.random.default_rng(7)).mesh
    assert crossing_triangles(mesh.vertices, mesh.faces) == 0


def test_the_piercing_check_sees_a_crossing():
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.2, -1], [0.2, 0.2, 1], [0, 2, 1]])
    assert crossing_triangles(vertices.astype(float), np.array([[0, 1, 2], [3, 4, 5]])) == 1


def test_inside_is_inside(crown):
    """Winding number (libigl) just inside is 1, just outside 0, everywhere on the surface."""
    some = slice(None, None, 40)
    points = crown.mesh.vertices[some]
    normals = crown.vertex_normals[some]
    vertices, faces = np.array(crown.mesh.vertices), np.array(crown.mesh.faces)
    for offset, expected in ((-0.02, 1.0), (0.02, 0.0)):
        winding = igl.winding_number(vertices, faces, points + offset * normals)
        np.testing.assert_allclose(winding, expected, atol=1e-6)


def test_it_has_the_size_of_a_lower_first_molar(crown):
    # Textbook crown of a lower first molar: 11.0 mesiodistal, 10.5 buccolingual, 7.5 high
    # (from memory, no source at hand).
    size = np.ptp(crown.mesh.vertices, axis=0)
    np.testing.assert_allclose(size, [11.0, 10.0, 7.5], atol=0.5)


@pytest.mark.parametrize("cusps", [5, 4])
def test_every_cusp_is_a_local_summit(cusps):
    shape = CrownShape(cusp_count=cusps)
    crown = demo_crown(0.15, shape)
    points = crown.mesh.vertices
    assert len(shape.cusps) == cusps
    for cusp in shape.cusps:
        about = (np.hypot(points[:, 0] - cusp.x_mm, points[:, 1] - cusp.y_mm) < 1.2) & (crown.s > 3)
        top = points[about][points[about, 2].argmax()]
        assert np.hypot(top[0] - cusp.x_mm, top[1] - cusp.y_mm) < 0.7
        assert top[2] == pytest.approx(cusp.height_mm, abs=0.35)


def test_area_and_volume_agree_with_quadrature(crown):
    """The mesh's area lacks what its facets cut off: a quarter when edges are halved."""
    nodes = surface_nodes(CrownShape(), 0.1)
    area = nodes.weights_mm2.sum()
    # Divergence theorem: V = ∮ x · n dA / 3, and ∮ n dA = 0 on a closed surface.
    volume = np.sum(nodes.weights_mm2 * np.einsum("ij,ij->i", nodes.points, nodes.normals)) / 3.0
    assert np.abs(nodes.weights_mm2 @ nodes.normals).max() < 2e-3
    fine = [demo_crown(0.1).mesh, demo_crown(0.05).mesh]
    gap = [area - mesh.area_mm2 for mesh in fine]
    assert 0 < gap[1] < 0.15
    assert gap[0] / gap[1] == pytest.approx(4.0, rel=0.1)
    assert fine[1].volume_mm3 == pytest.approx(volume, rel=1e-4)


def test_quadrature_has_converged():
    areas = [surface_nodes(CrownShape(), spacing).weights_mm2.sum() for spacing in (0.2, 0.1)]
    assert areas[0] == pytest.approx(areas[1], rel=2e-5)


def test_tangents_agree_with_differences(crown):
    shape, h = crown.shape, 1e-6
    rng = np.random.default_rng(4)
    theta = rng.uniform(0.0, 2.0 * np.pi, 4000)
    s = rng.uniform(-7.4, 9.9, 4000)
    s[:500] = rng.uniform(-0.1, 0.1, 500)  # across the rim
    _, around, along = shape.tangents(theta, s)
    for exact, ahead, behind in (
        (around, (theta + h, s), (theta - h, s)),
        (along, (theta, s + h), (theta, s - h)),
    ):
        numeric = (shape.points(*ahead) - shape.points(*behind)) / (2.0 * h)
        np.testing.assert_allclose(exact, numeric, atol=2e-7)


def test_normals_are_unit_outward_and_smooth(crown):
    normals = crown.vertex_normals
    np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1.0, atol=1e-12)
    faceted = crown.mesh.vertex_normals
    along = np.einsum("ij,ij->i", normals, faceted)
    off_the_rim = np.abs(crown.s) > 0.3
    assert along[off_the_rim].min() > 0.93  # the tightest fissure turns 20° within an edge
    assert np.median(along[off_the_rim]) > 0.9999
    # across the margin line the formula's normal is continuous
    theta = np.linspace(0.0, 6.0, 50)
    jump = crown.shape.normals(theta, np.full(50, 1e-9)) - crown.shape.normals(
        theta, np.full(50, -1e-9)
    )
    assert np.abs(jump).max() < 1e-5


def test_the_margin_line_is_wavy_closed_and_exact(crown):
    line = crown.margin_line_mm
    assert len(line) >= 1000
    steps = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
    assert steps.max() < 0.03  # closed: the last step, back to the start, is like the others
    assert np.ptp(line[:, 2]) == pytest.approx(1.0, abs=0.15)
    middle = line.mean(axis=0)
    angle = np.degrees(np.arctan2(line[:, 1] - middle[1], line[:, 0] - middle[0]))
    deep = line[np.abs(np.abs(angle) - 90.0) < 15.0, 2].mean()  # buccal and lingual
    high = line[np.abs(np.abs(angle) % 180.0 - 90.0) > 75.0, 2].mean()  # mesial and distal
    assert high - deep > 0.6
    on_line = crown.mesh.vertices[crown.s == 0.0]
    assert len(on_line) > 150
    distance, _ = cKDTree(line).query(on_line)
    assert distance.max() < 0.01


def test_margin_edges_follow_the_line_only_when_asked():
    for margin_edges, expected in ((True, True), (False, False)):
        crown = demo_crown(0.2, margin_edges=margin_edges)
        sides = np.sort(crown.mesh.faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
        on_line = (np.abs(crown.s[sides]) < 1e-12).all(axis=1)
        length = np.linalg.norm(np.diff(crown.mesh.vertices[sides[on_line]], axis=1), axis=2)
        whole = 2.0 * np.linalg.norm(np.diff(crown.margin_line_mm, axis=0), axis=1).sum()
        assert bool(length.sum() > 0.99 * whole) == expected  # every edge belongs to two faces


def test_the_rim_is_thin(crown):
    theta = np.linspace(0.0, 2.0 * np.pi, 73)
    shape = crown.shape
    for s in (0.03, 0.06):
        apart = np.linalg.norm(
            shape.points(theta, np.full(73, s)) - shape.points(theta, np.full(73, -s)), axis=1
        )
        assert apart.min() > 0.02
        assert apart.max() < 0.12


def test_the_wall_is_as_thick_as_a_crown_is(crown):
    """Beyond 1 mm from the margin the wall is 0.55 to 1.65 mm thick (libigl distances)."""
    vertices, faces, s = np.array(crown.mesh.vertices), np.array(crown.mesh.faces), crown.s
    for here, there in ((s > 1.0, s <= 0.0), (s < -1.0, s >= 0.0)):
        opposite = faces[there[faces].all(axis=1)]
        thickness = np.sqrt(igl.point_mesh_squared_distance(vertices[here], vertices, opposite)[0])
        assert thickness.min() > 0.55
        assert thickness.max() < 1.65


def test_no_mirror_and_no_half_turn_maps_it_to_itself(crown):
    vertices, faces = np.array(crown.mesh.vertices), np.array(crown.mesh.faces)
    for signs in ((-1, 1, 1), (1, -1, 1), (-1, -1, 1)):
        other = (vertices * signs)[::10]
        distance = np.sqrt(igl.point_mesh_squared_distance(other, vertices, faces)[0])
        assert np.sqrt(np.mean(distance**2)) > 0.15


def test_the_same_call_gives_the_same_mesh():
    assert demo_crown(0.4).mesh.checksum == demo_crown(0.4).mesh.checksum
    one, two = (
        demo_crown(0.4, margin_edges=False, rng=np.random.default_rng(seed)).mesh for seed in (1, 2)
    )
    assert one.checksum != two.checksum


def test_what_cannot_be_made_is_said():
    with pytest.raises(SettingError, match=r"edge length of 0\.001"):
        demo_crown(0.001)
    with pytest.raises(SettingError, match="6 cusps"):
        CrownShape(cusp_count=6)
