"""The gap between a seated crown and its die, against closed forms and another library."""

from __future__ import annotations

from dataclasses import replace

import igl
import numpy as np
import pytest
from cuspwise.standalone_core.demo.production import random_pose
from cuspwise.standalone_core.fit.crown import moved_crown
from cuspwise.standalone_core.fit.die import FitDie
from cuspwise.standalone_core.fit.gap.gap_map import gap_map
from cuspwise.standalone_core.fit.gap.result import AreaGap, GapMap
from cuspwise.standalone_core.fit.settings import GapSettings
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.rigid import inverse, motion
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.fit_gaps import band, die_of, intaglio_crown
from made.fit_shapes import FitPair, cone_pair, shoulder_pair
from made.tiers import slow

UM = 1e-3
WITHIN_UM = 0.01


def lifted(mm: float) -> np.ndarray:
    return motion(np.eye(3), (0.0, 0.0, mm))


def mapped(pair: FitPair, pose: np.ndarray | None = None, **settings: float) -> GapMap:
    pose = np.eye(4) if pose is None else pose
    return gap_map(pair.crown, pair.die, pose, GapSettings(**settings))


def part(found: GapMap, name: str) -> AreaGap:
    return next(area for area in found.areas if area.area == name)


@pytest.mark.parametrize("taper_deg", [slow(2.0), 6.0, slow(12.0)])
def test_a_cone_has_its_normal_gap_everywhere(taper_deg: float) -> None:
    """Walls w apart along the radius are w cos α apart; sinking by t brings them t sin α nearer."""
    pair = cone_pair(taper_deg, 0.05)
    alpha, sunk = np.radians(taper_deg), 0.1
    points = pair.crown.evaluation.points
    radius, height = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    apart = radius - (4.0 - np.tan(alpha) * height)  # radial: the die's cone is 4 mm wide at 0
    for lift, less in ((0.0, 0.0), (-sunk, sunk * np.sin(alpha))):
        found = mapped(pair, lifted(lift))
        wall = (pair.crown.parts["axial"] | pair.crown.parts["margin"]) & (height + lift < 5.0)
        expected = 1e3 * (apart[wall] * np.cos(alpha) - less)
        np.testing.assert_allclose(found.gap_um[wall], expected, atol=WITHIN_UM)
        roof = part(found, "occlusal")
        at_roof = 500.0 + 1e3 * (pair.drop_mm + lift)
        assert roof.least_um == pytest.approx(at_roof, abs=WITHIN_UM)
        assert roof.most_um == pytest.approx(at_roof, abs=WITHIN_UM)
    assert np.isnan(found.gap_um[~pair.crown.intaglio]).all()


def test_a_shoulder_has_its_height_and_its_play() -> None:
    """Bore 50 µm wider than the die, flat edge 80 µm above the shoulder, roof 280 µm above."""
    pair = shoulder_pair(0.05, 0.3)
    found = mapped(pair, lifted(-0.22), cement_space_um=60.0, margin_space_um=70.0)
    flat = np.hypot(*pair.crown.evaluation.points[:, :2].T) > 4.2
    flat &= pair.crown.intaglio
    np.testing.assert_allclose(found.gap_um[flat], 80.0, atol=WITHIN_UM)
    axial, occlusal = part(found, "axial"), part(found, "occlusal")
    assert axial.p50_um == pytest.approx(50.0, abs=WITHIN_UM)
    assert axial.against_space_um == pytest.approx(axial.mean_um - 60.0)
    assert occlusal.p50_um == pytest.approx(280.0, abs=WITHIN_UM)
    margin = part(found, "margin")
    assert margin.against_space_um == pytest.approx(margin.mean_um - 70.0)
    assert [area.area for area in found.areas] == ["whole", "margin", "axial", "occlusal"]
    assert np.isnan(mapped(pair).areas[0].against_space_um)


def test_overlap_is_negative_and_holds_no_cement() -> None:
    pair = cone_pair(6.0, 0.05)
    deep = pair.drop_mm + 0.1
    axial = part(mapped(pair, lifted(-deep)), "axial")
    assert axial.mean_um == pytest.approx(-100.0 * np.sin(np.radians(6.0)), abs=WITHIN_UM)
    assert axial.volume_mm3 == 0.0


def test_numbers_are_weighted_by_area_and_not_by_points() -> None:
    """A cylinder over a cone: the gap grows linearly from 50 µm, over an area even in height.

    Mean at half the height, deviation range / √12, percentiles linear (uniform distribution).
    """
    alpha, height, sides = np.radians(6.0), 4.0, 60
    steps = np.concatenate([np.linspace(0.0, 0.5, 60), np.linspace(0.5, height, 200)[1:]])
    crown = band([(4.05, z) for z in steps], sides).flipped()
    slope = np.tan(alpha)
    die = die_of(band([(4.0 + slope, -1.0), (4.0 - 6.0 * slope, 6.0)], sides))
    found = gap_map(intaglio_crown(crown, crown.vertices[:sides]), die, np.eye(4), GapSettings())
    whole, cosine = found.areas[0], np.cos(alpha)
    at = {p: 1e3 * cosine * (0.05 + slope * height * p) for p in (0.0, 0.05, 0.5, 0.95, 1.0)}
    spread = at[1.0] - at[0.0]
    assert whole.mean_um == pytest.approx(at[0.5], abs=WITHIN_UM)
    assert whole.sd_um == pytest.approx(spread / np.sqrt(12.0), rel=1e-4)
    assert (whole.least_um, whole.most_um) == pytest.approx((at[0.0], at[1.0]), abs=WITHIN_UM)
    for name, p in (("p5_um", 0.05), ("p50_um", 0.5), ("p95_um", 0.95)):
        assert getattr(whole, name) == pytest.approx(at[p], abs=2e-3 * spread)
    assert whole.coverage == 1.0


def test_cement_of_a_cone_is_its_volume() -> None:
    """Pappus: a strip δ wide along the wall, its middle at r − δ cos α / 2, once around.

    Bounds: a regular polygon of 180 sides is 5e-5 shorter than its circle, (π/180)²/6; half a row
    of 40 at each end is without the curvature's term, 0.6 %: 1.6e-4. The gap times the area alone
    would be that 0.6 % too much.
    """
    taper, delta, sides, height = np.radians(6.0), 0.05, 180, 4.0
    slope, wide = np.tan(taper), 4.0 + delta / np.cos(taper)
    rows = [(wide - slope * z, z) for z in np.linspace(0.0, height, 41)]
    crown = band(rows, sides).flipped()
    die = die_of(band([(4.0 + slope, -1.0), (4.0 - 6.0 * slope, 6.0)], sides))
    crown_ready = intaglio_crown(crown, crown.vertices[:sides])
    whole = gap_map(crown_ready, die, np.eye(4), GapSettings()).areas[0]
    middle = 0.5 * (rows[0][0] + rows[-1][0]) - 0.5 * delta * np.cos(taper)
    expected = 2.0 * np.pi * middle * delta * height / np.cos(taper)
    assert whole.volume_mm3 == pytest.approx(expected, rel=2e-4)
    assert whole.area_mm2 * delta > 1.006 * expected


def test_cement_of_a_sphere_lacks_only_the_term_that_is_left_out() -> None:
    """A zone between spheres: Steiner's three terms g + H g² + K g³/3 with H −1/R and K 1/R².

    Bounds: a polygon of 90 sides is 2e-4 shorter than its circle and encloses 8e-4 less; half a
    row of 160 at each end is without the curvature's term, 10 %: 6e-4.
    """
    outer, gap, sides = 3.0, 0.3, 90
    polar = np.radians(np.linspace(40.0, 80.0, 161))[::-1]
    zone = [(outer * np.sin(t), outer * np.cos(t)) for t in polar]
    crown = band(zone, sides).flipped()
    far = np.radians(np.linspace(30.0, 90.0, 61))[::-1]
    inner = outer - gap
    die = die_of(band([(inner * np.sin(t), inner * np.cos(t)) for t in far], sides))
    ready = intaglio_crown(crown, crown.vertices[:sides])
    whole = gap_map(ready, die, np.eye(4), GapSettings()).areas[0]
    area = 2.0 * np.pi * outer**2 * (np.cos(polar[-1]) - np.cos(polar[0]))
    exact = area * (outer**3 - inner**3) / (3.0 * outer**2)
    left_out = area * gap**3 / (3.0 * outer**2)
    assert whole.volume_mm3 == pytest.approx(exact - left_out, rel=1.5e-3)
    assert abs(whole.volume_mm3 - exact) < 2.0 * left_out


def test_there_is_no_gap_where_there_is_no_die() -> None:
    """Farther than 2 mm, beyond an open border, and beside a crown that is over-extended."""
    die = die_of(band([(4.0, 0.0), (4.0, 4.0)], 60))
    low = band([(4.05, z) for z in np.linspace(-2.0, 4.0, 31)], 60).flipped()
    found = gap_map(intaglio_crown(low, low.vertices[:60]), die, np.eye(4), GapSettings())
    below = low.vertices[:, 2] < -1e-9
    assert np.isnan(found.gap_um[below]).all()
    inside = (low.vertices[:, 2] > 1e-9) & (low.vertices[:, 2] < 4.0 - 1e-9)
    np.testing.assert_allclose(found.gap_um[inside], 50.0, atol=WITHIN_UM)
    assert found.areas[0].coverage < 0.7
    assert "no die across from it" in found.warnings[0]
    wide = band([(6.1, z) for z in np.linspace(1.0, 3.0, 5)], 60).flipped()
    far = gap_map(intaglio_crown(wide, wide.vertices[:60]), die, np.eye(4), GapSettings())
    assert np.isnan(far.gap_um).all()
    assert far.areas[0].coverage == 0.0
    assert np.isnan([far.areas[0].mean_um, far.areas[0].volume_mm3]).all()
    over = shoulder_pair(0.05, 0.3, edge_mm=1.4, step_mm=0.1)
    radius = np.hypot(*over.crown.evaluation.points[:, :2].T)
    hanging = over.crown.intaglio & (radius > 5.2)
    assert hanging.any()
    assert np.isnan(mapped(over, lifted(-0.25)).gap_um[hanging]).all()


def test_the_gap_does_not_depend_on_the_frames() -> None:
    pair = cone_pair(6.0, 0.05)
    rng = np.random.default_rng(3)
    of_crown, of_die = random_pose(rng), random_pose(rng)
    mesh = pair.die.mesh.moved(of_die)
    die = replace(
        pair.die, mesh=mesh, index=SurfaceIndex(mesh), axis=of_die[:3, :3] @ pair.die.axis
    )
    crown = moved_crown(pair.crown, of_crown)
    elsewhere = gap_map(crown, die, of_die @ lifted(-0.2) @ inverse(of_crown), GapSettings())
    here = mapped(pair, lifted(-0.2))
    np.testing.assert_allclose(elsewhere.gap_um, here.gap_um, atol=1e-6)
    for one, other in zip(here.areas, elsewhere.areas, strict=True):
        assert one.volume_mm3 == pytest.approx(other.volume_mm3, rel=1e-9)


def test_gaps_are_the_distances_that_libigl_finds() -> None:
    """On a die that waves in both directions, crown points to both sides of it."""
    rows = [(4.0 + 0.1 * np.sin(5.0 * z), z) for z in np.linspace(0.0, 4.0, 41)]
    smooth = band(rows, 72)
    theta = np.arctan2(smooth.vertices[:, 1], smooth.vertices[:, 0])
    waved = smooth.vertices * np.stack(
        [1 + 0.03 * np.cos(6 * theta)] * 2 + [np.ones_like(theta)], 1
    )
    mesh = TriangleMesh(waved, smooth.faces, "waved")
    die: FitDie = die_of(mesh)
    crown = band([(4.05, z) for z in np.linspace(0.5, 3.5, 25)], 50).flipped()
    found = gap_map(intaglio_crown(crown, crown.vertices[:50]), die, np.eye(4), GapSettings())
    signed, *_ = igl.signed_distance(
        crown.vertices, mesh.vertices, mesh.faces, igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL
    )
    measured = np.isfinite(found.gap_um)
    assert measured.mean() > 0.95
    assert (found.gap_um[measured] < -10.0).any()
    assert (found.gap_um[measured] > 10.0).any()
    np.testing.assert_allclose(found.gap_um[measured], 1e3 * signed[measured], atol=1e-6)
