"""Marginal gap, extension and absolute discrepancy against formulas.

The measures are those of Holmes et al., J Prosthet Dent 1989; 62: 405–408 (from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import AreaSettings
from cuspwise.standalone_core.demo.production import random_pose
from cuspwise.standalone_core.deviation.margin_directions import Directions, directions_about
from cuspwise.standalone_core.errors import AreaError
from cuspwise.standalone_core.fit.crown import FitCrown, moved_crown
from cuspwise.standalone_core.fit.die import FitDie
from cuspwise.standalone_core.fit.gap.marginal import marginal_gap
from cuspwise.standalone_core.fit.gap.marginal_rows import MARGINAL_COLUMNS, marginal_rows
from cuspwise.standalone_core.fit.gap.result import Harmonic, MarginalGap
from cuspwise.standalone_core.fit.settings import GapSettings
from cuspwise.standalone_core.superimpose.rigid import inverse, motion, rotation_from_vector
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.fit_gaps import AXIS, SETTINGS, angles, any_crown, around, band, die_of, flat_die
from made.fit_shapes import cone_pair, shoulder_pair
from made.tiers import slow

WITHIN_UM = 0.01
RADIUS = 4.8
FINE = 3600  # points of a circle: its legs lie 0.002 µm inside it
BOTH = directions_about(AXIS, SETTINGS)
TURN = np.radians(np.arange(360.0))


def lifted(mm: float) -> np.ndarray:
    return motion(np.eye(3), (0.0, 0.0, mm))


def margin_of(
    crown: FitCrown,
    die: FitDie,
    pose: np.ndarray | None = None,
    directions: Directions = BOTH,
    **settings: float,
) -> MarginalGap:
    pose = np.eye(4) if pose is None else pose
    return marginal_gap(crown, die, pose, GapSettings(**settings), directions)


def on_circle(
    gap_um: np.ndarray | float = 50.0, over_um: np.ndarray | float = 0.0, **settings: float
) -> MarginalGap:
    """A crown's edge so high above a circle on a flat, and so far outside it."""
    edge = around(RADIUS + 1e-3 * np.asarray(over_um), 1e-3 * np.asarray(gap_um), FINE)
    return margin_of(any_crown(edge), flat_die(around(RADIUS, 0.0, FINE)), **settings)


def harmonic(found: MarginalGap, of: str, order: int) -> Harmonic:
    return next(h for h in found.harmonics if (h.of, h.order) == (of, order))


@pytest.mark.parametrize(
    ("gap_um", "over_um", "absolute_um"),
    [(50.0, -120.0, 130.0), (80.0, 0.0, 80.0), slow(50.0, 30.0, 58.3095), (80.0, 150.0, 170.0)],
)
def test_a_shoulder_by_pythagoras(gap_um: float, over_um: float, absolute_um: float) -> None:
    """50 and 120 make 130 (5-12-13), 80 and 150 make 170 (8-15-17)."""
    pair = shoulder_pair(0.05, 0.3, edge_mm=1.0 + 1e-3 * over_um)
    found = margin_of(pair.crown, pair.die, lifted(1e-3 * gap_um - 0.3), places=90)
    for values, expected in (
        (found.gap_um, gap_um),
        (found.vertical_um, gap_um),
        (found.extension_um, over_um),
        (found.horizontal_um, over_um),
        (found.absolute_um, absolute_um),
    ):
        np.testing.assert_allclose(values, expected, atol=WITHIN_UM)
    assert found.measured.all()
    assert (found.coverage, found.warnings, found.within) == (1.0, (), True)
    assert (found.mean_um, found.most_um) == pytest.approx((gap_um, gap_um), abs=WITHIN_UM)
    assert found.absolute_mean_um == pytest.approx(absolute_um, abs=WITHIN_UM)
    assert (found.over_share, found.under_share) == (float(over_um > 50), float(over_um < -50))
    np.testing.assert_allclose(np.hypot(*found.finish_mm[:, :2].T), 5.0, atol=1e-9)


@pytest.mark.parametrize("taper_deg", [2.0, slow(12.0)])
def test_a_finish_line_without_an_edge_has_its_wall_for_prepared_surface(taper_deg: float) -> None:
    """A cone that runs on below its finish line: n is its normal, the edge 0.4 mm higher up.

    m − l = δ n + u (up the wall), so that u = (z − δ sin α) / cos α for the edge at height z.
    """
    pair, alpha = cone_pair(taper_deg, 0.05), np.radians(taper_deg)
    height = 0.4
    low = pair.crown.margin_line.points_mm[:, 2].min()
    shallow = replace(
        pair.crown.margin_line,
        points_mm=around(4.0 - np.tan(alpha) * height + 0.05 / np.cos(alpha), low, 90),
    )
    crown = replace(pair.crown, area_set=replace(pair.crown.area_set, margin_line=shallow))
    found = margin_of(crown, pair.die, lifted(height - low), places=90)
    up = 1e3 * (height - 0.05 * np.sin(alpha)) / np.cos(alpha)
    np.testing.assert_allclose(found.gap_um, 50.0, atol=WITHIN_UM)
    np.testing.assert_allclose(found.extension_um, -up, atol=WITHIN_UM)
    np.testing.assert_allclose(found.vertical_um, 1e3 * height, atol=WITHIN_UM)


def test_a_bevel_turns_gap_and_extension_with_its_slope() -> None:
    """A shoulder sloping down outward by 30°: the same way from line to edge, turned by 30°."""
    slope = np.radians(30.0)
    rows = [(5.0, -2.0), (5.0, 0.0), (4.0, np.tan(slope)), (3.8, 4.0)]
    die = die_of(band(rows, 90), around(5.0, 0.0, 90))
    found = margin_of(any_crown(around(5.03, 0.07, 90)), die, places=90)
    gap = 70.0 * np.cos(slope) + 30.0 * np.sin(slope)
    extension = 30.0 * np.cos(slope) - 70.0 * np.sin(slope)
    np.testing.assert_allclose(found.gap_um, gap, atol=WITHIN_UM)
    np.testing.assert_allclose(found.extension_um, extension, atol=WITHIN_UM)
    np.testing.assert_allclose(found.absolute_um, np.hypot(70.0, 30.0), atol=WITHIN_UM)


def test_a_shifted_crown_shows_its_shift() -> None:
    """A circle shifted by s towards φ: s cos ψ + √(R² − s² sin² ψ) − R with ψ = θ − φ, exactly.

    That is s cos(θ − φ) but for s²/2R, 0.17 µm here, which is in the even harmonics.
    """
    s, phi = 0.04, np.radians(130.0)
    shift = motion(np.eye(3), (s * np.cos(phi), s * np.sin(phi), 0.05))
    line = around(RADIUS, 0.0, FINE)
    found = margin_of(any_crown(line), flat_die(line), shift)
    psi = TURN - phi
    expected = s * np.cos(psi) + np.sqrt(RADIUS**2 - (s * np.sin(psi)) ** 2) - RADIUS
    np.testing.assert_allclose(found.extension_um, 1e3 * expected, atol=WITHIN_UM)
    np.testing.assert_allclose(found.gap_um, 50.0, atol=WITHIN_UM)
    first = harmonic(found, "extension", 1)
    assert first.amplitude_um == pytest.approx(40.0, abs=WITHIN_UM)
    assert first.angle_deg == pytest.approx(130.0, abs=0.01)
    assert first.where == "distobuccal"
    assert np.abs(found.extension_um).mean() == pytest.approx(80.0 / np.pi, rel=2e-3)
    assert harmonic(found, "gap", 0).amplitude_um == pytest.approx(50.0, abs=WITHIN_UM)
    assert np.isnan(harmonic(found, "gap", 1).angle_deg)
    assert harmonic(found, "gap", 1).where == ""


def test_a_tilted_crown_shows_its_tilt() -> None:
    """Turned by β about its middle, the edge rises by R sin β: the gap's first harmonic."""
    beta, phi = 30e-3 / RADIUS, np.radians(300.0)
    turn = rotation_from_vector(beta * np.array([np.sin(phi), -np.cos(phi), 0.0]))
    line = around(RADIUS, 0.0, FINE)
    found = margin_of(any_crown(line), flat_die(line), motion(turn, (0.0, 0.0, 0.1)))
    expected = 100.0 + 1e3 * RADIUS * np.sin(beta) * np.cos(TURN - phi)
    np.testing.assert_allclose(found.gap_um, expected, atol=WITHIN_UM)
    first = harmonic(found, "gap", 1)
    assert first.amplitude_um == pytest.approx(30.0, abs=WITHIN_UM)
    assert first.angle_deg == pytest.approx(300.0, abs=0.01)
    assert (found.most_deg, found.most_where) == (300.0, "mesiolingual")
    assert found.most_um == pytest.approx(130.0, abs=WITHIN_UM)


def test_an_oval_crown_shows_its_oval() -> None:
    """r = R + A cos 2(θ − φ): long minus short diameter is 4 A."""
    oval = 25.0 * np.cos(2.0 * (angles(FINE) - np.radians(100.0)))
    found = on_circle(50.0, oval)
    np.testing.assert_allclose(
        found.extension_um, 25.0 * np.cos(2.0 * (TURN - np.radians(100.0))), atol=WITHIN_UM
    )
    second = harmonic(found, "extension", 2)
    assert second.amplitude_um == pytest.approx(25.0, abs=WITHIN_UM)
    assert second.angle_deg == pytest.approx(100.0, abs=0.01)
    assert second.where == "buccal and lingual"
    assert harmonic(found, "extension", 1).amplitude_um < WITHIN_UM


def test_sectors_limits_and_the_largest_by_formula() -> None:
    """Gap 100 + 60 cos(θ − 45°): over 45 places of 1° the mean of the cosine is Dirichlet's.

    Σ cos(kh), k from −22 to 22, is sin(45 h / 2) / sin(h / 2), h = 1°.
    """
    wave = 100.0 + 60.0 * np.cos(angles(FINE) - np.radians(45.0))
    found = on_circle(wave, -60.0)
    share = np.sin(np.radians(22.5)) / (45.0 * np.sin(np.radians(0.5)))
    names = "mesial mesiobuccal buccal distobuccal distal distolingual lingual mesiolingual"
    assert [sector.name for sector in found.sectors] == names.split()
    for k, sector in enumerate(found.sectors):
        mean = 100.0 + 60.0 * share * np.cos(np.radians(45.0 * (k - 1)))
        assert sector.gap_um == pytest.approx(mean, abs=WITHIN_UM)
        assert sector.extension_um == pytest.approx(-60.0, abs=WITHIN_UM)
        inside = (np.arange(360) + 22) // 45 % 8 == k
        expected = np.hypot(found.gap_um[inside], 60.0).mean()
        assert sector.absolute_um == pytest.approx(expected, abs=WITHIN_UM)
        beyond = 100.0 + 60.0 * np.cos(TURN[inside] - np.radians(45.0)) > 120.0
        assert sector.share_beyond == beyond.mean()
    assert (found.sectors[0].from_deg, found.sectors[0].to_deg) == (337.5, 22.5)
    # cos ψ > 1/3 for |ψ| < 70.53°: 141 of 360 places.
    assert found.share_beyond == 141 / 360
    assert not found.within
    assert (found.most_deg, found.most_where) == (45.0, "mesiobuccal")
    assert found.most_um == pytest.approx(160.0, abs=WITHIN_UM)
    assert found.sd_um == pytest.approx(60.0 / np.sqrt(2.0), abs=WITHIN_UM)
    assert (found.over_share, found.under_share) == (0.0, 1.0)
    assert on_circle(wave, marginal_limit_um=160.5).within
    assert on_circle(119.0, 200.0).within  # the absolute discrepancy is not judged


def test_an_edge_below_the_prepared_surface_is_not_beyond() -> None:
    found = on_circle(-150.0, 60.0)
    np.testing.assert_allclose(found.gap_um, -150.0, atol=WITHIN_UM)
    assert (found.share_beyond, found.within, found.over_share) == (0.0, True, 1.0)


def ellipse(a: float, b: float, out: float, z: float, count: int = 20000) -> np.ndarray:
    """An ellipse's parallel curve: so far out along its normal everywhere."""
    t = angles(count)
    normal = np.stack([b * np.cos(t), a * np.sin(t)], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    plane = np.stack([a * np.cos(t), b * np.sin(t)], axis=1) + out * normal
    return np.column_stack([plane, np.full(count, z)])


def test_planes_lie_across_the_line_and_not_through_the_axis() -> None:
    """Beside an oval an edge 120 µm out everywhere is 120 µm out at every even angle.

    In planes through the path of insertion it would be 120 / cos ψ, up to 2.9 µm more, ψ being the
    angle between radius and normal: 12.7° at most for 5 by 4 mm.
    """
    found = margin_of(any_crown(ellipse(5, 4, 0.12, 0.05)), flat_die(ellipse(5, 4, 0, 0)))
    np.testing.assert_allclose(found.extension_um, 120.0, atol=WITHIN_UM)
    np.testing.assert_allclose(found.absolute_um, 130.0, atol=WITHIN_UM)
    np.testing.assert_allclose(found.angle_deg, np.arange(360.0))
    x, y = found.finish_mm[:, 0], found.finish_mm[:, 1]
    off = (np.degrees(np.arctan2(y, x)) - np.arange(360.0) + 180.0) % 360.0 - 180.0
    np.testing.assert_allclose(off, 0.0, atol=1e-9)


def banana(out: float, z: float, count: int = 20000) -> np.ndarray:
    """A bent oval whose middle lies outside it, and its parallel curve."""
    t = angles(count)
    x, y = 4.0 * np.cos(t), 1.2 * np.sin(t)
    way = np.stack([-4.0 * np.sin(t), 1.2 * np.cos(t) + 0.25 * 2.0 * x * -4.0 * np.sin(t)], axis=1)
    normal = np.stack([way[:, 1], -way[:, 0]], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    plane = np.stack([x, y + 0.25 * x**2], axis=1) + out * normal
    return np.column_stack([plane, np.full(count, z)])


def test_a_line_that_turns_back_is_divided_along_its_length() -> None:
    line = banana(0.0, 0.0)
    found = margin_of(any_crown(banana(-0.12, 0.05)), flat_die(line), places=180)
    assert found.coverage == 1.0
    # At the ends, of 0.2 mm radius, the chord of 0.5 mm is no tangent any more; nowhere else.
    straight = np.abs(found.finish_mm[:, 0]) < 3.0
    np.testing.assert_allclose(found.gap_um, 50.0, atol=WITHIN_UM)
    np.testing.assert_allclose(found.extension_um[straight], -120.0, atol=0.05)
    steps = np.linalg.norm(np.diff(found.finish_mm, axis=0), axis=1)
    assert np.ptp(steps[straight[1:] & straight[:-1]]) < 2e-3
    middle = 0.5 * (line + np.roll(line, 1, axis=0))
    weight = np.linalg.norm(line - np.roll(line, 1, axis=0), axis=1)
    arms = found.finish_mm - (weight @ middle) / weight.sum()
    expected = np.degrees(np.arctan2(arms[:, 1], arms[:, 0])) % 360.0
    np.testing.assert_allclose(found.angle_deg, expected, atol=1e-6)
    assert "turns back" in found.warnings[0]
    assert len(found.sectors) == 8


def test_an_open_edge_or_finish_line_is_not_measured_where_it_is_missing() -> None:
    """A sixth of the one or the other, from 10° to 70°, is not there."""
    theta = np.degrees(angles(FINE))
    ring, edge = around(RADIUS, 0.0, FINE), around(RADIUS, 0.05, FINE)
    there = np.flatnonzero((theta > 70.0) | (theta < 10.0))
    part = np.roll(there, -np.flatnonzero(np.diff(there) > 1)[0] - 1)
    open_edge = margin_of(any_crown(edge[part], closed=False), flat_die(ring))
    expected = (np.arange(360) > 70) | (np.arange(360) < 10)
    np.testing.assert_array_equal(open_edge.measured, expected)
    np.testing.assert_allclose(open_edge.gap_um[expected], 50.0, atol=WITHIN_UM)
    assert np.isnan(open_edge.gap_um[~expected]).all()
    assert open_edge.coverage == pytest.approx(299 / 360)
    assert "no edge within 2 mm of the finish line at 61 places" in open_edge.warnings[0]
    assert np.isnan(open_edge.sectors[1].gap_um) == np.isnan(open_edge.gap_um[23:68]).all()
    assert open_edge.harmonics[0].amplitude_um == pytest.approx(50.0, abs=WITHIN_UM)
    open_line = margin_of(any_crown(edge), flat_die(ring[part], closed=False))
    lost = int((~open_line.measured).sum())
    assert 50 < lost < 70  # angles are about the middle of what is there
    np.testing.assert_allclose(open_line.gap_um[open_line.measured], 50.0, atol=WITHIN_UM)
    assert f"no finish line at {lost} places" in open_line.warnings[0]


def test_more_than_a_quarter_missing_gives_no_harmonics() -> None:
    theta = np.degrees(angles(FINE))
    edge = around(RADIUS, 0.05, FINE)[theta < 260.0]
    found = margin_of(any_crown(edge, closed=False), flat_die(around(RADIUS, 0.0, FINE)))
    assert found.harmonics == ()


def test_an_edge_that_is_nowhere_near_measures_nothing_and_passes_nothing() -> None:
    found = margin_of(any_crown(around(1.0, 0.0, 90)), flat_die(around(RADIUS, 0.0, FINE)))
    assert (found.coverage, found.within) == (0.0, False)
    assert np.isnan([found.mean_um, found.most_um, found.share_beyond]).all()
    assert "at 360 places" in found.warnings[0]
    assert marginal_rows(found)[0]["beyond"] is None


def test_a_die_that_ends_inside_its_finish_line_has_no_prepared_surface() -> None:
    die = die_of(band([(5.0, -1.0), (5.0, 0.0), (4.8, 0.0)], 90), around(5.0, 0.0, 90))
    found = margin_of(any_crown(around(5.0, 0.05, 90)), die, places=90)
    assert found.coverage == 0.0
    assert "the die ends or has a hole within 0.3 mm" in found.warnings[0]


def test_without_a_finish_line_there_is_nothing_to_measure() -> None:
    pair = shoulder_pair()
    with pytest.raises(AreaError, match="no finish line") as caught:
        margin_of(pair.crown, replace(pair.die, finish_line=None))
    assert caught.value.arguments == ("finish_line",)
    assert "Give the die's finish line" in caught.value.remedy


def test_sectors_are_named_by_angles_where_directions_are_not_known() -> None:
    line, edge = around(RADIUS, 0.0, FINE), around(RADIUS, 0.05, FINE)
    unknown = directions_about(AXIS, AreaSettings())
    found = margin_of(any_crown(edge), flat_die(line), directions=unknown)
    assert [sector.name for sector in found.sectors][:3] == ["0°", "45°", "90°"]
    mesial = directions_about(AXIS, AreaSettings(mesial_direction=(0.0, 1.0, 0.0)))
    found = margin_of(any_crown(edge), flat_die(line), directions=mesial)
    names = [sector.name for sector in found.sectors]
    assert (names[0], names[1], names[4]) == ("mesial", "45°", "distal")
    np.testing.assert_allclose(found.finish_mm[0], (0.0, RADIUS, 0.0), atol=1e-5)


@pytest.mark.parametrize("reverse", [slow(False), True])
def test_frames_and_the_way_round_do_not_matter(reverse: bool) -> None:
    pair = shoulder_pair(0.05, 0.3, edge_mm=0.9)
    rng = np.random.default_rng(5)
    of_crown, of_die = random_pose(rng), random_pose(rng)
    pose = motion(rotation_from_vector((0.003, 0.001, 0.0)), (0.02, 0.01, -0.2))
    here = margin_of(pair.crown, pair.die, pose)
    mesh, turn = pair.die.mesh.moved(of_die), of_die[:3, :3]
    line = pair.die.finish_line
    assert line is not None
    points = line.points_mm @ turn.T + of_die[:3, 3]
    points = np.roll(points[::-1] if reverse else points, 17, axis=0)
    die = FitDie(mesh, SurfaceIndex(mesh), turn @ AXIS, replace(line, points_mm=points))
    settings = AreaSettings(
        mesial_direction=tuple(turn @ (1.0, 0.0, 0.0)),
        buccal_direction=tuple(turn @ (0.0, 1.0, 0.0)),
    )
    there = margin_of(
        moved_crown(pair.crown, of_crown),
        die,
        of_die @ pose @ inverse(of_crown),
        directions_about(die.axis, settings),
    )
    for name in ("gap_um", "extension_um", "absolute_um", "vertical_um", "horizontal_um"):
        np.testing.assert_allclose(getattr(there, name), getattr(here, name), atol=1e-6)
    assert here.measured.all()
    assert [s.name for s in there.sectors] == [s.name for s in here.sectors]


@pytest.mark.parametrize("places", [36, slow(1000)])
def test_any_number_of_places(places: int) -> None:
    pair = shoulder_pair(0.05, 0.3, step_mm=1.0)
    found = margin_of(pair.crown, pair.die, lifted(-0.25), places=places)
    assert len(found.gap_um) == places
    np.testing.assert_allclose(found.gap_um, 50.0, atol=WITHIN_UM)


def test_rows_hold_every_place() -> None:
    found = on_circle(100.0 + 60.0 * np.cos(angles(FINE)))
    rows = marginal_rows(found)
    assert len(rows) == 360
    assert all(tuple(row) == MARGINAL_COLUMNS for row in rows)
    assert (rows[0]["place"], rows[0]["where"], rows[0]["beyond"]) == (1, "mesial", True)
    assert rows[0]["gap_um"] == pytest.approx(160.0, abs=WITHIN_UM)
    assert (rows[180]["angle_deg"], rows[180]["beyond"]) == (180.0, False)
    assert sum(row["beyond"] is True for row in rows) == round(360 * found.share_beyond)
