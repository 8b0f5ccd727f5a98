"""The bur's radius, searched: exact on made fields, within 5 % on produced crowns."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from cuspwise.standalone_core.causes.ball_excess import ball_excess
from cuspwise.standalone_core.causes.bur_radius import BurRadius, search_bur_radius
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import (
    BallFill,
    ProductionErrors,
    ScannerNoise,
    Wave,
)
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.surface.closest import SurfaceIndex

LADDER = (0.25, 0.35, 0.45, 0.6, 0.75, 0.9, 1.15, 1.4)
"""None of the true radii is among them."""
TRUE_RADII = (0.4, 0.5, 0.65, 0.8, 1.0)


def line(count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Points along a line of 20 mm, and a pattern of corners every 2 mm."""
    x = np.linspace(0.0, 20.0, count)
    return np.stack([x, 0.0 * x, 0.0 * x], axis=1), np.maximum(np.cos(np.pi * x) - 0.5, 0.0)


def searched(deviation: np.ndarray, radii=(0.5, 1.0), **options: float) -> BurRadius:
    points, depth = line()
    fields = np.outer(radii, depth)
    return search_bur_radius(radii, fields, deviation, np.ones(len(points)), points, **options)


@pytest.mark.parametrize("true", [0.2, 0.5, 0.62, 0.99])
def test_between_and_below_the_radii_it_is_exact_where_the_excess_is_linear(true):
    _, depth = line()
    found = searched(true * depth, noise_um=1.0)
    assert found.radius_mm == pytest.approx(true, abs=1e-9)
    assert found.low_mm < true < found.high_mm
    assert found.rms_um < 1e-4


def test_a_bur_that_reaches_everywhere_is_only_known_to_be_at_most_so_large():
    found = searched(np.zeros(400), noise_um=20.0)
    assert (found.radius_mm, found.low_mm) == (0.0, 0.0)
    assert 0.0 < found.high_mm < 0.5
    assert not found.bounded


def test_a_bur_larger_than_all_that_were_tried_has_no_upper_end():
    _, depth = line()
    found = searched(1.3 * depth, noise_um=1.0)
    assert found.radius_mm == 1.0
    assert found.high_mm == np.inf
    assert not found.bounded


def test_without_corners_nothing_is_said():
    points, depth = line()
    found = search_bur_radius([0.5], 0.0 * depth[None], depth, np.ones(400), points)
    assert np.isnan(found.radius_mm)
    assert (found.low_mm, found.high_mm) == (0.0, np.inf)


def test_radii_that_do_not_enter_and_points_that_were_not_measured_are_left_out():
    points, depth = line()
    fields = np.outer([2.0, 1.0, 0.5], depth)
    fields[0] = np.nan
    deviation = 0.7 * depth
    deviation[::3] = np.nan
    found = search_bur_radius([2.0, 1.0, 0.5], fields, deviation, np.ones(400), points)
    assert found.radius_mm == pytest.approx(0.7, abs=1e-9)


def test_an_error_that_all_points_share_is_seen_beside_the_corners():
    _, depth = line()
    found = searched(0.7 * depth + 0.01)
    alone = (depth @ (0.7 * depth + 0.01)) / (depth @ depth)
    assert alone > 0.715
    assert found.radius_mm == pytest.approx(0.7, abs=0.25 * (alone - 0.7))
    assert found.low_mm < 0.7 < found.high_mm


@pytest.mark.parametrize("radii", [[0.5, 0.5], [0.5, 0.0], [0.5, np.nan]])
def test_radii_that_cannot_be_are_refused(radii):
    with pytest.raises(SettingError, match="radii of burs"):
        searched(np.zeros(400), radii)


def test_fields_that_do_not_fit_are_refused():
    points, depth = line()
    with pytest.raises(SettingError, match="do not fit together"):
        search_bur_radius([0.5, 1.0], depth[None], depth, np.ones(400), points)


@lru_cache(maxsize=1)
def tried():
    """The crown's outside and what balls of all radii of the ladder leave there."""
    crown = demo_crown(0.1)
    mesh, outside = crown.mesh, crown.s > 0.3
    index = SurfaceIndex(mesh, threads=1)
    left = ball_excess(index, mesh.vertices, mesh.vertex_normals, outside, LADDER)
    return (
        crown,
        left.distance_mm[:, outside],
        mesh.vertex_areas[outside],
        mesh.vertices[outside],
    )


def found_on_a_crown(true_mm: float, seed: int) -> BurRadius:
    """A crown milled with that radius, 4 µm RMS of waves and 2 µm of noise, scanned in place."""
    crown, fields, weights, points = tried()
    rng = np.random.default_rng([seed, int(1000 * true_mm)])
    waves = tuple(
        Wave(tuple(rng.normal(size=3)), rng.uniform(3.0, 12.0), 2.0, rng.uniform(0.0, 360.0))
        for _ in range(8)
    )
    errors = ProductionErrors(
        fills=(BallFill(true_mm, 1.0),), waves=waves, noise=ScannerNoise(2.0), any_pose=False
    )
    scan = produce(crown, errors, edge_mm=0.1, rng=rng)
    seen = SurfaceIndex(scan.mesh, threads=1).closest(points, signed=True)
    return search_bur_radius(LADDER, fields, -seen.signed_mm, weights, points)


@pytest.mark.slow
@pytest.mark.parametrize("true", TRUE_RADII)
def test_on_a_crown_the_radius_is_within_5_percent(true):
    for seed in range(2, 4):
        found = found_on_a_crown(true, seed)
        assert found.radius_mm == pytest.approx(true, rel=0.05)
        assert found.bounded
