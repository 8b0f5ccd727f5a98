"""What a ball leaves in inside corners, against closed forms and the demo's own rolling balls."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.causes.ball_excess import BallExcess, ball_excess
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.rolling_ball import ball_tables
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.tiers import slow

UM_1 = 1e-3
LONG_MM = 2.4


def sheet(profile: list[tuple[float, float]], length_mm: float = LONG_MM) -> TriangleMesh:
    """A profile (x, z), from left to right, drawn out along y; open, facing up."""
    x, z = np.array(profile, dtype=np.float64).T
    k = len(x)
    near, far = np.stack([x, 0.0 * x, z], axis=1), np.stack([x, 0.0 * x + length_mm, z], axis=1)
    a = np.arange(k - 1)
    faces = np.concatenate(
        [np.stack([a, a + 1, a + 1 + k], axis=1), np.stack([a, a + 1 + k, a + k], axis=1)]
    )
    return TriangleMesh(np.concatenate([near, far]), faces)


def wall(front: TriangleMesh, down_mm: float) -> TriangleMesh:
    """A closed wall: the open sheet, the same sheet lower down facing back, and its sides."""
    n = len(front.vertices)
    start, end = front.graph.border_sides.T
    faces = [front.faces, front.faces[:, ::-1] + n]
    faces += [
        np.stack([end, start, start + n], axis=1),
        np.stack([end, start + n, end + n], axis=1),
    ]
    vertices = [front.vertices, front.vertices - [0.0, 0.0, down_mm]]
    return TriangleMesh(np.concatenate(vertices), np.concatenate(faces))


def rolled(
    mesh: TriangleMesh, radii: list[float], side: float = np.inf, spacing_mm: float = 0.05
) -> tuple[EvaluationMesh, BallExcess]:
    """Excess at all points of a mesh, or at those that come from its first ``side`` faces."""
    evaluation = evaluation_mesh(mesh, spacing_mm)
    chosen = np.zeros(len(evaluation.points), dtype=bool)
    chosen[evaluation.mesh.faces[evaluation.source_face < side]] = True
    index = SurfaceIndex(mesh, threads=1)
    return evaluation, ball_excess(index, evaluation.points, evaluation.normals, chosen, radii)


def groove(full_angle_deg: float, side_mm: float = 2.5) -> TriangleMesh:
    half = np.deg2rad(full_angle_deg) / 2.0
    x, z = side_mm * np.sin(half), side_mm * np.cos(half)
    return sheet([(-x, z), (0.0, 0.0), (x, z)])


def in_groove(along_mm: np.ndarray, full_angle_deg: float, radius: float) -> np.ndarray:
    """Excess at a distance up a wall of a groove: the ball's centre is r / sin β above the edge."""
    half = np.deg2rad(full_angle_deg) / 2.0
    height = radius / np.sin(half)
    to_centre = np.hypot(height - along_mm * np.cos(half), along_mm * np.sin(half))
    return np.where(along_mm < radius / np.tan(half), to_centre - radius, 0.0)


@pytest.mark.parametrize("full_angle_deg", [60.0, 90.0, 120.0, 150.0, 170.0])
@pytest.mark.parametrize("closed", [False, True], ids=["open", "thin wall"])
def test_a_groove_stays_filled_by_the_closed_form_all_over_its_walls(full_angle_deg, closed):
    """Away from the ends, past which a ball can sink: by more than is left, 0.75 mm."""
    radii = [0.3, 0.75]
    front = groove(full_angle_deg)
    evaluation, found = rolled(wall(front, 0.6) if closed else front, radii, len(front.faces))
    on_front = np.unique(evaluation.mesh.faces[evaluation.source_face < len(front.faces)])
    up = np.hypot(*evaluation.points[on_front][:, [0, 2]].T)
    inner = (np.abs(evaluation.points[on_front, 1] - LONG_MM / 2.0) < 0.4) & (up < 2.4)
    for k, radius in enumerate(radii):
        expected = in_groove(up[inner], full_angle_deg, radius)
        np.testing.assert_allclose(found.distance_mm[k, on_front[inner]], expected, atol=UM_1)
    assert (up[inner] == 0.0).any()


def test_a_right_angled_groove_keeps_0_4142_of_the_radius_at_the_bottom():
    """r (1 / sin β − 1) with β = 45°; the normal at the bottom points at the ball."""
    evaluation, found = rolled(groove(90.0), [1.0])
    bottom = np.abs(evaluation.points[:, [0, 2]]).max(axis=1) < 1e-12
    assert found.distance_mm[0, bottom] == pytest.approx(np.sqrt(2.0) - 1.0, abs=UM_1)
    assert found.normal_mm[0, bottom] == pytest.approx(np.sqrt(2.0) - 1.0, abs=UM_1)
    assert found.deepest_mm == pytest.approx([np.sqrt(2.0) - 1.0], abs=UM_1)


def test_the_normal_part_is_the_distance_times_the_cosine():
    evaluation, found = rolled(groove(90.0), [1.0])
    x, _, z = evaluation.points.T
    on_right = (x > 1e-9) & (np.hypot(x, z) < 0.95)
    to_centre = np.stack([-x, np.sqrt(2.0) - z], axis=1)[on_right]
    cosine = to_centre @ (np.array([-1.0, 1.0]) / np.sqrt(2.0)) / np.linalg.norm(to_centre, axis=1)
    expected = in_groove(np.hypot(x, z)[on_right], 90.0, 1.0) * cosine
    np.testing.assert_allclose(found.normal_mm[0, on_right], expected, atol=UM_1)


def pit(radius_mm: float, edge_mm: float = 0.03) -> TriangleMesh:
    """A plane with a hemispherical pit, facing up."""
    arc = np.linspace(0.0, np.pi / 2.0, round(radius_mm * np.pi / 2.0 / edge_mm))
    out = np.arange(radius_mm + edge_mm, radius_mm + 1.5, edge_mm)
    reach = np.concatenate([radius_mm * np.sin(arc), out])
    height = np.concatenate([-radius_mm * np.cos(arc), 0.0 * out])
    turn = 96
    angle = 2.0 * np.pi * np.arange(turn) / turn
    rings = [
        np.stack([r * np.cos(angle), r * np.sin(angle), np.full(turn, z)], axis=1)
        for r, z in zip(reach[1:], height[1:], strict=True)
    ]
    vertices = np.concatenate([[[0.0, 0.0, height[0]]], *rings])
    here, beside = np.arange(turn), (np.arange(turn) + 1) % turn
    faces = [np.stack([0 * here, 1 + here, 1 + beside], axis=1)]
    for k in range(len(rings) - 1):
        low, high = 1 + k * turn, 1 + (k + 1) * turn
        faces.append(np.stack([low + here, high + here, high + beside], axis=1))
        faces.append(np.stack([low + here, high + beside, low + beside], axis=1))
    return TriangleMesh(vertices, np.concatenate(faces))


@pytest.mark.parametrize("ball_mm", [0.7, 1.1])
def test_over_a_hemispherical_pit_a_larger_ball_rests_on_the_rim(ball_mm):
    """Its centre is √(r² − R²) above the plane: R + √(r² − R²) − r stay above the bottom."""
    pit_mm = 0.5
    mesh = pit(pit_mm)
    found = ball_excess(
        SurfaceIndex(mesh, threads=1),
        mesh.vertices,
        mesh.vertex_normals,
        np.ones(len(mesh.vertices), dtype=bool),
        [ball_mm],
    )
    expected = pit_mm + np.sqrt(ball_mm**2 - pit_mm**2) - ball_mm
    # It comes to rest on many points of the rim at once: never too deep, and a little too high.
    assert expected - UM_1 < found.distance_mm[0, 0] < expected + 0.02 * ball_mm
    away = np.hypot(*mesh.vertices[:, :2].T) > pit_mm + 0.1
    assert (found.distance_mm[0, away] == 0.0).all()


def test_a_plane_keeps_nothing():
    _, found = rolled(sheet([(-2.0, 0.0), (2.0, 0.0)]), [1.4, 0.3])
    assert (found.distance_mm == 0.0).all()
    assert (found.normal_mm == 0.0).all()


def ball(radius_mm: float, outward: bool) -> TriangleMesh:
    octahedron = TriangleMesh(
        [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]],
        [[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]],
    )
    fine = evaluation_mesh(octahedron, 0.1 / radius_mm).mesh
    vertices = fine.vertices / np.linalg.norm(fine.vertices, axis=1, keepdims=True)
    mesh = TriangleMesh(radius_mm * vertices, fine.faces)
    return mesh if outward else mesh.flipped()


@pytest.mark.parametrize(("size_mm", "outward"), [(0.8, True), (2.0, False)])
def test_a_convex_sphere_and_a_wide_hollow_keep_nothing(size_mm, outward):
    mesh = ball(size_mm, outward)
    normals = mesh.vertices / size_mm * (1.0 if outward else -1.0)
    found = ball_excess(
        SurfaceIndex(mesh, threads=1),
        mesh.vertices,
        normals,
        np.ones(len(normals), dtype=bool),
        [1.4, 0.5],
    )
    assert (found.distance_mm == 0.0).all()


def test_where_no_ball_enters_the_excess_is_not_a_number():
    mesh = ball(1.0, outward=False)
    chosen = np.ones(len(mesh.vertices), dtype=bool)
    found = ball_excess(
        SurfaceIndex(mesh, threads=1), mesh.vertices, -mesh.vertices, chosen, [0.7, 1.3]
    )
    assert (found.distance_mm[0] == 0.0).all()
    assert np.isnan(found.distance_mm[1]).all()
    assert np.isnan(found.normal_mm[1]).all()


def test_on_an_open_border_a_ball_rests_as_on_an_edge():
    """A wall 0.3 high, open at its top: the ball on the floor touches the wall's upper border."""
    radius, high = 0.9, 0.3
    evaluation, found = rolled(sheet([(0.0, high), (0.0, 0.0), (3.0, 0.0)]), [radius])
    x, y, z = evaluation.points.T
    aside = np.sqrt(radius**2 - (radius - high) ** 2)
    inner = (np.abs(y - LONG_MM / 2.0) < 0.9) & (x < 2.0)
    expected = np.where(x < aside, np.hypot(x - aside, z - radius) - radius, 0.0)
    np.testing.assert_allclose(found.distance_mm[0, inner], expected[inner], atol=6.0 * UM_1)


def test_a_hole_in_a_plane_holds_no_ball():
    mesh = sheet([(-2.0, 0.0), (2.0, 0.0)])
    fine = evaluation_mesh(mesh, 0.1).mesh
    middles = fine.triangles.mean(axis=1)
    holed = fine.kept(np.hypot(middles[:, 0], middles[:, 1] - 1.0) > 0.4)
    _, found = rolled(holed, [0.9, 0.5], spacing_mm=0.1)
    assert (found.distance_mm == 0.0).all()


def test_the_ball_collides_with_what_was_not_chosen():
    """One wall of a groove alone is chosen; the other still holds the ball off it."""
    mesh = groove(90.0)
    evaluation = evaluation_mesh(mesh, 0.05)
    right = evaluation.points[:, 0] > 1e-9
    found = ball_excess(
        SurfaceIndex(mesh, threads=1), evaluation.points, evaluation.normals, right, [0.6]
    )
    up = np.hypot(*evaluation.points[:, [0, 2]].T)
    np.testing.assert_allclose(
        found.distance_mm[0, right], in_groove(up[right], 90.0, 0.6), atol=1.5 * UM_1
    )
    assert (found.distance_mm[0, ~right] == 0.0).all()


@pytest.fixture(scope="module")
def crown():
    return demo_crown(0.1)


@pytest.fixture(scope="module")
def index(crown):
    return SurfaceIndex(crown.mesh, threads=1)


CASES = [slow("external", [1.4, 0.9, 0.6]), slow("intaglio", [1.4]), ("external", [0.9])]


@pytest.mark.parametrize(("side", "radii"), CASES)
def test_on_the_demo_crown_it_is_what_the_formulas_balls_leave(crown, index, side, radii):
    """The demo rolls its balls over dense samples of the formula, and smooths over 0.04 mm."""
    chosen = crown.s > 0.3 if side == "external" else crown.s < -0.3
    mesh = crown.mesh
    found = ball_excess(index, mesh.vertices, mesh.vertex_normals, chosen, radii)
    compared = chosen & (np.abs(crown.s) > 0.7)  # the demo's balls fade out towards the rim
    for k, radius in enumerate(radii):
        tables = ball_tables(crown.shape, radius, side)
        true = np.linalg.norm([table.at(crown.theta, crown.s) for table in tables], axis=0)
        true, ours = true[compared], found.distance_mm[k, compared]
        deepest = true.max()
        assert ours.max() == pytest.approx(deepest, rel=0.07)
        assert np.sqrt(np.mean((ours - true) ** 2)) < 0.011 * deepest
        assert np.quantile(np.abs(ours - true), 0.99) < 0.055 * deepest
        assert ours @ true / (true @ true) == pytest.approx(1.0, abs=0.015)
        assert (found.normal_mm[k] <= found.distance_mm[k]).all()
    assert (found.distance_mm[:, ~chosen] == 0.0).all()
    # Whatever a ball can touch, a smaller one can.
    assert (np.diff(found.distance_mm, axis=0) < 5.0 * UM_1).all()


@pytest.mark.slow
def test_radii_in_any_order_give_the_same(crown, index):
    chosen = crown.s < -0.3
    given = (crown.mesh.vertices, crown.mesh.vertex_normals, chosen)
    one, other = (ball_excess(index, *given, radii) for radii in ([1.4, 0.9], [0.9, 1.4]))
    assert np.array_equal(one.distance_mm, other.distance_mm[::-1])
    assert other.radii_mm.tolist() == [0.9, 1.4]


@pytest.mark.parametrize("radii", [[], [0.0], [-1.0], [np.nan], [np.inf], [[1.0]]])
def test_radii_that_are_none_are_refused(radii):
    mesh = groove(90.0)
    with pytest.raises(SettingError, match="radii"):
        ball_excess(
            SurfaceIndex(mesh), mesh.vertices, mesh.vertex_normals, np.ones(6, dtype=bool), radii
        )


def test_shapes_that_do_not_fit_together_are_refused():
    mesh = groove(90.0)
    with pytest.raises(SettingError, match="do not fit together"):
        ball_excess(
            SurfaceIndex(mesh), mesh.vertices, mesh.vertex_normals, np.ones(5, dtype=bool), [1.0]
        )
