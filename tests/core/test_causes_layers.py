"""Layer steps: found where there are some, by their period, and not where there are none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.causes.layer_settings import LayerSettings
from cuspwise.standalone_core.causes.layer_waves import StepSamples, harmonic_at, periodogram
from cuspwise.standalone_core.causes.layers import LayerSteps, find_layers
from cuspwise.standalone_core.check import check_meshes
from cuspwise.standalone_core.demo.production import ProducedCrown, produce
from cuspwise.standalone_core.demo.production_errors import (
    BallFill,
    Cap,
    Layers,
    ProductionErrors,
    ScannerNoise,
    Wave,
)
from cuspwise.standalone_core.deviation.field import measure_deviation
from cuspwise.standalone_core.errors import SettingError
from made.crowns import demo_crown
from made.tiers import slow
from scipy.spatial.transform import Rotation

EDGE_MM = 0.12
LEANING = (0.17, 0.34, 0.92)
UPRIGHT = np.array([0.0, 0.0, 1.0])


def leaning(rng: np.random.Generator, upright: float) -> FloatArray:
    """Some build direction, the more upright the larger that is."""
    direction: FloatArray = rng.normal(size=3) + np.array([0.0, 0.0, upright])
    return direction


def form_error(rng: np.random.Generator) -> tuple[Wave, ...]:
    """Smooth, about 4 µm RMS, over 3 to 12 mm."""
    return tuple(
        Wave(
            tuple(rng.normal(size=3).tolist()),
            float(rng.uniform(3.0, 12.0)),
            2.5,
            float(rng.uniform(0.0, 360.0)),
        )
        for _ in range(6)
    )


def layered(
    thickness_mm: float | None, direction: Sequence[float], edge_mm: float, seed: int
) -> ProducedCrown:
    """A crown with form error and scanner noise, in the design's frame."""
    rng = np.random.default_rng([17, seed])
    x, y, z = direction
    errors = ProductionErrors(
        layers=None if thickness_mm is None else Layers(thickness_mm, (x, y, z), 0.03),
        waves=form_error(rng),
        noise=ScannerNoise(2.0, 1.5, 1.0),
        any_pose=False,
    )
    return produce(demo_crown(EDGE_MM), errors, edge_mm=edge_mm, rng=rng)


def found_on(crown: ProducedCrown, direction: Sequence[float] | None) -> LayerSteps | None:
    design = demo_crown(EDGE_MM).mesh
    field = measure_deviation(design, crown.mesh)
    return find_layers(
        design.vertices,
        design.vertex_normals,
        field.deviation_mm,
        field.weights_mm2,
        direction,
        crown.mesh.mean_edge_mm,
    )


@cache
def usual() -> tuple[ProducedCrown, LayerSteps]:
    """A crown of 0.1 mm layers, scanned finely."""
    crown = layered(0.1, LEANING, 0.09, 0)
    found = found_on(crown, LEANING)
    assert found is not None
    return crown, found


def samples(count: int, seed: int = 0) -> StepSamples:
    """Places anywhere, with noise of 1 mm and unequal weights."""
    rng = np.random.default_rng(seed)
    return StepSamples(
        np.outer(rng.uniform(-3.0, 5.0, count), UPRIGHT),
        UPRIGHT,
        rng.uniform(0.5, 1.0, count),
        rng.normal(size=count),
        rng.uniform(0.2, 1.0, count),
    )


def test_the_transform_of_bins_is_the_direct_sum() -> None:
    given = samples(3000)
    frequencies, found = periodogram(given, LayerSettings())
    some = np.linspace(0, len(frequencies) - 1, 60).astype(int)
    direct = harmonic_at(given, frequencies[some])
    for name, size in (("power", 10.0), ("sine", 0.1), ("cosine", 0.1)):
        np.testing.assert_allclose(
            getattr(found, name)[some], getattr(direct, name), atol=2e-3 * size
        )


def test_all_periods_are_tried_more_finely_than_they_can_be_told_apart() -> None:
    frequencies, _ = periodogram(samples(1000), LayerSettings())
    assert frequencies[0] == pytest.approx(1.0 / 0.2, abs=0.05)
    assert frequencies[-1] == pytest.approx(1.0 / 0.025, abs=0.05)
    np.testing.assert_allclose(np.diff(frequencies), frequencies[1] - frequencies[0], rtol=1e-6)
    assert frequencies[1] - frequencies[0] <= 1.0 / (4.0 * 8.0) * 1.01


def test_the_waves_are_those_of_least_squares() -> None:
    """Against numpy's solution with weights."""
    given, frequencies = samples(400), np.array([5.1, 17.3, 39.9])
    found = harmonic_at(given, frequencies)
    root = np.sqrt(given.weights)
    for k, frequency in enumerate(frequencies):
        phase = 2.0 * np.pi * frequency * given.height_mm
        columns = np.stack([np.sin(phase), np.cos(phase)], axis=1) * given.flatness[:, None]
        expected = np.linalg.lstsq(columns * root[:, None], given.rest_mm * root, rcond=None)[0]
        np.testing.assert_allclose([found.sine[k], found.cosine[k]], expected, rtol=1e-9)


def test_a_pure_wave_is_found_as_it_is() -> None:
    """All is explained: half the count of points, each of the same weight and flatness."""
    h = np.linspace(0.0, 8.0, 4001)
    ones = np.ones(len(h))
    wave = 0.003 * np.sin(2.0 * np.pi * h / 0.08) + 0.004 * np.cos(2.0 * np.pi * h / 0.08)
    found = harmonic_at(
        StepSamples(np.outer(h, UPRIGHT), UPRIGHT, ones, wave, ones), np.array([1.0 / 0.08])
    )
    np.testing.assert_allclose([found.sine[0], found.cosine[0]], [0.003, 0.004], rtol=1e-9)
    assert found.power[0] == pytest.approx(len(h) / 2.0, rel=1e-9)


def test_powers_of_white_noise_are_exponential_whatever_the_weights() -> None:
    """Mean 1, a share exp(−z) above z (Scargle 1982, from memory)."""
    powers = np.concatenate(
        [periodogram(samples(2000, seed), LayerSettings())[1].power for seed in range(40)]
    )
    assert powers.mean() == pytest.approx(1.0, abs=0.05)
    for level in (1.0, 3.0):
        assert np.mean(powers > level) == pytest.approx(math.exp(-level), rel=0.1)


def test_the_steps_of_a_printed_crown() -> None:
    _, found = usual()
    assert found.period_mm == pytest.approx(0.1, rel=0.002)
    assert found.low_mm < 0.1 < found.high_mm
    assert found.high_mm - found.low_mm < 0.004 * 0.1
    assert found.power > 10.0 * found.threshold
    assert found.probability == pytest.approx(1.0, abs=1e-6)
    assert np.linalg.norm(found.build_direction) == pytest.approx(1.0)


def test_what_is_found_lies_where_the_steps_are() -> None:
    """The first harmonic in phase with the steps by formula, and smaller than they are."""
    crown, found = usual()
    design = demo_crown(EDGE_MM)
    normals = design.vertex_normals
    alone = produce(
        design, ProductionErrors(layers=crown.errors.layers), edge_mm=0.4
    ).surface.displacement(design.s, design.mesh.vertices, normals)
    wave = found.field_mm(design.mesh.vertices, normals)
    seen = np.abs(normals @ np.array(found.build_direction)) > 0.7
    assert np.corrcoef(alone[seen], wave[seen])[0, 1] > 0.8
    assert np.polyfit(wave[seen], alone[seen], 1)[0] > 1.0
    weights = design.mesh.vertex_areas
    rms_um = 1e3 * math.sqrt(np.average(wave**2, weights=weights))
    assert found.rms_um == pytest.approx(rms_um, rel=0.05)
    assert 0.0 < found.share < 1.0


def test_the_threshold_is_that_of_so_many_frequencies() -> None:
    _, found = usual()
    count = math.exp(found.threshold) * found.settings.false_share
    assert count == pytest.approx(round(count), abs=1e-6)
    assert 1000 < count < 4000


def test_a_height_is_told_only_by_a_scan_fine_enough() -> None:
    """It is a lower bound; steps are as high as layers are thick on flat places."""
    crown, coarse = usual()
    assert crown.mesh.mean_edge_mm > 0.05
    assert coarse.height_um is None
    design = demo_crown(EDGE_MM).mesh
    field = measure_deviation(design, crown.mesh)
    given = (design.vertices, design.vertex_normals, field.deviation_mm, field.weights_mm2)
    fine = find_layers(*given, LEANING, 0.049)
    assert fine is not None
    assert fine.height_um == pytest.approx(math.pi * fine.amplitude_um)
    assert 10.0 < fine.height_um < 100.0


@pytest.mark.parametrize(
    ("thickness_mm", "edge_mm", "seed"),
    [(0.15, 0.1, 1), *(slow(t, t, k) for t in (0.05, 0.0625, 0.1, 0.125) for k in (2, 3))],
)
def test_periods_are_found_within_two_permille(
    thickness_mm: float, edge_mm: float, seed: int
) -> None:
    direction = leaning(np.random.default_rng(seed), 3.0)
    found = found_on(layered(thickness_mm, direction, edge_mm, seed), direction)
    assert found is not None
    assert found.period_mm == pytest.approx(thickness_mm, rel=0.002)


@pytest.mark.slow
def test_intervals_hold_the_true_period() -> None:
    """At least 18 of 20, in two ways of scanning; 95 % of 20 are 19."""
    held = 0
    for seed in range(20):
        rng = np.random.default_rng([23, seed])
        thickness = float(rng.uniform(0.08, 0.16))
        direction = leaning(rng, 3.0)
        found = found_on(layered(thickness, direction, (0.1, 0.14)[seed % 2], seed), direction)
        assert found is not None
        held += found.low_mm < thickness < found.high_mm
    assert held >= 18


@pytest.mark.slow
def test_a_scan_in_any_pose_shows_the_steps_along_the_design_s_build_direction() -> None:
    rng = np.random.default_rng(31)
    errors = ProductionErrors(
        layers=Layers(0.1, LEANING, 0.03), waves=form_error(rng), noise=ScannerNoise(2.0)
    )
    design = demo_crown(EDGE_MM)
    scan = produce(design, errors, edge_mm=0.1, rng=rng).mesh
    result = check_meshes(design.mesh, scan)
    field, normals = result.design_to_scan, result.evaluation.normals
    found = find_layers(
        field.points_mm, normals, field.deviation_mm, field.weights_mm2, LEANING, 0.1
    )
    assert found is not None
    assert found.period_mm == pytest.approx(0.1, rel=0.002)


def without_layers(seed: int) -> tuple[ProducedCrown, FloatArray]:
    """Any form error, stubs, filled fossae, wrong scale; and any build direction."""
    rng = np.random.default_rng([29, seed])
    waves = tuple(
        Wave(
            tuple(rng.normal(size=3).tolist()),
            float(rng.uniform(1.0, 12.0)),
            float(rng.uniform(1.0, 10.0)),
            float(rng.uniform(0.0, 360.0)),
        )
        for _ in range(6)
    )
    errors = ProductionErrors(
        waves=waves,
        spots=(Cap(262.0, 4.2, 0.55, 110.0), Cap(292.0, 3.4, 0.45, -85.0)),
        fills=(BallFill(0.9, 0.2),) if seed % 4 == 3 else (),
        scale=(0.998, 1.001, 1.003),
        noise=ScannerNoise(float(rng.choice([0.0, 2.0, 5.0])), 1.5, float(rng.choice([0.3, 1.0]))),
        any_pose=False,
    )
    edge_mm = float(rng.choice([0.1, 0.14, 0.2]))
    crown = produce(demo_crown(EDGE_MM), errors, edge_mm=edge_mm, rng=rng)
    return crown, leaning(rng, 2.0)


@pytest.mark.parametrize("seed", [*range(3), *(slow(k) for k in range(3, 24))])
def test_no_steps_are_found_where_there_are_none(seed: int) -> None:
    assert found_on(*without_layers(seed)) is None


def test_nothing_is_sought_without_a_build_direction() -> None:
    crown, _ = usual()
    assert found_on(crown, None) is None


def test_another_build_direction_shows_no_steps() -> None:
    crown, _ = usual()
    assert found_on(crown, (1.0, 0.0, 0.0)) is None


def test_the_sense_and_length_of_the_direction_do_not_matter() -> None:
    crown, found = usual()
    turned = found_on(crown, [-3.0 * part for part in LEANING])
    assert turned is not None
    assert turned.period_mm == pytest.approx(found.period_mm, rel=1e-6)
    assert turned.amplitude_um == pytest.approx(found.amplitude_um, rel=1e-4)


@pytest.mark.parametrize("axis", [0, 1])
def test_a_direction_a_little_off_is_made_sharper(axis: int) -> None:
    """By 0.4°, which would smear the steps and shift their period."""
    crown, found = usual()
    turn = Rotation.from_rotvec(np.radians(0.4) * np.eye(3)[axis])
    turned = found_on(crown, turn.apply(LEANING))
    assert turned is not None
    true = np.array(LEANING) / np.linalg.norm(LEANING)
    for one in (found, turned):
        assert np.degrees(np.arccos(true @ np.array(one.build_direction))) < 0.05
    assert found.turned_deg < 0.05
    assert turned.turned_deg == pytest.approx(0.4, abs=0.1)
    assert turned.period_mm == pytest.approx(0.1, rel=0.002)
    assert turned.low_mm < 0.1 < turned.high_mm


def test_too_little_surface_shows_nothing() -> None:
    design = demo_crown(EDGE_MM).mesh
    points, normals, weights = design.vertices, design.vertex_normals, design.vertex_areas
    nothing = np.full(len(points), np.nan)
    assert find_layers(points, normals, nothing, weights, LEANING, 0.1) is None
    flat = 0.01 * points
    assert find_layers(flat, normals, 0.0 * weights, weights, LEANING, 0.1) is None
    assert find_layers(points, normals, 0.0 * weights, weights, LEANING, 0.1) is None


@pytest.mark.parametrize("direction", [(0.0, 0.0, 0.0), (1.0, 0.0), (math.nan, 0.0, 1.0)])
def test_what_is_no_direction_is_refused(direction: tuple[float, ...]) -> None:
    design = demo_crown(EDGE_MM).mesh
    given = (design.vertices, design.vertex_normals, design.vertex_areas, design.vertex_areas)
    with pytest.raises(SettingError, match="is not a direction"):
        find_layers(*given, direction, 0.1)


def test_thinnest_is_not_thicker_than_thickest() -> None:
    with pytest.raises(SettingError, match="thinnest_mm"):
        LayerSettings(thinnest_mm=0.3)
