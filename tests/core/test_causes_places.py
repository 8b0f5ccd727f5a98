"""Filled places: where a fitted filling is deep, by closed forms on a plane."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.causes.filled_places import filled_places
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh


@pytest.fixture(scope="module")
def plane() -> EvaluationMesh:
    square = TriangleMesh([[0, 0, 0], [8, 0, 0], [8, 4, 0], [0, 4, 0]], [[0, 1, 2], [0, 2, 3]])
    return evaluation_mesh(square, 0.06)


def cone(plane: EvaluationMesh, x: float, y: float, radius_mm: float, deep_mm: float) -> np.ndarray:
    away = np.hypot(plane.points[:, 0] - x, plane.points[:, 1] - y)
    return deep_mm * np.maximum(1.0 - away / radius_mm, 0.0)


def test_two_cones_are_two_places_with_their_areas_and_volumes(plane):
    """Cut at a fifth of the deepest, h: the radius is R (1 − l/h), the volume that of the cone
    above the cut and of the cylinder under it."""
    fitted = cone(plane, 2.0, 2.0, 1.0, 0.05) + cone(plane, 6.0, 2.0, 1.5, 0.04)
    places = filled_places(plane, fitted)
    assert len(places) == 2
    for place, (x, radius, deep) in zip(places, [(6.0, 1.5, 0.04), (2.0, 1.0, 0.05)], strict=True):
        cut = 0.2 * 0.05
        area = np.pi * (radius * (1.0 - cut / deep)) ** 2
        assert place.area_mm2 == pytest.approx(area, rel=0.02)
        assert place.volume_mm3 == pytest.approx(area * (cut + (deep - cut) / 3.0), rel=0.02)
        assert place.deepest_um == pytest.approx(1e3 * deep, rel=0.05)
        assert place.place_mm == pytest.approx((x, 2.0, 0.0), abs=0.06)
        assert fitted[place.points].min() >= cut
        assert np.isnan(place.left_um)


def test_5_um_is_the_least(plane):
    fitted = cone(plane, 2.0, 2.0, 1.0, 0.0049)
    assert filled_places(plane, fitted) == ()
    assert filled_places(plane, -10.0 * fitted) == ()
    (place,) = filled_places(plane, 4.0 * fitted)
    assert fitted[place.points].min() >= 0.005 / 4.0


def test_what_is_left_is_the_mean_of_what_was_measured(plane):
    fitted = np.where(plane.points[:, 0] < 2.0, 0.02, 0.0)
    left = np.where(plane.points[:, 1] < 2.0, 0.003, np.nan)
    (place,) = filled_places(plane, fitted, residual_mm=left)
    assert place.left_um == pytest.approx(3.0)


def test_only_the_largest_are_kept(plane):
    sizes = [0.2, 0.25, 0.3, 0.35]
    spots = [cone(plane, 1.0 + 2.0 * k, 2.0, size, 0.05) for k, size in enumerate(sizes)]
    places = filled_places(plane, np.sum(spots, axis=0), most=2)
    assert [round(place.place_mm[0]) for place in places] == [7, 5]


def test_values_that_are_not_one_per_point_are_refused(plane):
    n = len(plane.points)
    with pytest.raises(SettingError, match="one value for each"):
        filled_places(plane, np.zeros(n - 1))
    with pytest.raises(SettingError, match="residual_mm"):
        filled_places(plane, np.zeros(n), residual_mm=np.zeros((n, 1)))
    with pytest.raises(SettingError, match="not a number"):
        filled_places(plane, np.full(n, np.nan))
