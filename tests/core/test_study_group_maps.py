"""Maps of a group and of the difference of two, against numpy and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.check import CheckSettings
from cuspwise.standalone_core.checked_mesh import checked_surface
from cuspwise.standalone_core.measure import ReadyDesign, ready_design_steps
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.measuring.group_maps import (
    difference_map,
    group_map,
    spread_parts,
)
from made.crowns import demo_crown

SETTINGS = CheckSettings(spacing_mm=0.3)


@pytest.fixture(scope="module")
def ready() -> ReadyDesign:
    return run(ready_design_steps(checked_surface(demo_crown(0.3).mesh), SETTINGS))


def test_group_maps_are_numpys(ready: ReadyDesign) -> None:
    rng = np.random.default_rng(5)
    count = len(ready.evaluation.points)
    crowns = rng.normal(0.01, 0.02, size=(6, count))
    crowns[rng.random(crowns.shape) < 0.2] = np.nan
    crowns[:, 0] = np.nan
    crowns[1:, 1] = np.nan
    found = group_map("g", iter(crowns), 25.0, count)
    with np.errstate(invalid="ignore"):
        several = found.counted > 1
        np.testing.assert_array_equal(found.counted, np.isfinite(crowns).sum(axis=0))
        np.testing.assert_allclose(
            found.sd_um[several], 1e3 * np.nanstd(crowns[:, several], axis=0, ddof=1)
        )
        np.testing.assert_allclose(
            found.mean_um[several], 1e3 * np.nanmean(crowns[:, several], axis=0)
        )
        outside = np.abs(crowns) > 0.025
    assert np.isnan(found.mean_um[0])
    assert np.isnan(found.sd_um[1])
    np.testing.assert_allclose(
        found.share_outside[several], outside[:, several].sum(axis=0) / found.counted[several]
    )
    assert np.all(np.abs(found.worst_um[several]) >= np.abs(found.mean_um[several]))


def test_difference_maps_are_scipys_welch(ready: ReadyDesign) -> None:
    """scipy.stats.ttest_ind and false_discovery_control are the references."""
    from scipy import stats

    rng = np.random.default_rng(6)
    count = len(ready.evaluation.points)
    a, b = rng.normal(0, 0.01, (7, count)), rng.normal(0.004, 0.02, (9, count))
    a[:, 0] = b[:, 0] = 0.0
    found = difference_map(group_map("a", a, 25.0, count), group_map("b", b, 25.0, count))
    assert np.isnan(found.p_value[0])
    expected = stats.ttest_ind(a[:, 1:], b[:, 1:], equal_var=False).pvalue
    np.testing.assert_allclose(found.p_value[1:], expected, rtol=1e-9)
    np.testing.assert_allclose(
        found.q_value[1:], stats.false_discovery_control(expected), rtol=1e-9
    )


def test_systematic_and_random_parts_are_recovered(ready: ReadyDesign) -> None:
    """20 crowns of a known shared deviation and known independent noise."""
    rng = np.random.default_rng(7)
    points = ready.evaluation.points
    shared = 0.012 * np.sin(points[:, 0])
    crowns = shared + rng.normal(0, 0.006, (20, len(points)))
    parts = spread_parts(group_map("g", crowns, 25.0, len(points)), ready.area_set)
    whole = next(row for row in parts if row.area == "whole")
    w = ready.evaluation.weights_mm2
    assert whole.random_um == pytest.approx(6.0, rel=0.02)
    assert whole.systematic_um == pytest.approx(1e3 * np.sqrt(w @ shared**2 / w.sum()), rel=0.02)
    assert whole.total_rms_um == pytest.approx(1e3 * np.sqrt(np.mean(crowns**2 @ w) / w.sum()))
