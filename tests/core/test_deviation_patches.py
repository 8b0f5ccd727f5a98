"""Patches outside the tolerance, against the closed form of a stub on a plane."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.deviation.field import (
    COUNTED,
    TOO_FAR,
    DeviationField,
    DeviationSettings,
    measure_deviation,
)
from cuspwise.standalone_core.deviation.measures import measure_areas
from cuspwise.standalone_core.deviation.patches import PatchSettings, find_patches
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex

AROUND = 128  # points per ring


def revolved(radii: np.ndarray, heights: np.ndarray) -> TriangleMesh:
    """Surface of a profile turned about the z axis, from the axis outwards; faces +z."""
    angle = np.arange(AROUND) * 2 * np.pi / AROUND
    rings = np.stack(
        [
            radii[1:, None] * np.cos(angle),
            radii[1:, None] * np.sin(angle),
            np.repeat(heights[1:, None], AROUND, axis=1),
        ],
        axis=2,
    )
    grid = 1 + np.arange((len(radii) - 1) * AROUND).reshape(-1, AROUND)
    after = np.roll(grid, -1, axis=1)
    fan = np.c_[np.zeros(AROUND, int), grid[0], after[0]]
    a, b = grid[:-1].ravel(), grid[1:].ravel()
    c, d = after[1:].ravel(), after[:-1].ravel()
    faces = np.concatenate([fan, np.c_[a, b, c], np.c_[a, c, d]])
    return TriangleMesh(np.vstack([[0, 0, heights[0]], rings.reshape(-1, 3)]), faces)


def flat_disc(radius: float = 2.0, step: float = 0.01) -> TriangleMesh:
    radii = np.arange(0, radius + step / 2, step)
    return revolved(radii, np.zeros_like(radii))


def stub(radius: float, height: float, outer: float = 3.0) -> TriangleMesh:
    """A plane with an upright cylinder on it."""
    top = np.linspace(0, radius, 20)
    base = np.linspace(radius, outer, 80)
    wall = np.linspace(height, 0, 21)[1:-1]
    radii = np.concatenate([top, np.full(len(wall), radius), base])
    heights = np.concatenate([np.full(20, height), wall, np.zeros(80)])
    return revolved(radii, heights)


def area_set_of(mesh: TriangleMesh, **masks: np.ndarray) -> AreaSet:
    evaluation = evaluation_mesh(mesh, spacing_mm=10.0)
    whole = np.ones(len(mesh.vertices), dtype=bool)
    areas = {name: Area(name, mask) for name, mask in {"whole": whole, **masks}.items()}
    return AreaSet(evaluation=evaluation, areas=areas)


def field_of(mesh: TriangleMesh, deviation_mm: np.ndarray) -> DeviationField:
    return DeviationField(
        direction="design_to_scan",
        points_mm=mesh.vertices,
        deviation_mm=deviation_mm,
        status=np.where(np.isnan(deviation_mm), TOO_FAR, COUNTED).astype(np.uint8),
        weights_mm2=mesh.vertex_areas,
        area_point=np.arange(len(mesh.vertices)),
    )


@pytest.mark.parametrize("sign", [1, -1])
def test_a_known_stub(sign: int) -> None:
    """Cylinder of radius a, height h; nearest from below is its wall or its top: min(a − r, h).

    Beyond the tolerance t lie π(a − t)²; with b = a − h the volume under the patch is
    π b² h + 2π ∫ (a − r) r dr from b to a − t. A gouge of the same shape has the other sign, and
    is measured from above its floor.
    """
    a, h, t = 0.6, 0.12, 0.025
    design = flat_disc()
    scan = stub(a, h)
    if sign < 0:
        scan = TriangleMesh(scan.vertices * [1, 1, -1], scan.faces)
    field = measure_deviation(design, SurfaceIndex(scan))
    (patch,) = find_patches(field, area_set_of(design), 1e3 * t)
    b, edge = a - h, a - t
    slope = a * (edge**2 - b**2) / 2 - (edge**3 - b**3) / 3
    volume = np.pi * b**2 * h + 2 * np.pi * slope
    assert patch.kind == ("excess" if sign > 0 else "missing")
    # A ring of points stands for half a step (0.005 mm) on either side; the polygon of 128 sides
    # takes (π/128)²/6 · 4 of the areas.
    ring = 2 * 0.005 / edge + 5e-4
    assert patch.area_mm2 == pytest.approx(np.pi * edge**2, rel=ring)
    assert patch.volume_mm3 == pytest.approx(volume, rel=ring * t * edge**2 * np.pi / volume + 1e-3)
    assert patch.peak_um == pytest.approx(sign * 1e3 * h, abs=1e-9)
    assert patch.mean_um == pytest.approx(1e3 * sign * patch.volume_mm3 / patch.area_mm2, rel=1e-9)
    assert patch.centre_mm == pytest.approx((0, 0, 0), abs=1e-9)


def test_the_stub_seen_from_the_scan_differs() -> None:
    """From the scan Σ w d = π a² h of its top + 2π a h · h/2 of its wall, larger than from below.

    The wall stands at 90° to the plane below it and counts only if any angle may.
    """
    a, h = 0.6, 0.12
    design, scan = SurfaceIndex(flat_disc(4.0, 0.05)), stub(a, h)
    wall = np.isclose(np.hypot(*scan.vertices[:, :2].T), a) & (
        np.abs(scan.vertices[:, 2] - h / 2) < h / 2 - 1e-9
    )
    assert wall.sum() == 19 * AROUND
    strict = measure_deviation(scan, design, "scan_to_design")
    assert not strict.counted[wall].any()
    any_angle = DeviationSettings(max_normal_angle_deg=180.0)
    field = measure_deviation(scan, design, "scan_to_design", any_angle)
    assert field.counted.all()
    polygon = np.sin(2 * np.pi / AROUND) / (2 * np.pi / AROUND)  # its area to the circle's
    side = np.sin(np.pi / AROUND) / (np.pi / AROUND)  # its outline to the circle's
    # A ring's points also stand for half of the faces beside it: for linear d the sum is exact.
    expected = np.pi * a**2 * h * polygon + np.pi * a * h**2 * side
    assert field.weights_mm2 @ field.deviation_mm == pytest.approx(expected, rel=1e-9)


def test_patches_are_apart_by_sign_and_distance_and_come_worst_first() -> None:
    sheet = flat_disc(2.0, 0.02)
    x, y = sheet.vertices[:, 0], sheet.vertices[:, 1]
    d = np.zeros(len(x))
    d[np.hypot(x - 1, y) < 0.3] = 0.04
    d[np.hypot(x + 1, y) < 0.3] = 0.06
    d[(np.hypot(x, y - 1) < 0.3) & (x < 0)] = -0.05
    d[(np.hypot(x, y - 1) < 0.3) & (x >= 0)] = 0.03
    areas = area_set_of(sheet, occlusal=x > 0, axial=x <= 0, margin=y > 0)
    found = find_patches(field_of(sheet, d), areas, 25.0)
    assert [round(patch.peak_um) for patch in found] == [60, -50, 40, 30]
    assert [patch.kind for patch in found] == ["excess", "missing", "excess", "excess"]
    assert found[0].areas[0] == "axial"
    assert found[1].areas == ("axial", "margin")
    assert set(found[2].areas) == {"occlusal", "margin"}
    assert [round(c, 1) for c in found[0].centre_mm] == [-1.0, 0.0, 0.0]
    # Together they hold every point outside, and what is missing and what is in excess add up.
    (row,) = measure_areas([field_of(sheet, d)], area_set_of(sheet), {"whole": 25.0})
    assert sum(p.area_mm2 for p in found if p.kind == "excess") == pytest.approx(row.above_mm2)
    assert sum(p.area_mm2 for p in found if p.kind == "missing") == pytest.approx(row.below_mm2)


def test_patches_within_no_area_lie_in_the_whole() -> None:
    sheet = flat_disc(1.0, 0.05)
    d = np.where(np.hypot(*sheet.vertices[:, :2].T) < 0.4, 0.1, 0.0)
    nowhere = np.zeros(len(d), dtype=bool)
    (patch,) = find_patches(field_of(sheet, d), area_set_of(sheet, fossae=nowhere), 25.0)
    assert patch.areas == ("whole",)


def test_small_patches_and_points_that_do_not_count_are_left_out() -> None:
    sheet = flat_disc(1.0, 0.05)
    r = np.hypot(*sheet.vertices[:, :2].T)
    d = np.where(r < 0.22, 0.1, 0.0)
    size = sheet.vertex_areas[d > 0].sum()
    for least, count in ((size * 0.999, 1), (size * 1.001, 0)):
        settings = PatchSettings(min_patch_mm2=least)
        assert len(find_patches(field_of(sheet, d), area_set_of(sheet), 25, settings)) == count
    d[r < 0.22] = np.nan
    assert find_patches(field_of(sheet, d), area_set_of(sheet), 25.0) == ()


def test_the_settings_tolerance_comes_before_the_given_one() -> None:
    sheet = flat_disc(1.0, 0.05)
    field = field_of(sheet, np.full(len(sheet.vertices), 0.02))
    areas = area_set_of(sheet)
    assert find_patches(field, areas, 25.0) == ()
    (patch,) = find_patches(field, areas, 25.0, PatchSettings(patch_um=19.0))
    assert patch.area_mm2 == pytest.approx(sheet.area_mm2)
    assert patch.volume_mm3 == pytest.approx(0.02 * sheet.area_mm2)


def test_without_a_tolerance_nothing_exceeds() -> None:
    sheet = flat_disc(1.0, 0.1)
    field = field_of(sheet, np.full(len(sheet.vertices), 5.0))
    assert find_patches(field, area_set_of(sheet), np.nan) == ()


def test_patches_join_only_along_edges() -> None:
    """Two caps of a sphere are two patches, however thin the belt between them."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    mesh = TriangleMesh(ball.vertices, ball.faces)
    z = mesh.vertices[:, 2]
    found = find_patches(
        field_of(mesh, np.where(np.abs(z) > 0.5, 0.1, 0.0)), area_set_of(mesh), 25.0
    )
    assert len(found) == 2
    # Archimedes: a cap of height R − 0.5 has 2πR(R − 0.5); a row of points (0.3 mm) may shift.
    assert found[0].area_mm2 == pytest.approx(2 * np.pi * 5 * 4.5, rel=0.3 / 4.5)


def test_wrong_input_is_refused() -> None:
    sheet = flat_disc(1.0, 0.1)
    backward = measure_deviation(sheet, SurfaceIndex(sheet), "scan_to_design")
    with pytest.raises(SettingError, match="design_to_scan"):
        find_patches(backward, area_set_of(sheet), 25.0)
    with pytest.raises(SettingError, match="min_patch_mm2"):
        PatchSettings(min_patch_mm2=-1.0)
