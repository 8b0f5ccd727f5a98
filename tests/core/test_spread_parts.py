"""Systematic and random parts: how they add, and what they are not to be compared with."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from cuspwise.standalone_core.study.measuring.group_maps import group_map, spread_parts
from cuspwise.standalone_core.study.measuring.results import SpreadParts

COUNT = 2000
WEIGHTS = np.random.default_rng(4).uniform(0.002, 0.02, COUNT)


def parts_of(crowns_mm: np.ndarray) -> SpreadParts:
    area: Any = SimpleNamespace(points=np.ones(COUNT, dtype=bool))
    area_set: Any = SimpleNamespace(
        evaluation=SimpleNamespace(weights_mm2=WEIGHTS), areas={"whole": area}
    )
    return spread_parts(group_map("g", crowns_mm, 25.0, COUNT), area_set)[0]


@pytest.mark.parametrize("missing", [0.0, 0.3])
def test_squares_of_systematic_and_random_part_add_to_the_total(missing: float) -> None:
    """Reference: total and random part summed over crowns and points by hand."""
    rng = np.random.default_rng(8)
    crowns = 0.01 * np.cos(np.arange(COUNT)) + rng.normal(0, 0.02, (5, COUNT))
    crowns[rng.random(crowns.shape) < missing] = np.nan
    found = parts_of(crowns)
    assert found.total_rms_um**2 == pytest.approx(found.systematic_um**2 + found.random_um**2)

    kept = np.isfinite(crowns).sum(axis=0) > 1
    w, d = WEIGHTS[kept], 1e3 * crowns[:, kept]
    n = np.isfinite(d).sum(axis=0)
    assert found.total_rms_um == pytest.approx(np.sqrt(np.nansum(w * d**2) / (w @ n)))
    variance = np.nanvar(d, axis=0, ddof=1)
    assert found.random_um == pytest.approx(np.sqrt((w * n) @ variance / (w @ n)))
    assert found.random_um > found.systematic_um > 0


def test_the_systematic_part_does_not_grow_by_chance() -> None:
    """Its square, over many groups of three crowns, is on average that of what is shared."""
    rng = np.random.default_rng(9)
    shared = 0.006 * np.sin(np.arange(COUNT))
    squares = [
        parts_of(shared + rng.normal(0, 0.01, (3, COUNT))).systematic_um ** 2 for _ in range(200)
    ]
    true = 1e6 * (WEIGHTS @ shared**2) / WEIGHTS.sum()
    error = np.std(squares, ddof=1) / np.sqrt(len(squares))
    assert np.mean(squares) == pytest.approx(true, abs=4 * error)
    assert error < 0.02 * true


def test_the_random_part_exceeds_the_total_where_nothing_is_shared() -> None:
    """Deviations that cancel: the mean is 0, and the standard deviation has n − 1 below it."""
    found = parts_of(np.array([[1.0], [-1.0], [0.0]]) * np.full(COUNT, 0.01))
    assert found.systematic_um == 0.0
    assert found.random_um == pytest.approx(10.0)
    assert found.random_um == pytest.approx(found.total_rms_um * np.sqrt(3 / 2))


def test_the_random_part_can_exceed_the_mean_of_the_crowns_own_root_mean_squares() -> None:
    """One odd crown, 45 µm among 5 µm: 20 µm between crowns, 15 µm on average, 22.9 µm in all."""
    found = parts_of(np.array([[1.0], [1.0], [1.0], [9.0]]) * np.full(COUNT, 0.005))
    assert found.random_um == pytest.approx(20.0)
    assert found.total_rms_um == pytest.approx(np.sqrt((3 * 5.0**2 + 45.0**2) / 4))
    assert found.total_rms_um > found.random_um > np.mean([5.0, 5.0, 5.0, 45.0])
