"""Margin profiles of rims by formula, whose errors at the edge are known in closed form."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.demo.production import random_pose
from cuspwise.standalone_core.deviation.field import measure_deviation
from cuspwise.standalone_core.deviation.margin_directions import directions_of
from cuspwise.standalone_core.deviation.margin_profile import (
    MarginProfile,
    MarginProfileSettings,
    margin_profile,
    why_no_margin_profile,
)
from cuspwise.standalone_core.deviation.margin_summary import longest_run
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.margin_collars import FLARE, MITRE, RADIUS_MM, collar, mitred, profile_of, rim_areas

QUARTER = 7.5  # of the 30 mm around
BAND_MM = MarginProfileSettings().band_mm
BOTH = AreaSettings(mesial_direction=(1.0, 0.0, 0.0), buccal_direction=(0.0, 1.0, 0.0))


@lru_cache(maxsize=1)
def design() -> AreaSet:
    return rim_areas(settings=BOTH)


def _on_quarter(drop_mm: float):
    """The edge pulled down (or cut off) by so much for the quarter about 100°."""

    def drop(theta: np.ndarray, _: np.ndarray) -> np.ndarray:
        return np.where(np.cos(theta - np.radians(100.0)) > np.cos(np.pi / 4), drop_mm, 0.0)

    return drop


def _theta(profile: MarginProfile) -> np.ndarray:
    return np.radians(profile.angle_deg)


def _is_close(found_um: np.ndarray, expected_um: np.ndarray) -> None:
    """Within 1 µm + 3 %."""
    np.testing.assert_array_less(np.abs(found_um - expected_um), 1.0 + 0.03 * np.abs(expected_um))


@pytest.mark.parametrize("spacing_mm", [0.15, 0.1, 0.06])
def test_a_perfect_copy_is_nowhere_off_however_it_is_divided(spacing_mm: float) -> None:
    copy = evaluation_mesh(design().evaluation.design, spacing_mm).mesh
    profile = profile_of(design(), copy, spacing_mm=min(spacing_mm, 0.12))
    for values in (
        profile.deviation_um,
        profile.vertical_um,
        profile.horizontal_um,
        profile.flash_um,
    ):
        assert np.abs(values).max() < 1e-6
    assert profile.counted.all()
    summary = profile.summary
    assert (summary.beyond_mm, summary.longest_mm, summary.counted_share) == (0.0, 0.0, 1.0)


def test_places_lie_evenly_and_begin_at_mesial() -> None:
    """Regular polygon of 300 sides: angle and place go together, turning left from occlusal."""
    profile = profile_of(design(), design().evaluation.design)
    side = 2.0 * RADIUS_MM * np.sin(np.pi / 300)
    assert len(profile) == 300
    np.testing.assert_allclose(profile.place_mm, side * np.arange(300), atol=1e-9)
    np.testing.assert_allclose(profile.angle_deg, 1.2 * np.arange(300), atol=1e-9)
    ring = np.stack([np.cos(_theta(profile)), np.sin(_theta(profile)), 0 * profile.place_mm])
    np.testing.assert_allclose(profile.points_mm, RADIUS_MM * ring.T, atol=1e-9)
    assert profile.directions.zero_name == "mesial"
    assert profile.summary.length_mm == pytest.approx(300 * side, abs=1e-9)


def test_without_mesial_the_x_axis_is_zero_and_a_clockwise_line_gives_the_same_places() -> None:
    plain = replace(design(), settings=AreaSettings())
    line = replace(plain.margin_line, points_mm=plain.margin_line.points_mm[::-1])
    profile = profile_of(plain, collar())
    turned = profile_of(replace(plain, margin_line=line), collar())
    assert profile.directions.zero_name == "x"
    np.testing.assert_allclose(turned.points_mm, profile.points_mm, atol=1e-9)
    np.testing.assert_allclose(profile.angle_deg, 1.2 * np.arange(300), atol=1e-9)


@pytest.mark.parametrize("edge_mm", [0.06, 0.12, 0.25])
def test_both_walls_moved_out_evenly(edge_mm: float) -> None:
    """Mitred offset δ of both walls: deviation δ, and the edge where the moved walls meet.

    Chords of the scan lie up to L²/8r inside their circle, which is allowed for.
    """
    delta = 0.04
    edge = delta * MITRE
    moved = mitred(lambda theta: np.full(len(theta), delta))
    profile = profile_of(design(), collar(edge_mm, change=moved, turn_deg=0.3))
    chord = 1e3 * edge_mm**2 / (8 * RADIUS_MM)
    assert (np.abs(profile.vertical_um + 1e3 * edge[1]) < 1e-6).all()
    assert (np.abs(profile.horizontal_um - 1e3 * edge[0]) < chord + 0.3).all()
    # A mitre is δ from both walls; beyond their end, at the edge itself, feet fall on the walls.
    assert (np.abs(profile.deviation_um - 1e3 * delta) < chord + 0.3).all()
    # From outside, the moved edge is farther from the design's edge than either wall.
    np.testing.assert_allclose(profile.flash_um, 1e3 * np.hypot(*edge), atol=chord + 0.5)


@pytest.mark.parametrize("per_mille", [-5.0, 2.0, 10.0])
def test_scaled_about_the_axis(per_mille: float) -> None:
    factor = 1.0 + 1e-3 * per_mille
    scan = collar(change=lambda points, _: points * [factor, factor, 1.0])
    profile = profile_of(design(), scan)
    assert np.abs(profile.vertical_um).max() < 1e-6
    _is_close(profile.horizontal_um, np.full(300, per_mille * (RADIUS_MM + BAND_MM * FLARE)))


def test_shifted() -> None:
    """Down by what it is lower, outward by the component of the shift towards each place."""
    shift = np.array([0.05, -0.03, -0.07])
    profile = profile_of(design(), collar(change=lambda points, _: points + shift))
    theta = _theta(profile)
    np.testing.assert_allclose(profile.vertical_um, 70.0, atol=1e-6)
    _is_close(profile.horizontal_um, 1e3 * (shift[0] * np.cos(theta) + shift[1] * np.sin(theta)))


def test_leaning() -> None:
    """Turned about y by a small angle α: an edge at radius r lies α r cos θ lower."""
    alpha = np.radians(0.8)
    turn = np.array(
        [[np.cos(alpha), 0, np.sin(alpha)], [0, 1, 0], [-np.sin(alpha), 0, np.cos(alpha)]]
    )
    profile = profile_of(design(), collar(change=lambda points, _: points @ turn.T))
    _is_close(profile.vertical_um, 1e3 * np.sin(alpha) * RADIUS_MM * np.cos(_theta(profile)))


def test_oval() -> None:
    """Radius r + a cos 2θ: outward by as much, nowhere longer."""
    amplitude = 0.06

    def oval(points: np.ndarray, theta: np.ndarray) -> np.ndarray:
        way = np.stack([np.cos(theta), np.sin(theta), 0 * theta], axis=1)
        return points + amplitude * np.cos(2 * theta)[:, None] * way

    profile = profile_of(design(), collar(change=oval))
    assert np.abs(profile.vertical_um).max() < 1e-6
    _is_close(profile.horizontal_um, 1e3 * amplitude * np.cos(2 * _theta(profile)))


@pytest.mark.parametrize("short_mm", [0.12, 0.3, 0.5])
def test_short_on_a_quarter(short_mm: float) -> None:
    """Cut off flat: shorter by as much over a quarter, and as wide as the wall flares there."""
    profile = profile_of(design(), collar(0.075, drop_mm=_on_quarter(-short_mm)))
    short = profile.vertical_um < -1.0
    assert short.sum() * profile.step_mm == pytest.approx(QUARTER, abs=0.2)
    inside = np.cos(_theta(profile) - np.radians(100.0)) > np.cos(np.pi / 4 - 0.02)
    np.testing.assert_allclose(profile.vertical_um[inside], -1e3 * short_mm, atol=1e-6)
    np.testing.assert_allclose(profile.horizontal_um[inside], 1e3 * FLARE * short_mm, atol=0.2)
    outside = np.cos(_theta(profile) - np.radians(100.0)) < np.cos(np.pi / 4 + 0.02)
    assert np.abs(profile.vertical_um[outside]).max() < 1e-6
    summary = profile.summary
    assert summary.short_mm == pytest.approx(QUARTER, abs=0.2)
    assert summary.short_um == pytest.approx(-1e3 * short_mm, abs=1e-6)
    assert QUARTER - 0.2 < summary.longest_mm <= QUARTER + 0.7  # with what lies within reach
    assert summary.longest_words == "buccal"
    assert summary.long_mm == summary.flash_mm == 0.0


def test_flash_on_a_quarter() -> None:
    """A fin 0.3 mm high and 0.04 mm thick; its feet reach 0.25 mm beyond its two ends."""
    profile = profile_of(design(), collar(0.075, drop_mm=_on_quarter(0.3)))
    inside = np.cos(_theta(profile) - np.radians(100.0)) > np.cos(np.pi / 4 - 0.02)
    np.testing.assert_allclose(profile.flash_um[inside], 300.0, atol=0.5)
    np.testing.assert_allclose(profile.vertical_um[inside], 300.0, atol=1e-6)
    summary = profile.summary
    assert summary.long_mm == pytest.approx(QUARTER, abs=0.2)
    assert summary.flash_mm == pytest.approx(QUARTER + 0.5, abs=0.2)
    assert summary.longest_mm == pytest.approx(QUARTER + 0.5, abs=0.2)
    assert summary.flash_um == pytest.approx(300.0, abs=0.5)
    # It is no deviation of the design's points, and beyond all the same.
    assert np.abs(profile.deviation_um[inside]).max() < 15.0
    assert summary.beyond_mm == summary.longest_mm


def test_a_layer_outside_is_flash_even_where_it_does_not_count() -> None:
    """A sheet 80 µm outside the external wall, facing the wrong way, so that it never counts."""
    scan = collar()
    wall = scan.vertices[:, 2] * 0 + np.hypot(scan.vertices[:, 0], scan.vertices[:, 1])
    outer = (wall >= RADIUS_MM - 1e-9)[scan.faces].all(axis=1)
    way = np.column_stack([scan.vertices[:, :2] / wall[:, None], np.full(len(wall), -FLARE)])
    layer = scan.vertices + 0.08 * way / np.hypot(1.0, FLARE)
    faces = np.vstack([scan.faces, scan.faces[outer][:, ::-1] + len(scan.vertices)])
    profile = profile_of(design(), TriangleMesh(np.vstack([scan.vertices, layer]), faces))
    np.testing.assert_allclose(profile.flash_um, 80.0, atol=0.4)
    assert np.abs(profile.deviation_um).max() < 0.3


def test_noise_averages_out() -> None:
    """5 µm at each of N points about a place leaves about 5/√N; the edge itself sees one or two."""
    scan = collar()
    noise = np.random.default_rng(1).normal(0.0, 0.005, len(scan.vertices))
    noisy = TriangleMesh(scan.vertices + noise[:, None] * scan.vertex_normals, scan.faces)
    profile = profile_of(design(), noisy)
    reach = MarginProfileSettings().reach_mm
    near = [
        np.count_nonzero(np.linalg.norm(scan.vertices - place, axis=1) < reach)
        for place in profile.points_mm[::10]
    ]
    assert profile.deviation_um.std() == pytest.approx(5.0 / np.sqrt(np.mean(near)), rel=0.4)
    assert abs(profile.deviation_um.mean()) < 0.3
    assert 2.0 < profile.vertical_um.std() < 6.0
    assert abs(profile.vertical_um.mean()) < 2.0
    assert profile.summary.beyond_mm == 0.0


def test_where_the_scan_ends_it_shows_no_edge() -> None:
    """The lowest 0.1 mm of it is missing on a quarter: nothing is known of the edge there."""
    scan = collar()
    middle = scan.triangles.mean(axis=1)
    gone = (middle[:, 2] < 0.1) & (np.arctan2(middle[:, 1], middle[:, 0]) > np.pi / 2)
    profile = profile_of(design(), scan.kept(~gone))
    angle = profile.angle_deg
    lost = (angle > 91.0) & (angle < 179.0)
    sure = (angle < 89.0) | (angle > 181.0)
    for values in (profile.vertical_um, profile.horizontal_um):
        assert np.isnan(values[lost]).all()
        assert np.abs(values[sure]).max() < 0.1
    assert not profile.counted[lost].any()
    assert profile.counted[sure].all()
    assert profile.summary.counted_share == pytest.approx(0.75, abs=0.01)
    assert profile.summary.beyond_mm == 0.0


def test_an_open_scan_counts_where_it_shows_the_edge() -> None:
    """The intaglio was not seen from 0.3 mm above the edge on: the edge itself was."""
    scan = collar()
    inner = np.hypot(*scan.triangles.mean(axis=1)[:, :2].T) < RADIUS_MM - 0.3
    profile = profile_of(design(), scan.kept(~inner))
    assert profile.counted.all()
    assert np.abs(profile.vertical_um).max() < 1e-6


def test_an_open_shell_counts_without_an_edge() -> None:
    """Design and scan end at the margin line: how far off is known, not how long the scan is."""
    whole = design().evaluation.design
    outer = np.hypot(*whole.triangles.mean(axis=1)[:, :2].T) > RADIUS_MM
    shell = replace(design(), evaluation=evaluation_mesh(whole.kept(outer), 0.15), areas={})
    moved = collar(change=mitred(lambda theta: np.full(len(theta), 0.03))).kept(outer)
    profile = profile_of(shell, moved)
    assert np.isnan(profile.vertical_um).all()
    assert not profile.edge_seen.any()
    assert profile.counted.all()
    np.testing.assert_allclose(profile.deviation_um, 30.0, atol=0.3)
    assert profile.summary.beyond_mm == profile.summary.length_mm
    # A closed scan of it shows its edge, which is measured from the design's border.
    closed = profile_of(shell, collar(change=lambda points, _: points - [0.0, 0.0, 0.02]))
    np.testing.assert_allclose(closed.vertical_um, 20.0, atol=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_any_pose_gives_the_same_columns(seed: int) -> None:
    """The design with its directions, and the scan with it; places turn along."""
    shift = np.array([0.05, -0.03, -0.07])
    scan = collar(0.12, change=lambda points, _: points + shift)
    settings = MarginProfileSettings(reach_mm=0.2437)  # no point lies at just this distance
    pose = random_pose(np.random.default_rng(seed))
    plain = profile_of(design(), scan, settings=settings)
    turned = profile_of(design().moved(pose), scan.moved(pose), settings=settings)
    for name in (
        "place_mm",
        "angle_deg",
        "deviation_um",
        "vertical_um",
        "horizontal_um",
        "flash_um",
    ):
        np.testing.assert_allclose(getattr(turned, name), getattr(plain, name), atol=1e-6)
    assert np.array_equal(turned.counted, plain.counted)
    points = plain.points_mm @ pose[:3, :3].T + pose[:3, 3]
    np.testing.assert_allclose(turned.points_mm, points, atol=1e-9)
    assert turned.summary.worst_words == plain.summary.worst_words


def test_summary_is_of_the_places() -> None:
    """Walls 12 + 10 cos θ µm too far out: beyond 15 µm where cos θ > 0.3, across 0°."""
    scan = collar(change=mitred(lambda theta: 0.012 + 0.01 * np.cos(theta)))
    profile = profile_of(design(), scan, tolerance_um=15.0)
    values = profile.deviation_um
    np.testing.assert_allclose(values, 12.0 + 10.0 * np.cos(_theta(profile)), atol=0.3)
    summary = profile.summary
    assert summary.mean_um == pytest.approx(values.mean())
    assert summary.mean_abs_um == pytest.approx(np.abs(values).mean())
    assert summary.p95_abs_um == pytest.approx(np.percentile(values, 95.0, method="hazen"))
    arc = 2.0 * np.arccos(0.3) * RADIUS_MM
    assert summary.beyond_mm == pytest.approx(arc, abs=0.3)
    assert summary.longest_mm == summary.beyond_mm
    assert summary.longest_words == "mesial"
    assert summary.longest_deg % 358.8 == pytest.approx(0.0, abs=1.3)
    assert summary.worst_um == values.max() == pytest.approx(22.0, abs=0.3)
    assert summary.worst_words == "mesial"


def test_runs_go_over_the_beginning_and_over_short_gaps_only() -> None:
    def run(text: str, gap: int = 2, closed: bool = True) -> tuple[int, int]:
        """A place beyond is x, one within is a dot, one that does not count a dash."""
        given = np.array(list(text))
        return longest_run(given == "x", given != "-", gap=gap, closed=closed)

    assert run("..........") == (0, 0)
    assert run("xxxxx") == (0, 5)
    assert run(".xx..xxx..") == (5, 3)
    assert run("xx.....xxx") == (7, 5)
    assert run("xx.....xxx", closed=False) == (7, 3)
    assert run("x-x...xx.x") == (9, 4)
    assert run(".xx--xx...") == (1, 6)
    assert run(".xx---xx..") == (1, 2)
    assert run(".xx-.xxx..") == (5, 3)
    assert run("-xx.xxxx--") == (4, 4)
    assert run("-xx.xxxx-.") == (4, 4)
    assert run("-xx...xxx-", gap=2) == (6, 7)
    assert run("----x-----") == (4, 1)
    assert run("xx------xx", gap=2) == (8, 4)


def test_words_for_places() -> None:
    """Mesial is 0°, buccal 90°: eight octants, as a ring around the crown."""
    both = directions_of(design())
    octants = [
        "mesial",
        "mesiobuccal",
        "buccal",
        "distobuccal",
        "distal",
        "distolingual",
        "lingual",
        "mesiolingual",
    ]
    for angle in range(0, 360, 5):
        assert both.words(angle) == octants[round(angle / 45.0) % 8]
    only_mesial = AreaSettings(mesial_direction=(1.0, 0.0, 0.0))
    mesial = directions_of(replace(design(), settings=only_mesial))
    assert [mesial.words(angle) for angle in (350.0, 20.0, 190.0)] == ["mesial", "mesial", "distal"]
    assert mesial.words(134.0) == "at 134° from mesial"
    only_buccal = AreaSettings(buccal_direction=(0.0, -1.0, 0.0))
    buccal = directions_of(replace(design(), settings=only_buccal))
    assert (buccal.words(260.0), buccal.words(80.0)) == ("buccal", "lingual")
    assert buccal.words(10.0) == "at 10° from the x axis"
    # In the other half of the mouth the buccal side lies to the other hand.
    right = replace(BOTH, buccal_direction=(0.0, -1.0, 0.2))
    assert directions_of(replace(design(), settings=right)).words(135.0) == "distolingual"


def test_without_a_margin_line_or_a_path_there_is_none_and_it_is_said_why() -> None:
    scan = collar()
    missing = {"margin": "It has no cavity."}
    no_line = replace(design(), margin_line=None, missing=missing)
    no_path = replace(design(), insertion=None)
    there = measure_deviation(design().evaluation.mesh, SurfaceIndex(scan))
    in_place = evaluation_mesh(scan)
    for area_set in (no_line, no_path):
        assert margin_profile(there, there, area_set, in_place) is None
    assert why_no_margin_profile(no_line) == "There is no margin line. It has no cavity."
    assert "path of insertion" in why_no_margin_profile(no_path)
    assert why_no_margin_profile(design()) == ""


@pytest.mark.parametrize("name", ["step_mm", "reach_mm", "min_share", "gap_mm", "edge_limit_um"])
def test_settings_that_make_no_sense_are_refused(name: str) -> None:
    for value in (0.0, -1.0, np.nan, np.inf):
        with pytest.raises(SettingError):
            MarginProfileSettings(**{name: value})
