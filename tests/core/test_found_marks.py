"""Support marks that nobody marked: found where simulated crowns have them, and nowhere else.

Truth by formula: the places and heights of the demo's spots (``made.marked_crowns``). The seeds
are others than those that the likelihood was fitted to.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.areas.mark_discs import with_supports
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.causes.found_marks import FoundMark, as_support_mark, find_marks
from cuspwise.standalone_core.causes.mark_ground import MarkGround, mark_ground
from cuspwise.standalone_core.causes.mark_settings import FoundMarkSettings
from cuspwise.standalone_core.demo.production_errors import Cap, ProductionErrors
from cuspwise.standalone_core.deviation.field import DeviationField
from cuspwise.standalone_core.deviation.support_marks import GOUGE, STUB, measure_marks
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from made.marked_crowns import (
    FINE,
    QUICK,
    MarkedCrown,
    Sampling,
    design_index,
    marked_crown,
    other_errors,
    random_crown,
)
from made.spots import cap, cap_volume_mm3

LIKELY = 0.5
NEAR_MM = 0.4


@cache
def ground(sampling: Sampling = FINE) -> MarkGround:
    return mark_ground(design_index(sampling)[0])


def found_on(crown: MarkedCrown, sampling: Sampling = FINE) -> tuple[FoundMark, ...]:
    """What is likely to be a mark."""
    areas, _ = design_index(sampling)
    found = find_marks(areas, crown.field, ground=ground(sampling))
    return tuple(one for one in found if one.likelihood >= LIKELY)


@dataclass(frozen=True)
class Count:
    """How the marks of some crowns were found."""

    found: int
    marks: int
    false: int
    crowns: int
    height_right: int


def counted(crowns: Iterable[MarkedCrown], sampling: Sampling = FINE) -> Count:
    """Pair what was found with the truth: marks of the same sign within 0.4 mm."""
    hit = total = false = right = number = 0
    for crown in crowns:
        number += 1
        total += len(crown.caps)
        met: set[int] = set()
        for one in found_on(crown, sampling):
            away = np.linalg.norm(crown.centres_mm - one.place_mm, axis=1)
            same = [
                k for k in range(len(away)) if away[k] < NEAR_MM and is_like(one, crown.caps[k])
            ]
            false += not same
            met.update(same)
            right += any(height_is_right(one, crown.caps[k]) for k in same)
        hit += len(met)
    return Count(hit, total, false, number, right)


def is_like(one: FoundMark, spot: Cap) -> bool:
    return one.kind == (STUB if spot.height_um > 0 else GOUGE)


def height_is_right(one: FoundMark, spot: Cap) -> bool:
    """Within 10 % or 5 µm."""
    return abs(one.height_um - spot.height_um) <= max(5.0, 0.1 * abs(spot.height_um))


# Crowns ---------------------------------------------------------------------------------------


SPOTS = (
    Cap(262.0, 4.2, 0.55, 110.0),
    Cap(292.0, 3.4, 0.45, 85.0),
    Cap(97.0, 4.4, 0.6, 130.0),
    Cap(184.0, 3.6, 0.5, -60.0),
    Cap(0.0, 3.0, 0.4, -120.0),
)
"""About those of the demo's two crowns, and one more."""


@pytest.mark.parametrize("spots", [SPOTS, ()], ids=["five", "none"])
def test_marks_are_found_beside_other_errors_and_nothing_else_is(spots: tuple[Cap, ...]) -> None:
    errors = other_errors(np.random.default_rng(0), "unfilled")
    count = counted([marked_crown(replace(errors, spots=spots), 0, QUICK)], QUICK)
    assert (count.found, count.false) == (len(spots), 0)
    assert count.height_right >= 0.8 * len(spots)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["printed", "milled"])
def test_marks_are_found_where_they_are_and_as_high_as_they_are(kind: str) -> None:
    count = counted(random_crown(seed, kind) for seed in range(12))
    assert count.marks >= 24
    assert count.found >= 0.9 * count.marks
    assert count.false <= 0.2 * count.crowns
    assert count.height_right >= 0.8 * count.found


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["printed", "milled", "coarse"])
def test_crowns_without_marks_have_none(kind: str) -> None:
    """No marks: form error, noise, filled fossae, layers up to the demo's, chips and bends."""
    count = counted(random_crown(seed, kind, marks=False) for seed in range(12))
    assert count.false <= 0.2 * count.crowns


@pytest.mark.slow
def test_a_likelihood_is_the_share_that_are_marks() -> None:
    """Within three standard errors of it in each third of the scale, with low marks added."""
    areas, _ = design_index()
    said: list[tuple[float, bool]] = []
    for seed in range(16):
        crown = random_crown(seed, ("printed", "milled", "coarse", "plain")[seed % 4])
        settings = FoundMarkSettings(least_likelihood=0.0)
        for one in find_marks(areas, crown.field, settings=settings, ground=ground()):
            away = np.linalg.norm(crown.centres_mm - one.place_mm, axis=1)
            said.append((one.likelihood, bool((away < NEAR_MM).any())))
    likelihood, is_mark = np.array(said).T
    for low, high in ((0.0, 0.3), (0.3, 0.8), (0.8, 1.01)):
        inside = (likelihood >= low) & (likelihood < high)
        chance = likelihood[inside]
        error = np.sqrt((chance * (1.0 - chance)).sum() + 1.0)
        assert abs(is_mark[inside].sum() - chance.sum()) <= 3.0 * error


# Closed forms on a plane ----------------------------------------------------------------------

NOISE_MM = 0.001
STEP_MM = 0.05


@cache
def plane(slope_deg: float = 0.0) -> AreaSet:
    """A square of 6 mm that faces up, turned about x."""
    count = round(6.0 / STEP_MM) + 1
    x, y = np.meshgrid(*2 * [np.linspace(-3.0, 3.0, count)], indexing="ij")
    angle = np.deg2rad(slope_deg)
    vertices = np.column_stack([x.ravel(), y.ravel() * np.cos(angle), y.ravel() * np.sin(angle)])
    a = (np.arange(count - 1)[:, None] * count + np.arange(count - 1)).ravel()
    faces = np.concatenate([np.c_[a, a + count, a + 1], np.c_[a + 1, a + count, a + count + 1]])
    return AreaSet(evaluation_mesh(TriangleMesh(vertices, faces, "plane"), 0.1), {})


def field_on(area_set: AreaSet, deviation_mm: FloatArray) -> DeviationField:
    """A field with these deviations and a little noise; NaN where nothing was found."""
    noise = np.random.default_rng(5).normal(0.0, NOISE_MM, len(deviation_mm))
    return DeviationField(
        direction="design_to_scan",
        points_mm=area_set.evaluation.points,
        deviation_mm=deviation_mm + noise,
        status=np.isnan(deviation_mm).astype(np.uint8),
        weights_mm2=area_set.evaluation.weights_mm2,
        area_point=np.arange(len(deviation_mm)),
    )


@cache
def flat_places() -> FloatArray:
    return plane().evaluation.points


def found_on_plane(deviation_mm: FloatArray, **given: object) -> tuple[FoundMark, ...]:
    return find_marks(plane(), field_on(plane(), deviation_mm), **given)  # type: ignore[arg-type]


@pytest.mark.parametrize("height_um", [30.0, 80.0, -150.0])
def test_a_cap_has_the_numbers_of_its_formula(height_um: float) -> None:
    """On a slope and a bowl, which are no part of it; a peak of noise adds up to 4 deviations."""
    x, y, _ = flat_places().T
    ground_mm = 0.01 + 0.004 * x - 0.002 * y * y
    (one,) = found_on_plane(ground_mm + cap(flat_places(), 1e-3 * height_um))
    assert one.likelihood > 0.9
    assert one.kind == (STUB if height_um > 0 else GOUGE)
    assert one.height_um == pytest.approx(height_um, abs=4e3 * NOISE_MM)
    assert np.linalg.norm(one.place_mm) < STEP_MM / 2
    assert one.normal == pytest.approx((0.0, 0.0, 1.0), abs=1e-12)
    # The base ends a tenth of the height up: r² = R² (1 − 0.1^⅓), R = 0.5 mm.
    assert one.radius_mm == pytest.approx(0.5 * np.sqrt(1.0 - 0.1 ** (1 / 3)), abs=0.02)
    volume = cap_volume_mm3(height_um, 0.1 * abs(height_um))
    assert one.volume_mm3 == pytest.approx(volume, rel=0.06)


def test_shares_are_those_of_the_whole_surface() -> None:
    """Flat but for a cap: Σ w d² = π R² h²/7 on it, and next to nothing elsewhere."""
    flat = cap(flat_places(), 0.1)
    (one,) = found_on_plane(flat)
    noise = NOISE_MM**2 * 36.0
    inside = np.pi * 0.25 * 0.1**2 / 7.0
    assert one.share_of_square == pytest.approx(inside / (inside + noise), abs=0.01)
    quiet = np.sqrt(2.0 / np.pi) * NOISE_MM * 36.0
    inside = cap_volume_mm3(100.0, 10.0)
    whole = cap_volume_mm3(100.0, 1e-9)
    assert one.share_of_mean == pytest.approx(inside / (whole + quiet), abs=0.02)


def test_a_ridge_a_hump_and_waves_are_no_marks() -> None:
    x, y, _ = flat_places().T
    ridge = 0.1 * np.maximum(1.0 - (x / 1.5) ** 2 - (y / 0.3) ** 2, 0.0) ** 2
    hump = 0.08 * np.exp(-(x**2 + y**2) / 2.0)
    waves = 0.04 * np.sin(2 * np.pi * x / 0.8) * np.sin(2 * np.pi * y / 0.8)
    for form in (ridge, hump, waves):
        assert not [one for one in found_on_plane(form) if one.likelihood >= LIKELY]


def test_two_marks_side_by_side_are_two() -> None:
    shift = np.array([0.6, 0.0, 0.0])
    left, right = flat_places() + shift, flat_places() - shift
    found = found_on_plane(cap(left, 0.1) + cap(right, -0.06))
    assert sorted(round(one.height_um / 10) for one in found) == [-6, 10]


def test_a_mark_whose_middle_was_not_measured_is_still_found() -> None:
    flat = cap(flat_places(), 0.1)
    flat[np.linalg.norm(flat_places(), axis=1) < 0.07] = np.nan
    (one,) = found_on_plane(flat)
    assert one.likelihood > 0.9
    assert 85.0 < one.height_um < 105.0


def test_what_other_causes_explain_is_left_out() -> None:
    flat = cap(flat_places(), 0.1)
    (one,) = found_on_plane(0.0 * flat, residual_mm=flat + field_on(plane(), flat).deviation_mm)
    assert one.height_um == pytest.approx(200.0, abs=5.0)
    assert not found_on_plane(flat, residual_mm=np.zeros(len(flat)))


@pytest.mark.parametrize(
    ("direction", "up"), [((0.0, 0.0, -2.0), -1.0), ((1.0, 0.0, 0.0), 0.0), ((0.0, 0.0, 3.0), 1.0)]
)
def test_a_mark_that_faces_up_in_the_build_direction_is_less_likely(
    direction: tuple[float, float, float], up: float
) -> None:
    """By 1/4 + 3/4 of a logistic function: 1 facing down, 0.995 on a wall, 0.255 facing up."""
    share = 0.25 + 0.75 / (1.0 + np.exp((up - 0.5) / 0.1))
    flat = cap(flat_places(), 0.1)
    (anywhere,) = found_on_plane(flat)
    (one,) = found_on_plane(flat, build_direction=direction)
    assert one.likelihood == pytest.approx(share * anywhere.likelihood, rel=1e-9)
    parts = one.parts
    whole = parts.form * parts.margin * parts.corner * parts.facing
    assert one.likelihood == pytest.approx(whole, rel=1e-12)


def test_an_accepted_mark_is_measured_as_it_was_found_and_not_found_again() -> None:
    flat = cap(flat_places(), 0.1)
    (one,) = found_on_plane(flat)
    marked = with_supports(plane(), [as_support_mark(one, "1")])
    field = field_on(marked, flat)
    (result,) = measure_marks(field, marked)
    assert result.verdict == STUB
    assert result.height_um == pytest.approx(one.height_um, abs=3e3 * NOISE_MM)
    assert "beyond the spot" not in result.reason
    assert not find_marks(marked, field)


def test_marks_on_the_rim_and_in_the_intaglio_are_not_offered() -> None:
    spots = (Cap(100.0, 0.1, 0.3, 100.0), Cap(200.0, -3.0, 0.5, 100.0))
    errors = ProductionErrors(spots=spots)
    assert not found_on(marked_crown(errors, 0, QUICK), QUICK)


@pytest.mark.parametrize(
    ("given", "subject"),
    [
        ({"build_direction": (0.0, 0.0, 0.0)}, "build_direction"),
        ({"build_direction": (1.0, 0.0)}, "build_direction"),
        ({"residual_mm": np.zeros(3)}, "residual_mm"),
    ],
)
def test_nonsense_is_refused(given: dict[str, object], subject: str) -> None:
    with pytest.raises(SettingError) as caught:
        found_on_plane(np.zeros(len(flat_places())), **given)
    assert caught.value.subject == subject


def test_a_field_of_other_points_is_refused() -> None:
    field = replace(field_on(plane(), cap(flat_places(), 0.1)), direction="scan_to_design")
    with pytest.raises(SettingError, match="evaluation mesh"):
        find_marks(plane(), field)


def test_nothing_measured_and_nothing_outside_is_no_error() -> None:
    nothing = np.full(len(flat_places()), np.nan)
    assert found_on_plane(nothing) == ()
    empty = AreaSet(evaluation_mesh(TriangleMesh(np.zeros((3, 3)), np.zeros((0, 3))), 0.1), {})
    assert find_marks(empty, field_on(empty, np.zeros(3))) == ()


def test_settings_refuse_what_contradicts_itself() -> None:
    with pytest.raises(SettingError):
        FoundMarkSettings(least_width_mm=2.0)
    flat = cap(flat_places(), 0.05)
    assert not found_on_plane(flat, settings=FoundMarkSettings(least_height_um=60.0))
