"""From where a place is looked at, and the order of patches: the add-on's parts without Blender."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.addon.check.patch_order import ListedPatch, is_listed, places_in_list
from cuspwise.addon.drawing.free_sight import free_sight
from numpy.typing import NDArray


def test_a_free_place_is_seen_along_its_normal() -> None:
    assert free_sight((0.0, 3.0, -4.0), lambda _way: True) == pytest.approx([0.0, 0.6, -0.8])


@pytest.mark.parametrize("limit_deg", [5.0, 25.0, 55.0])
def test_a_look_leans_no_more_than_it_must(limit_deg: float) -> None:
    """Below a lid that leaves free what leans further, by steps of ten degrees."""

    def is_seen(way: NDArray[np.float64]) -> bool:
        return bool(way[2] <= np.cos(np.deg2rad(limit_deg)))

    found = free_sight((0.0, 0.0, 1.0), is_seen)
    assert found is not None
    assert np.linalg.norm(found) == pytest.approx(1.0)
    assert np.rad2deg(np.arccos(found[2])) == pytest.approx(10.0 * np.ceil(limit_deg / 10.0))


def test_a_mesh_that_is_inside_out_is_seen_from_its_other_side() -> None:
    found = free_sight((0.0, 0.0, 1.0), lambda way: bool(way[2] < -0.99))
    assert found == pytest.approx([0.0, 0.0, -1.0])
    assert free_sight((0.0, 0.0, 1.0), lambda _way: False) is None


def test_equal_patches_keep_their_order() -> None:
    same = [ListedPatch(-30.0, 0.2, ("margin",)), ListedPatch(30.0, 0.2, ("margin",))]
    for sort in ("WORST", "SIZE", "AREA"):
        assert places_in_list(same, sort) == [0, 1]
    assert places_in_list(same, "PEAK") == [1, 0]
    assert [is_listed(one, "EXCESS", "everywhere", 0.2) for one in same] == [False, True]
    assert not is_listed(same[1], "BOTH", "axial", 0.0)
