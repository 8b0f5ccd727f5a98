"""Levels that are passed on: against Holm's method, fixed orders, and closed tests written out."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.graphical import chains, graphical
from statsmodels.stats.multitest import multipletests


def test_equal_shares_are_holms_method():
    p = np.random.default_rng(1).uniform(size=6) ** 3
    found = graphical(p, np.full(6, 1 / 6), (1 - np.eye(6)) / 5)
    np.testing.assert_allclose(found, multipletests(p, method="holm")[1])


def test_a_fixed_order_is_the_running_maximum():
    p = [0.01, 0.04, 0.02, 0.9, 0.001]
    weights, passes = chains([range(5)], 5)
    assert graphical(p, weights, passes).tolist() == [0.01, 0.04, 0.04, 0.9, 0.9]


def test_a_test_that_was_not_made_ends_its_order():
    weights, passes = chains([[0, 1, 2]], 3)
    found = graphical([0.01, np.nan, 0.001], weights, passes)
    assert found[0] == 0.01
    assert np.isnan(found[1])
    assert found[2] == 1.0


@pytest.mark.parametrize("orders", [[[0, 1, 2], [3, 4]], [[0, 1], [2], [3, 4]], [[0, 2, 4, 1, 3]]])
def test_chains_equal_their_closed_test(orders):
    """Bretz et al. 2009: the graph is the shortcut of a closed test whose intersections share the
    level as the graph does once all others are gone; here the levels that reach each hypothesis
    are followed along the chains by hand, not by the graph.
    """
    rng = np.random.default_rng(2)
    m = 5
    weights, passes = chains(orders, m)
    for _ in range(60):
        p = rng.uniform(size=m) ** 4
        closed = np.zeros(m)
        for size in range(1, m + 1):
            for subset in combinations(range(m), size):
                level = _levels(orders, set(subset))
                least = min(p[i] / level[i] if level[i] else np.inf for i in subset)
                for i in subset:
                    closed[i] = max(closed[i], min(least, 1.0))
        np.testing.assert_allclose(graphical(p, weights, passes), closed, atol=1e-12)


def _levels(orders, subset):
    """Chains of which something is left share what is left of the level; the first has it."""
    first = [next((i for i in order if i in subset), None) for order in orders]
    standing = [i for i in first if i is not None]
    return {i: 1 / len(standing) if i in standing else 0.0 for i in subset}


def test_false_claims_stay_below_alpha():
    """All hypotheses true, tests that go together: 5 % of pages hold a false claim at most."""
    rng = np.random.default_rng(3)
    runs, weights_passes = 4000, chains([[0, 1, 2], [3, 4, 5]], 6)
    common = rng.standard_normal((runs, 1))
    from scipy import special

    z = (common + rng.standard_normal((runs, 6))) / np.sqrt(2)
    p = 2 * special.ndtr(-np.abs(z))
    false = np.mean([(graphical(row, *weights_passes) <= 0.05).any() for row in p])
    assert false <= 0.05 + 3 * (0.05 * 0.95 / runs) ** 0.5
    assert false > 0.03


@pytest.mark.parametrize(
    ("p", "weights", "passes"),
    [
        ([1.2, 0.1], [0.5, 0.5], np.zeros((2, 2))),
        ([0.1, 0.1], [0.9, 0.5], np.zeros((2, 2))),
        ([0.1, 0.1], [0.5, 0.5], [[0, 1.5], [0, 0]]),
        ([0.1, 0.1], [0.5, 0.5], [[1, 0], [0, 0]]),
    ],
)
def test_what_shares_out_too_much_is_refused(p, weights, passes):
    with pytest.raises(SettingError):
        graphical(p, weights, passes)
