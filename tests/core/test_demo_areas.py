"""The demo crown's true areas against their own definitions, worked out in other ways."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
import pytest
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.demo.geodesic_rays import geodesic_ends
from cuspwise.standalone_core.demo.quadrature import surface_nodes
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.demo.true_areas import TRUE_AREA_NAMES, AreaDefinition, TrueAreas
from cuspwise.standalone_core.errors import AreaError
from made.tiers import slow


@pytest.fixture(scope="module")
def crown() -> DemoCrown:
    return demo_crown(0.15)


@dataclass(frozen=True)
class Sphere:
    """Longitude θ and latitude s/R: stands in for a crown's shape."""

    radius: float = 5.0

    def points(self, theta, s):
        a = s / self.radius
        return self.radius * np.stack(
            [np.cos(a) * np.cos(theta), np.cos(a) * np.sin(theta), np.sin(a)], axis=-1
        )

    def tangents(self, theta, s):
        a = s / self.radius
        around = np.stack([-np.cos(a) * np.sin(theta), np.cos(a) * np.cos(theta), 0.0 * a], axis=-1)
        along = np.stack(
            [-np.sin(a) * np.cos(theta), -np.sin(a) * np.sin(theta), np.cos(a)], axis=-1
        )
        return self.points(theta, s), self.radius * around, along


def test_geodesics_of_a_sphere_are_great_circles():
    sphere, length = Sphere(), 2.0
    theta, s = np.full(24, 0.4), np.full(24, 1.0)
    turn = np.arange(24) * np.pi / 12.0
    start, around, along = sphere.tangents(theta, s)
    direction = np.cos(turn)[:, None] * around / np.linalg.norm(around, axis=1, keepdims=True)
    direction = direction + np.sin(turn)[:, None] * along
    end = sphere.points(*geodesic_ends(sphere, theta, s, direction, length))
    angle = length / sphere.radius
    expected = np.cos(angle) * start + np.sin(angle) * sphere.radius * direction
    np.testing.assert_allclose(end, expected, atol=5e-6)


def test_the_areas_divide_the_surface(crown):
    areas = crown.vertex_areas
    assert tuple(areas) == TRUE_AREA_NAMES
    assert areas["whole"].all()
    np.testing.assert_array_equal(areas["external"], ~areas["intaglio"])
    np.testing.assert_array_equal(areas["occlusal"] | areas["axial"], areas["external"])
    assert not (areas["occlusal"] & areas["axial"]).any()
    for part, of in (
        ("fossae", "occlusal"),
        ("contact_mesial", "axial"),
        ("contact_distal", "axial"),
    ):
        assert areas[part].any()
        assert areas[of][areas[part]].all()
    assert (areas["margin"] & areas["intaglio"]).any()
    assert (areas["margin"] & areas["external"]).any()


def test_the_margin_area_ends_one_millimetre_from_the_line():
    """Exact polyhedral geodesics (libigl, Mitchell et al.) on a mesh with a thicker rim.

    The rim is 0.3 mm thick here so that the mesh's facets follow it.
    """
    crown = demo_crown(0.12, CrownShape(rim_width_mm=0.3))
    line = np.flatnonzero(crown.s == 0.0)
    near = np.flatnonzero(np.abs(crown.s) < 2.0)
    kept = np.isin(crown.mesh.faces, near).all(axis=1)
    patch = crown.mesh.kept(kept)
    used = np.unique(crown.mesh.faces[kept])
    upper, lower = crown.true_areas.margin_limits
    theta, s = crown.theta[used], crown.s[used]
    some = np.flatnonzero(
        np.minimum(np.abs(s - upper.at(theta)), np.abs(s - lower.at(theta))) < 0.1
    )
    some = some[::4]
    distance = igl.exact_geodesic(
        np.array(patch.vertices),
        np.array(patch.faces),
        np.flatnonzero(np.isin(used, line)),
        np.array([], dtype=np.int64),
        some,
        np.array([], dtype=np.int64),
    )
    inside = crown.true_areas.contains("margin", theta[some], s[some])
    assert np.all(distance[inside] < 1.0 + 0.01)
    assert np.all(distance[~inside] > 1.0 - 0.01)
    assert inside.any()
    assert (~inside).any()


def test_occlusal_is_what_faces_occlusal(crown):
    """Within the occlusal area only walls of fissures are steep; outside only islands face up."""
    areas, up = crown.vertex_areas, crown.vertex_normals[:, 2]
    weights = crown.mesh.vertex_areas
    steep = areas["occlusal"] & (up < 0.5)
    assert weights[steep].sum() < 0.1 * weights[areas["occlusal"]].sum()
    facing = areas["axial"] & (up > 0.5)
    assert weights[facing].sum() < 0.01 * weights[areas["axial"]].sum()
    tips = [
        np.hypot(crown.mesh.vertices[:, 0] - c.x_mm, crown.mesh.vertices[:, 1] - c.y_mm)
        for c in crown.shape.cusps
    ]
    for distance in tips:
        assert areas["occlusal"][(distance < 0.3) & (crown.s > 3.0)].all()


@pytest.mark.parametrize("count", [3, slow(30)])
def test_fossae_are_where_a_ball_cannot_come_near(crown, count):
    """Drop the ball at every place of a fine lattice; see how near it comes."""
    definition = AreaDefinition()
    radius, limit = definition.fossa_ball_radius_mm, definition.fossa_gap_mm
    nodes = surface_nodes(crown.shape, 0.06)
    solid = nodes.points[crown.true_areas.contains("external", nodes.theta, nodes.s)]
    rng = np.random.default_rng(5)
    places = rng.choice(np.flatnonzero(crown.vertex_areas["occlusal"]), count, replace=False)
    step = np.arange(-radius, radius + 0.03, 0.06)
    offsets = np.stack([part.ravel() for part in np.meshgrid(step, step)], axis=1)
    offsets = offsets[np.hypot(*offsets.T) < 0.995 * radius]
    for place in places:
        point = crown.mesh.vertices[place]
        gap = _least_gap(point, solid, offsets, radius)
        if abs(gap - limit) > 0.008:  # the lattice and the sample leave some micrometres
            assert crown.vertex_areas["fossae"][place] == (gap > limit)


def _least_gap(point, solid, offsets, radius) -> float:
    near = solid[np.hypot(*(solid[:, :2] - point[:2]).T) < 2.0 * radius]
    across = near[None, :, :2] - (point[:2] + offsets)[:, None, :]
    square = radius**2 - (across**2).sum(axis=2)
    lift = np.where(square > 0.0, np.sqrt(np.maximum(square, 0.0)), -np.inf)
    centre = (near[None, :, 2] + lift).max(axis=1)
    under = centre - np.sqrt(radius**2 - (offsets**2).sum(axis=1))
    return float((under - point[2]).min())


def test_contacts_lie_about_the_outermost_places(crown):
    for name, sign in (("contact_mesial", 1.0), ("contact_distal", -1.0)):
        inside = crown.vertex_areas[name]
        reach = sign * crown.mesh.vertices[:, 0]
        assert inside[reach.argmax()]
        area = crown.mesh.vertex_areas[inside].sum()
        # a geodesic disc of 1.5 mm: π r² (1 - K r²/12) for a small curvature K
        assert area == pytest.approx(np.pi * 1.5**2, rel=0.03)
        assert np.ptp(crown.mesh.vertices[inside][:, 2]) < 3.05


@pytest.mark.slow
def test_wider_limits_hold_more(crown):
    wide = AreaDefinition(margin_band_mm=1.2, occlusal_slope_deg=65.0)
    far = AreaDefinition(contact_radius_mm=1.8)
    for name, definition in (("margin", wide), ("occlusal", wide), ("contact_mesial", far)):
        more = TrueAreas(crown.shape, definition).contains(name, crown.theta, crown.s)
        assert more[crown.vertex_areas[name]].all()
        assert more.sum() > 1.05 * crown.vertex_areas[name].sum()


def test_areas_at_points_of_another_mesh(crown):
    found = crown.areas_at(crown.mesh.vertices)
    for name, expected in crown.vertex_areas.items():
        assert (found[name] == expected).mean() > 0.9995, name
    centres = crown.mesh.triangles.mean(axis=1)
    external = crown.areas_at(centres)["external"]
    clear = np.abs(crown.s[crown.mesh.faces]).min(axis=1) > 0.0
    np.testing.assert_array_equal(
        external[clear], (crown.s[crown.mesh.faces] > 0.0).all(axis=1)[clear]
    )


def test_an_unknown_area_is_said(crown):
    with pytest.raises(AreaError, match="no true area 'roof'"):
        crown.true_areas.contains("roof", crown.theta, crown.s)
