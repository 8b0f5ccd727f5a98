"""Support marks: stubs and gouges with a known height, area and volume.

The forms are those of ``spot_forms``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.areas.mark_discs import disc_points, with_supports
from cuspwise.standalone_core.areas.support_marks import (
    SUPPORTS,
    SupportMark,
    is_support,
    mark_of,
)
from cuspwise.standalone_core.deviation.field import DeviationField
from cuspwise.standalone_core.deviation.support_marks import (
    CLEAN,
    GOUGE,
    NOT_MEASURED,
    STUB,
    MarkResult,
    MarkSettings,
    measure_marks,
)
from cuspwise.standalone_core.errors import AreaError, SettingError
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import BoolArray, FloatArray, TriangleMesh
from made.spots import RADIUS_MM, cap, cap_area_mm2, cap_volume_mm3

SPOT = SupportMark("a", (0.0, 0.0, 0.0), RADIUS_MM)


def plane(half_mm: float = 2.0, step_mm: float = 0.04, z: float = 0.0) -> TriangleMesh:
    """A square grid of right triangles, its normal +z."""
    count = round(2 * half_mm / step_mm) + 1
    x, y = np.meshgrid(*2 * [np.linspace(-half_mm, half_mm, count)], indexing="ij")
    vertices = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, z)])
    a = (np.arange(count - 1)[:, None] * count + np.arange(count - 1)).ravel()
    faces = np.concatenate([np.c_[a, a + count, a + 1], np.c_[a + 1, a + count, a + count + 1]])
    return TriangleMesh(vertices, faces, "plane")


def both(*parts: TriangleMesh) -> TriangleMesh:
    """Several surfaces as one mesh."""
    starts = np.cumsum([0, *(len(part.vertices) for part in parts)])
    faces = [part.faces + start for part, start in zip(parts, starts, strict=False)]
    return TriangleMesh(np.concatenate([p.vertices for p in parts]), np.concatenate(faces), "two")


def measured(evaluation: EvaluationMesh, deviation_mm: FloatArray) -> DeviationField:
    """A field with these deviations; NaN where nothing was found."""
    missing = np.isnan(deviation_mm)
    return DeviationField(
        direction="design_to_scan",
        points_mm=evaluation.points,
        deviation_mm=deviation_mm,
        status=missing.astype(np.uint8),
        weights_mm2=evaluation.weights_mm2,
        area_point=np.arange(len(deviation_mm)),
    )


@pytest.fixture(scope="module")
def flat() -> AreaSet:
    """A plane with one spot in its middle."""
    evaluation = evaluation_mesh(plane(), 0.1)
    return with_supports(AreaSet(evaluation, {}), [SPOT])


def measure(
    area_set: AreaSet, deviation: FloatArray, settings: MarkSettings | None = None
) -> MarkResult:
    """The one mark of an area set."""
    (found,) = measure_marks(measured(area_set.evaluation, deviation), area_set, settings)
    return found


# Spots on the surface -------------------------------------------------------------------------


def test_a_disc_has_the_area_of_a_disc(flat: AreaSet) -> None:
    """The centre line of the last triangles decides: within half an edge of the circle."""
    radius = np.sqrt(flat.area_mm2("support: a") / np.pi)
    assert radius == pytest.approx(RADIUS_MM, abs=0.01)
    assert np.array_equal(flat.areas[SUPPORTS].points, flat.areas["support: a"].points)


def test_a_disc_stays_on_its_side_of_a_thin_wall() -> None:
    """The other side of a wall of 0.3 mm lies within the radius in space, not along it."""
    wall = evaluation_mesh(both(plane(), plane(z=-0.3)), 0.1)
    inside = disc_points(wall.mesh, np.array([0.1, 0.0, 0.02]), RADIUS_MM)
    assert inside.any()
    assert (wall.points[inside, 2] == 0.0).all()


def test_a_disc_is_measured_along_the_surface() -> None:
    """Over the edge of a folded sheet, 0.5 mm along it and not through the air."""
    sheet = plane()
    x, y, _ = sheet.vertices.T
    folded = TriangleMesh(np.column_stack([np.minimum(x, 0), y, np.minimum(-x, 0)]), sheet.faces)
    inside = disc_points(folded, np.array([-0.2, 0.0, 0.0]), RADIUS_MM)
    across = np.hypot(x + 0.2, y) <= RADIUS_MM
    assert np.count_nonzero(inside != across) <= 0.01 * np.count_nonzero(across)


def test_coarse_design_vertices_may_hold_no_point_but_evaluation_points_do() -> None:
    mesh = plane(2.0, 1.0)
    place = np.array([0.4, 0.4, 0.0])
    assert not disc_points(mesh, place, 0.3).any()
    evaluation = evaluation_mesh(mesh, 0.1)
    spot = SupportMark("1", (0.4, 0.4, 0.0), 0.3)
    found = with_supports(AreaSet(evaluation, {}), [spot])
    assert found.area_mm2("support: 1") == pytest.approx(np.pi * 0.3**2, rel=0.15)


def test_what_cannot_be_marked_is_refused(flat: AreaSet) -> None:
    bare = AreaSet(flat.evaluation, {})
    with pytest.raises(AreaError, match=r"support: far: \(0, 0, 1\) mm lies more than 0.5 mm off"):
        with_supports(bare, [replace(SPOT, name="far", centre_mm=(0.0, 0.0, 1.0))])
    tiny = replace(SPOT, centre_mm=(0.01, 0.02, 0.0), radius_mm=0.005)
    with pytest.raises(AreaError, match="no measuring point"):
        with_supports(bare, [tiny])
    with pytest.raises(AreaError, match="two of this name"):
        with_supports(bare, [SPOT, SPOT])
    for change in (
        {"name": " "},
        {"radius_mm": 0.0},
        {"radius_mm": np.nan},
        {"centre_mm": (0.0, np.inf, 0.0)},
        {"centre_mm": (0.0, 0.0)},
        {"kind": "glue"},
    ):
        with pytest.raises(SettingError):
            replace(SPOT, **change)  # type: ignore[arg-type]


def test_names_say_what_a_mark_is() -> None:
    assert mark_of("support: lingual") == ("support", "lingual")
    assert mark_of("sprue: 1: left") == ("sprue", "1: left")
    for other in ("support", "support: ", "supports", "margin", "Support: 1"):
        assert mark_of(other) is None
    assert is_support("supports")
    assert not is_support("contact_mesial")


# Stubs and gouges -----------------------------------------------------------------------------


@pytest.mark.parametrize("height_um", [110.0, 40.0, -60.0])
@pytest.mark.parametrize("level_um", [0.0, -37.0, 55.0])
def test_height_area_and_volume_are_those_of_the_formula(
    flat: AreaSet, height_um: float, level_um: float
) -> None:
    """On a level of its own, which a shrunken or thick crown has; points 0.04 mm apart.

    The middle is a vertex: the height is exact. Points on either side of the circle ρ settle the
    area to 3 % (a tenth of an edge in ρ), and the volume to that area times the band, which is
    how high the form is there.
    """
    deviation = 1e-3 * level_um + cap(flat.evaluation.points, 1e-3 * height_um)
    found = measure(flat, deviation)
    assert found.verdict == (STUB if height_um > 0 else GOUGE)
    assert found.height_um == pytest.approx(height_um, abs=1e-9)
    assert found.peak_um == pytest.approx(height_um + level_um, abs=1e-9)
    assert found.surroundings_um == pytest.approx(level_um, abs=1e-9)
    assert found.band_um == 10.0
    area = cap_area_mm2(height_um, 10.0)
    assert found.area_mm2 == pytest.approx(area, rel=0.03)
    assert found.volume_mm3 == pytest.approx(
        cap_volume_mm3(height_um, 10.0), abs=0.03 * area * 0.01
    )
    assert found.peak_mm == (0.0, 0.0, 0.0)
    assert found.coverage == 1.0
    assert f"{abs(height_um):.1f} µm" in found.reason


def test_a_sphere_has_the_same_height_and_volume() -> None:
    """A cap on a ball of 4 mm: ∫ h (1 − c²/R²)³ dA over chords c is πR²h/4 on any sphere.

    The area between two chords of a sphere is π (c₂² − c₁²), as on a plane.
    """
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=6, radius=4.0)
    evaluation = evaluation_mesh(TriangleMesh(ball.vertices, ball.faces), 0.1)
    pole = np.array([0.0, 0.0, 4.0])
    chord = ((evaluation.points - pole) ** 2).sum(axis=1) / RADIUS_MM**2
    deviation = 0.02 + 0.11 * np.maximum(1.0 - chord, 0.0) ** 3
    spot = SupportMark("pole", (0.0, 0.0, 4.0), 0.55)
    found = measure(with_supports(AreaSet(evaluation, {}), [spot]), deviation)
    assert found.verdict == STUB
    # No vertex need lie on the pole: the nearest is within half an edge of 0.07 mm.
    assert 110.0 * (1 - (0.035 / RADIUS_MM) ** 2) ** 3 <= found.height_um <= 110.0
    assert found.area_mm2 == pytest.approx(cap_area_mm2(110.0, 10.0), rel=0.04)
    assert found.volume_mm3 == pytest.approx(cap_volume_mm3(110.0, 10.0), rel=0.02)


def test_a_slope_across_the_spot_does_not_tilt_the_level(flat: AreaSet) -> None:
    """Its height stays, though the band widens with the spread of the surroundings."""
    points = flat.evaluation.points
    found = measure(flat, 0.02 * points[:, 0] + cap(points, 0.11))
    assert found.height_um == pytest.approx(110.0, abs=0.2)
    assert abs(found.surroundings_um) < 0.5
    assert found.band_um > 10.0


def test_a_level_spot_on_a_shrunken_crown_is_clean(flat: AreaSet) -> None:
    """40 µm too small all around is not a gouge."""
    found = measure(flat, np.full(len(flat.evaluation.points), -0.04))
    assert found.verdict == CLEAN
    assert (found.height_um, found.peak_um) == (0.0, pytest.approx(-40.0))
    assert (found.area_mm2, found.volume_mm3) == (0.0, 0.0)


def test_noise_alone_is_clean(flat: AreaSet) -> None:
    noise = np.random.default_rng(5).normal(0.0, 2e-3, len(flat.evaluation.points))
    found = measure(flat, noise)
    assert found.verdict == CLEAN
    assert abs(found.height_um) < 5 * 2.0
    assert found.band_um == 10.0


def test_rough_surroundings_widen_the_band(flat: AreaSet) -> None:
    """A spread of 15 µm: band 3 × 15 µm, from the ring's normal values; 40 µm is no stub."""
    noise = np.random.default_rng(6).normal(0.0, 15e-3, len(flat.evaluation.points))
    noise[flat.areas["support: a"].points] = 0.0
    found = measure(flat, noise + cap(flat.evaluation.points, 0.04))
    assert found.band_um == pytest.approx(45.0, rel=0.1)
    assert found.verdict == CLEAN
    assert "no smoother" in found.reason


def test_a_neighbouring_stub_does_not_lift_the_level(flat: AreaSet) -> None:
    """Four neighbours fill most of the ring; none is counted as surroundings."""
    near = [
        SupportMark(name, (x, y, 0.0), 0.45)
        for name, x, y in (("b", 1, 0), ("c", 0, 1), ("d", -1, 0), ("e", 0, -1))
    ]
    crowded = with_supports(flat, near)
    points = flat.evaluation.points
    deviation = cap(points, 0.06)
    for spot in near:
        deviation += cap(points - np.array(spot.centre_mm), 0.2, 0.45)
    found = measure_marks(measured(flat.evaluation, deviation), crowded)
    by_name = {row.name: row for row in found}
    assert [row.name for row in found] == ["a", "b", "c", "d", "e"]
    assert by_name["a"].surroundings_um == pytest.approx(0.0, abs=1e-9)
    assert by_name["a"].height_um == pytest.approx(60.0, abs=1e-6)


def test_surroundings_are_those_of_the_same_side() -> None:
    """A spot at the edge between two sides, of which the other one is 80 µm off."""
    evaluation = evaluation_mesh(plane(), 0.1)
    outer = evaluation.points[:, 0] >= -0.1
    sides = [Area("external", outer), Area("intaglio", ~outer)]
    area_set = AreaSet(evaluation, {area.name: area for area in sides})
    spot = SupportMark("edge", (0.3, 0.0, 0.0), 0.3)
    deviation = np.where(outer, 0.0, -0.08)
    found = measure(with_supports(area_set, [spot]), deviation)
    assert found.surroundings_um == 0.0
    assert found.verdict == CLEAN


def test_a_stub_larger_than_its_spot_says_so(flat: AreaSet) -> None:
    found = measure(flat, cap(flat.evaluation.points, 0.11, 1.2))
    assert "goes on beyond the spot" in found.reason
    fits = measure(flat, cap(flat.evaluation.points, 0.11))
    assert "beyond" not in fits.reason


# What was not measured ------------------------------------------------------------------------


def _hole(flat: AreaSet, hole: BoolArray, height_mm: float) -> MarkResult:
    deviation = cap(flat.evaluation.points, height_mm)
    deviation[hole] = np.nan
    return measure(flat, deviation)


def test_a_hole_in_the_spot_leaves_clean_undecided_and_a_stub_seen(flat: AreaSet) -> None:
    x = flat.evaluation.points[:, 0]
    inside = flat.areas["support: a"].points
    clean = _hole(flat, inside & (x < -0.1), 0.0)
    assert clean.verdict == NOT_MEASURED
    assert clean.coverage == pytest.approx(0.627, abs=0.03)  # a disc beyond a chord at R/5
    assert "90 % are needed" in clean.reason
    stub = _hole(flat, inside & (x < -0.1), 0.11)
    assert stub.verdict == STUB
    assert "at least these" in stub.reason


def test_nothing_measured_says_why(flat: AreaSet) -> None:
    gone = _hole(flat, flat.areas["support: a"].points, 0.11)
    assert gone.verdict == NOT_MEASURED
    assert gone.reason == "No point of the spot counts: nothing within the search distance."
    assert np.isnan([gone.height_um, gone.peak_um, gone.area_mm2, gone.volume_mm3]).all()
    assert gone.centre_mm == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)
    alone = _hole(flat, ~flat.areas["support: a"].points, 0.11)
    assert alone.verdict == NOT_MEASURED
    assert alone.peak_um == pytest.approx(110.0)
    assert "Only 0 % of its surroundings" in alone.reason


def test_a_spot_that_fills_its_piece_has_no_surroundings() -> None:
    evaluation = evaluation_mesh(plane(0.4), 0.1)
    area_set = with_supports(AreaSet(evaluation, {}), [replace(SPOT, radius_mm=1.0)])
    found = measure(area_set, np.zeros(len(evaluation.points)))
    assert found.verdict == NOT_MEASURED
    assert "no free surface" in found.reason


def test_a_doubtful_position_judges_nothing(flat: AreaSet) -> None:
    field = measured(flat.evaluation, cap(flat.evaluation.points, 0.11))
    (found,) = measure_marks(field, flat, doubt="The scan fits in two positions.")
    assert found.verdict == NOT_MEASURED
    assert found.reason == "The scan fits in two positions."
    assert found.height_um == pytest.approx(110.0)


def test_settings_and_fields_that_cannot_be_used_are_refused(flat: AreaSet) -> None:
    for change in (
        {"limit_um": -1.0},
        {"ring_mm": 0.0},
        {"min_coverage": 1.1},
        {"seam_mm": np.inf},
    ):
        with pytest.raises(SettingError):
            MarkSettings(**change)
    field = measured(flat.evaluation, np.zeros(len(flat.evaluation.points)))
    with pytest.raises(SettingError, match="evaluation mesh"):
        measure_marks(replace(field, direction="scan_to_design"), flat)
    assert measure_marks(field, AreaSet(flat.evaluation, {})) == ()
