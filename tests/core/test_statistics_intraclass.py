"""Intraclass correlations against a published table, pingouin, and known truths."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pingouin
import pytest
from cuspwise.standalone_core.statistics.gauge import gauge_study
from cuspwise.standalone_core.statistics.intraclass import (
    absolute_agreement,
    intraclass_of,
)
from made.tiers import slow
from scipy import stats

SHROUT_FLEISS = [
    [9, 2, 5, 8],
    [6, 1, 3, 2],
    [8, 4, 6, 8],
    [7, 1, 2, 6],
    [10, 5, 6, 9],
    [6, 2, 4, 7],
]


def gauge_of(values: np.ndarray):
    """The gauge study of parts × operators × trials."""
    part, operator, _ = np.indices(values.shape).reshape(3, -1).tolist()
    return gauge_study(values.ravel(), part, operator)


def one_way(table):
    """ICC(1), as of one operator's trials."""
    return intraclass_of(gauge_of(np.asarray(table, dtype=float)[:, None, :]))


def test_the_table_of_shrout_and_fleiss():
    """Shrout & Fleiss 1979, table 4: (1,1) .17, (2,1) .29; more figures in check_values.md.

    The intervals as R's psych prints them of the same table, −.133 to .72 and .019 to .76 (from
    memory).
    """
    one, two = one_way(SHROUT_FLEISS), absolute_agreement(SHROUT_FLEISS)
    assert one.icc == pytest.approx(0.16574, abs=5e-6)
    assert (one.ci_low, one.ci_high) == pytest.approx((-0.133, 0.72), abs=5e-3)
    assert two.icc == pytest.approx(0.28976, abs=5e-6)
    assert (two.ci_low, two.ci_high) == pytest.approx((0.019, 0.76), abs=5e-3)
    assert (one.form, one.n, one.ratings) == ("ICC(1)", 6, 4)
    assert (two.form, two.n, two.ratings) == ("ICC(A,1)", 6, 4)


def made(raters: int, level: float = 1.0) -> np.ndarray:
    rng = np.random.default_rng(raters)
    own = rng.normal(0, 1, (9, raters)) + level * np.arange(raters)
    return np.asarray(rng.normal(0, 2, (9, 1)) + own)


@pytest.mark.parametrize("raters", [2, 4])
def test_as_pingouin_has_it(raters):
    table = made(raters)
    long = pd.DataFrame(
        [(i, j, x) for i, row in enumerate(table) for j, x in enumerate(row)],
        columns=["unit", "rater", "x"],
    )
    peer = pingouin.intraclass_corr(long, targets="unit", raters="rater", ratings="x")
    peer = peer.set_index("Type")
    interval = next(name for name in peer.columns if name.startswith("CI95"))
    for names, found in (
        (("ICC1", "ICC(1,1)"), one_way(table)),
        (("ICC2", "ICC(A,1)"), absolute_agreement(table)),
    ):
        (name,) = [name for name in peer.index if name in names]
        assert found.icc == pytest.approx(peer.loc[name, "ICC"], rel=1e-9)
        own = found.ci_low, found.ci_high
        assert own == pytest.approx(tuple(peer.loc[name, interval]), abs=0.0051)


def test_a_gauge_study_with_one_trial_is_the_same():
    table = made(4)
    assert_same(intraclass_of(gauge_of(table[:, :, None])), absolute_agreement(table))


def assert_same(ours, theirs):
    assert (ours.form, ours.n, ours.ratings) == (theirs.form, theirs.n, theirs.ratings)
    assert ours.icc == pytest.approx(theirs.icc, rel=1e-9)
    assert (ours.ci_low, ours.ci_high) == pytest.approx((theirs.ci_low, theirs.ci_high), rel=1e-9)


@pytest.mark.parametrize("spread", [0.0, 0.8])
def test_of_a_gauge_study_it_is_what_the_gauges_share_of_the_variance_leaves(spread):
    rng = np.random.default_rng(4)
    values = 2 * rng.normal(size=(6, 1, 1)) + spread * rng.normal(size=(6, 3, 1))
    study = gauge_of(values + rng.normal(size=(6, 3, 2)) + np.arange(3)[:, None])
    assert study.pooled == (spread == 0)
    assert intraclass_of(study).icc == pytest.approx(1 - study.variance_share, rel=1e-9)


DESIGNS = [
    (5, 1, 3, 0, 0),
    (5, 2, 3, 0.3, 0),
    (8, 3, 2, 0.5, 0.3),
    (4, 2, 5, 1, 1),
    (5, 2, 3, 0, 0),
]
"""Parts, operators, trials; spread of operators and of the interaction, beside parts of 1."""


@pytest.mark.parametrize("design", DESIGNS[:1] + [slow(d) for d in DESIGNS[1:]], ids=str)
def test_the_interval_covers_the_truth(design):
    """Exact for one operator, else near: 93 to 96 % in 1,500 runs; tested not to be below 92 %."""
    parts, operators, trials, level, crossed = design
    rng, runs, covered = np.random.default_rng(7), 300, 0
    true = 1 / (1 + level**2 + crossed**2 + 0.25)
    for _ in range(runs):
        values = rng.normal(size=(parts, 1, 1)) + level * rng.normal(size=(operators, 1))
        values = values + crossed * rng.normal(size=(parts, operators, 1))
        found = intraclass_of(gauge_of(values + 0.5 * rng.normal(size=(parts, operators, trials))))
        covered += found.ci_low <= true <= found.ci_high
    assert covered >= stats.binom.ppf(0.001, runs, 0.95 if operators == 1 else 0.92)


def test_it_is_smaller_on_units_that_are_more_alike():
    rng = np.random.default_rng(2)
    units, noise = rng.normal(size=(12, 1)), rng.normal(size=(12, 3))
    assert one_way(3 * units + noise).icc > one_way(units + noise).icc + 0.2


def test_gaps_and_what_cannot_be_computed():
    table = np.array([*SHROUT_FLEISS, [np.nan, 1, 2, 3]], dtype=float)
    assert absolute_agreement(table).n == 6
    for few in ([[1.0, 2.0]], [[1.0], [2.0]], [[np.nan, 1.0], [1.0, 2.0], [2.0, np.nan]]):
        assert np.isnan(absolute_agreement(few).icc)
        assert absolute_agreement(few).reason.code == "too_few_rated"
    for form in (absolute_agreement, one_way):
        assert form(np.ones((4, 2))).reason.code == "all_same"
        same = form([[1.0, 1.0], [2.0, 2.0], [5.0, 5.0]])
        assert same.icc == 1.0
        assert np.isnan([same.ci_low, same.ci_high]).all()
        assert same.reason.code == "same_ratings"
    alone = intraclass_of(gauge_of(np.array([[[1.0, 2.0, 3.0]]])))
    assert alone.reason.code == "too_few_rated"
