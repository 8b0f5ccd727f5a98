"""Walls: closed forms, libigl's rays, balls by brute force, and walls thinned on purpose."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.errors import AreaError
from cuspwise.standalone_core.fit.crown import FitCrown, ready_crown_steps
from cuspwise.standalone_core.fit.settings import WallSettings
from cuspwise.standalone_core.fit.walls.boxes import BoxTree
from cuspwise.standalone_core.fit.walls.measuring import measure_walls_steps
from cuspwise.standalone_core.fit.walls.rays import ways_out
from cuspwise.standalone_core.fit.walls.result import Walls
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import Progress, run
from made.hollow_bodies import box, hollow, inner_radius, ready, sphere
from made.hollow_bodies import moved as turned

OUTER, INNER, WALL = 5.0, 4.2, 0.8
EDGE_MM = 0.3
DIRECTIONS = AreaSettings(mesial_direction=(1.0, 0.0, 0.0), buccal_direction=(0.0, 1.0, 0.0))


ALIKE = WallSettings(least_axial_mm=0.5, least_occlusal_mm=0.5)
"""The thinnest places are then the thinnest of all."""


def measured(crown: FitCrown, settings: WallSettings | None = None, **given: object) -> Walls:
    return run(measure_walls_steps(crown, settings, **given))


@cache
def demo() -> DemoCrown:
    return demo_crown(EDGE_MM)


def ready_demo(mesh: TriangleMesh) -> FitCrown:
    return run(ready_crown_steps(mesh, DIRECTIONS, spacing_mm=EDGE_MM, threads=1))


@cache
def design() -> FitCrown:
    return ready_demo(demo().mesh)


@cache
def walls_of_design() -> Walls:
    return measured(design(), ALIKE)


def reaching(
    points: FloatArray, inward: FloatArray, radius: float
) -> tuple[FloatArray, FloatArray]:
    """Ray and ball from places p inside a sphere about the origin, along u at an angle φ to p.

    Ray: |p + t u| = R. Ball: |p + ρ u| + ρ = R, so ρ = (R² − p²) / (2 (p·u + R)).
    """
    squared, along = (points**2).sum(axis=1), (points * inward).sum(axis=1)
    ray = np.sqrt(radius**2 - squared + along**2) - along
    return ray, (radius**2 - squared) / (along + radius)


def test_nested_spheres_reach_between_the_spheres_in_and_around_the_outer_facets() -> None:
    outer = sphere(OUTER, 4)
    crown = hollow(outer, sphere(INNER, 4))
    walls = measured(crown)
    inside = crown.intaglio
    points, inward = crown.evaluation.points[inside], -crown.evaluation.normals[inside]
    low_ray, low_ball = reaching(points, inward, inner_radius(outer))
    high_ray, high_ball = reaching(points, inward, OUTER)
    assert (walls.ray_mm[inside] >= low_ray - 1e-9).all()
    assert (walls.ray_mm[inside] <= high_ray + 1e-9).all()
    assert (walls.ball_mm[inside] >= low_ball - 1e-9).all()
    assert (walls.ball_mm[inside] <= high_ball + 1e-9).all()
    # Below a vertex of the outer sphere a ray along a normal at φ to the radius ends aside of it by
    # 0.8 sin φ, on a facet that falls by no more than arccos(R_in / R).
    at_vertices = np.flatnonzero(inside)[: 10 * 4**4 + 2]
    p, u = crown.evaluation.points[at_vertices], -crown.evaluation.normals[at_vertices]
    aside = WALL * np.linalg.norm(np.cross(p / INNER, u), axis=1)
    steepest = math.tan(math.acos(inner_radius(outer) / OUTER))
    off = np.abs(walls.ray_mm[at_vertices] - WALL)
    assert (off <= aside * steepest + aside**2 + 1e-12).all()
    assert off.max() < 1e-4
    sag = OUTER - inner_radius(outer)
    assert np.abs(walls.ball_mm[at_vertices] - WALL).max() <= sag
    assert np.isnan(walls.thickness_mm[~inside]).all()


def test_nested_boxes_are_as_thick_everywhere_also_in_corners_and_beside_edges() -> None:
    crown = hollow(box((8.0, 9.0, 7.0)), box((6.4, 7.4, 5.4)), spacing_mm=0.8)
    walls = measured(crown)
    inside = crown.intaglio
    assert np.abs(walls.ray_mm[inside] - WALL).max() < 1e-9
    assert np.abs(walls.ball_mm[inside] - WALL).max() < 1e-9
    axial = next(area for area in walls.areas if area.area == "axial")
    assert axial.within
    assert axial.thin_area_mm2 == 0.0
    assert not next(area for area in walls.areas if area.area == "occlusal").within


def wedge(angle_deg: float) -> FitCrown:
    """Material over z = 0, its intaglio, below a plane that rises from x = 0 by an angle."""
    h = 6.0 * math.tan(math.radians(angle_deg))
    points = [[0, -4, 0], [0, 4, 0], [6, 4, 0], [6, -4, 0], [6, 4, h], [6, -4, h]]
    below, above = [[0, 1, 2], [0, 2, 3]], [[0, 5, 4], [0, 4, 1]]
    rest = [[3, 2, 4], [3, 4, 5], [0, 3, 5], [1, 4, 2]]
    mesh = TriangleMesh(points, below + above + rest, "wedge")
    assert mesh.volume_mm3 > 0.0
    return ready(mesh, np.arange(8) < 2, 0.25)


@pytest.mark.parametrize("angle_deg", [12.0, 25.0])
def test_a_wedge_is_x_tan_by_the_ray_and_twice_x_tan_of_half_by_the_ball(angle_deg: float) -> None:
    crown, angle = wedge(angle_deg), math.radians(angle_deg)
    walls = measured(crown)
    x, y, z = crown.evaluation.points.T
    # Away from the edge, where faces meet in a crease, and from the wedge's ends.
    chosen = (z == 0.0) & (x > 1.0) & (x < 3.5) & (np.abs(y) < 2.5)
    assert chosen.sum() > 100
    assert np.allclose(walls.ray_mm[chosen], x[chosen] * math.tan(angle), atol=1e-9)
    assert np.allclose(walls.ball_mm[chosen], 2 * x[chosen] * math.tan(angle / 2), atol=1e-8)
    assert np.array_equal(walls.thickness_mm[chosen], walls.ball_mm[chosen])


def test_rays_agree_with_libigl() -> None:
    igl = pytest.importorskip("igl", reason="libigl is the reference here")
    mesh, inside = design().evaluation.mesh, np.flatnonzero(design().intaglio)[::400]
    points, inward = mesh.vertices[inside], -mesh.vertex_normals[inside]
    ways = ways_out(mesh, BoxTree.of(mesh), points, inward)
    assert len(ways) > 10
    for k, way in enumerate(ways):
        hits = igl.ray_mesh_intersect(points[k], inward[k], mesh.vertices, mesh.faces)
        # Each hit is face, way, u, v, in float32; one at the ray's own start is no far side.
        assert way == pytest.approx(min(hit[1] for hit in hits if hit[1] > 1e-3), abs=1e-6)


def samples(mesh: TriangleMesh, count: int) -> FloatArray:
    """Points on every face: its corners and evenly inside."""
    share = [(i, j, count - i - j) for i in range(count + 1) for j in range(count + 1 - i)]
    weights = np.array(share) / count
    return np.einsum("sk,mki->msi", weights, mesh.triangles).reshape(-1, 3)


def test_balls_agree_with_the_smallest_through_any_of_many_places() -> None:
    crown, walls = design(), walls_of_design()
    mesh, normals = crown.evaluation.mesh, crown.evaluation.normals
    places = samples(mesh, 5)
    edge = EDGE_MM / 5
    for k in np.flatnonzero(np.isfinite(walls.ball_mm))[::600]:
        offset = places - mesh.vertices[k]
        squared, height = (offset**2).sum(axis=1), -offset @ normals[k]
        beyond = height >= math.sin(math.radians(15.0)) * np.sqrt(squared) + 0.02
        counts = np.flatnonzero(beyond)
        least = (squared[counts] / height[counts]).min()
        r = 0.5 * walls.ball_mm[k]
        # Samples are part of the surface; beside the contact the ball grows by e²/2h at most.
        assert 2 * r <= least + 1e-9
        assert least - 2 * r < (0.5 * edge) ** 2 / (2 * r * math.sin(math.radians(15.0)))


def test_thinnest_place_of_the_demo_crown_is_that_of_its_formula() -> None:
    crown, walls = design(), walls_of_design()
    shape, first = demo().shape, walls.thinnest[0]
    place = int(np.linalg.norm(crown.evaluation.points - first.place_mm, axis=1).argmin())
    angle = math.atan2(first.place_mm[1], first.place_mm[0])
    theta, s = np.meshgrid(np.linspace(angle - 0.2, angle + 0.2, 200), np.linspace(0.2, 3.0, 400))
    offset = shape.points(theta, s).reshape(-1, 3) - first.place_mm
    squared, height = (offset**2).sum(axis=1), -offset @ crown.evaluation.normals[place]
    counts = height > math.sin(math.radians(15.0)) * np.sqrt(squared) + 0.02
    true = float((squared[counts] / height[counts]).min())
    # The facets lie below the formula's surface by no more than e²/8ρ, with ρ ≥ 1 mm here.
    sag = (1.5 * EDGE_MM) ** 2 / 8.0
    assert true - sag < first.ball_mm < true + 1e-3
    finite = walls.thickness_mm[np.isfinite(walls.thickness_mm)]
    assert first.thickness_mm == finite.min() == min(area.least_mm for area in walls.areas)
    assert first.area == "axial"
    assert "lingual" in first.where
    assert "margin line" in first.where


def test_thinnest_places_lie_apart_and_only_where_walls_are_judged() -> None:
    settings = replace(ALIKE, places=12, apart_mm=0.8, margin_left_out_mm=1.0)
    walls = measured(design(), settings)
    places = np.array([place.place_mm for place in walls.thinnest])
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)[~np.eye(12, dtype=bool)]
    assert len(places) == 12
    assert apart.min() >= 0.8
    values = [place.thickness_mm for place in walls.thinnest]
    assert values == sorted(values)
    judged = np.isfinite(walls.thickness_mm)
    assert np.array_equal(judged, design().intaglio & (design().margin_distance_mm > 1.0))


def test_places_that_lack_most_of_what_their_part_requires_come_first() -> None:
    """Under the occlusal surface 1.0 mm are asked, and the demo crown has 0.63 there."""
    walls = measured(design(), WallSettings(places=3))
    axial, occlusal = walls.areas
    assert occlusal.least_mm - 1.0 < axial.least_mm - 0.5
    assert walls.thinnest[0].area == "occlusal"
    assert walls.thinnest[0].thickness_mm == occlusal.least_mm


def dented(depth_mm: float, wide_mm: float) -> tuple[FitCrown, int]:
    """The demo crown with its outside pushed in over one place of its intaglio; that place."""
    crown, walls = design(), walls_of_design()
    middle = np.array([4.0, 0.0, 3.0])
    away = np.linalg.norm(crown.evaluation.points - middle, axis=1)
    k = int(np.where(np.isfinite(walls.ray_mm), away, np.inf).argmin())
    inward = -crown.evaluation.normals[k]
    far_side = crown.evaluation.points[k] + walls.ray_mm[k] * inward
    points = demo().mesh.vertices
    near = np.linalg.norm(points - far_side, axis=1) / wide_mm
    push = depth_mm * np.clip(2.0 - near, 0.0, 1.0)  # flat over the middle
    external = ~crown.intaglio[: len(points)]
    moved = points - (push * external)[:, None] * inward
    return ready_demo(TriangleMesh(moved, demo().mesh.faces, "thinned")), k


def test_a_thinned_wall_is_found_at_its_place_with_its_depth_as_loss() -> None:
    thinned, k = dented(0.8, 0.8)
    walls = measured(thinned, ALIKE, design=design())
    # The dent is flat across 1.6 mm and moved along the ray: the far side comes nearer by it.
    assert walls.ray_mm[k] == pytest.approx(walls_of_design().ray_mm[k] - 0.8, abs=1e-9)
    assert walls.thickness_mm[k] == walls.ball_mm[k] < walls.ray_mm[k] + 1e-12
    lost = walls_of_design().thickness_mm[k] - walls.thickness_mm[k]
    assert walls.change_um[k] == pytest.approx(-1e3 * lost, abs=1e-6)
    first = walls.thinnest[0]
    assert np.linalg.norm(first.place_mm - thinned.evaluation.points[k]) < 1.0
    assert first.where.startswith("wall, mesial")
    axial = walls.areas[0]
    assert axial.area == "axial"
    assert axial.loss_um < -1.0
    assert not axial.within
    far = np.linalg.norm(thinned.evaluation.points - thinned.evaluation.points[k], axis=1) > 4.0
    assert np.nanmax(np.abs(walls.change_um[far])) < 1e-6


def test_change_is_the_same_in_whatever_pose_the_crown_lies() -> None:
    outer, inner = sphere(5.0, 3), sphere(4.2, 3)
    thin = outer.vertices * (1.0 - 0.06 * (outer.vertices[:, :1] > 3.0))
    body, thinned = hollow(outer, inner), hollow(TriangleMesh(thin, outer.faces), inner)
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = turn * np.linalg.det(turn), (30.0, -4.0, 7.0)
    here = measured(thinned, design=body)
    elsewhere = turned(thinned, np.linalg.inv(pose))
    moved = measured(elsewhere, design=body, T_design_crown=pose)
    assert np.nanmin(here.change_um) < -250.0
    assert np.nanmax(here.change_um) < 1e-6
    assert np.allclose(moved.change_um, here.change_um, atol=1e-5, equal_nan=True)
    assert moved.areas[0].loss_um == pytest.approx(here.areas[0].loss_um, abs=1e-6)


def test_a_hole_in_the_outside_gives_no_thickness_there_and_is_said() -> None:
    crown, whole = design(), walls_of_design()
    mesh = crown.evaluation.mesh
    k = int(np.nanargmin(np.where(crown.evaluation.points[:, 0] > 3.5, whole.ray_mm, np.nan)))
    far_side = crown.evaluation.points[k] - whole.ray_mm[k] * crown.evaluation.normals[k]
    hole = np.linalg.norm(mesh.triangles.mean(axis=1) - far_side, axis=1) < 0.7
    hole &= ~crown.intaglio[mesh.faces].any(axis=1)
    assert hole.sum() > 5
    walls = measured(ready_demo(mesh.kept(~hole)))
    finite = np.isfinite(walls.ray_mm)
    missing = np.isfinite(whole.ray_mm).sum() - finite.sum()
    assert 0 < missing < 200
    (said,) = walls.warnings
    assert f"At {missing:,} measuring points" in said
    assert "open border" in said
    assert np.nanmax(walls.ray_mm) <= np.nanmax(whole.ray_mm) + 1e-9  # none looks across a hollow


@pytest.mark.slow
def test_roughness_of_a_scan_makes_no_wall_thin() -> None:
    rng = np.random.default_rng(5)
    noise = 0.003 * rng.normal(size=len(demo().mesh.vertices))
    rough = demo().mesh.vertices + noise[:, None] * demo().vertex_normals
    walls = measured(ready_demo(TriangleMesh(rough, demo().mesh.faces)))
    for area, before in zip(walls.areas, walls_of_design().areas, strict=True):
        assert area.least_mm == pytest.approx(before.least_mm, abs=0.03)
        assert area.p50_mm == pytest.approx(before.p50_mm, abs=0.005)


def test_numbers_of_a_part_are_weighted_by_area() -> None:
    walls, crown = walls_of_design(), design()
    settings = WallSettings(least_axial_mm=0.9)
    walls = measured(crown, settings)
    axial = walls.areas[0]
    part = np.isfinite(walls.thickness_mm) & ~crown.parts["occlusal"]
    t, w = walls.thickness_mm[part], crown.evaluation.weights_mm2[part]
    assert axial.thin_area_mm2 == pytest.approx(w[t < 0.9].sum())
    assert w[t < axial.p5_mm].sum() <= 0.05 * w.sum() <= w[t <= axial.p5_mm].sum()
    assert w[t < axial.p50_mm].sum() <= 0.5 * w.sum() <= w[t <= axial.p50_mm].sum()
    assert not axial.within
    assert axial.required_mm == 0.9


def test_nothing_beyond_the_margin_is_said_with_the_remedy() -> None:
    body = hollow(box((8.0, 8.0, 8.0)), box((6.0, 6.0, 6.0)), spacing_mm=2.0)
    near = replace(body, margin_distance_mm=np.zeros(len(body.intaglio)))
    with pytest.raises(AreaError, match="Leave out less at the margin"):
        measured(near)


def test_a_design_without_an_intaglio_gives_no_loss_and_is_said() -> None:
    body = hollow(sphere(5.0, 2), sphere(4.0, 2))
    areas = body.area_set
    outside = replace(areas, areas={"external": areas["external"]})
    walls = measured(body, design=replace(body, area_set=outside))
    assert walls.warnings == (
        "The design has no intaglio, so what the walls lost against it is not measured.",
    )
    assert np.isnan(walls.change_um).all()
    assert np.isnan(walls.areas[0].loss_um)
    with pytest.raises(AreaError, match="no intaglio"):
        measured(replace(body, area_set=outside))


def test_progress_never_goes_back() -> None:
    body = hollow(sphere(5.0, 2), sphere(4.0, 2))
    steps: list[Progress] = []
    run(measure_walls_steps(body, design=body), steps.append)
    fractions = [step.fraction for step in steps]
    assert fractions == sorted(fractions)
    assert fractions[0] >= 0.0
    assert fractions[-1] <= 1.0
