"""Intraclass correlations against a published table and pingouin."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pingouin
import pytest
from cuspwise.standalone_core.statistics.intraclass import intraclass

SHROUT_FLEISS = [
    [9, 2, 5, 8],
    [6, 1, 3, 2],
    [8, 4, 6, 8],
    [7, 1, 2, 6],
    [10, 5, 6, 9],
    [6, 2, 4, 7],
]


def test_the_table_of_shrout_and_fleiss():
    """Shrout & Fleiss 1979, table 4: (2,1) .29, (3,1) .71; to more figures in check_values.md."""
    found = intraclass(SHROUT_FLEISS)
    assert found.agreement == pytest.approx(0.28976, abs=5e-6)
    assert found.consistency == pytest.approx(0.71484, abs=5e-6)


@pytest.mark.parametrize("raters", [2, 4])
def test_as_pingouin_has_it(raters):
    rng = np.random.default_rng(raters)
    table = rng.normal(0, 2, (9, 1)) + rng.normal(0, 1, (9, raters)) + np.arange(raters)
    long = pd.DataFrame(
        [(i, j, x) for i, row in enumerate(table) for j, x in enumerate(row)],
        columns=["unit", "rater", "x"],
    )
    peer = pingouin.intraclass_corr(long, targets="unit", raters="rater", ratings="x")
    peer = peer.set_index("Type")
    interval = next(name for name in peer.columns if name.startswith("CI95"))
    names = [name for name in peer.index if name in ("ICC2", "ICC3", "ICC(A,1)", "ICC(C,1)")]
    found = intraclass(table)
    own = (
        (found.agreement, found.agreement_low, found.agreement_high),
        (found.consistency, found.consistency_low, found.consistency_high),
    )
    for name, (value, low, high) in zip(names, own, strict=True):
        assert value == pytest.approx(peer.loc[name, "ICC"], rel=1e-9)
        assert (low, high) == pytest.approx(tuple(peer.loc[name, interval]), abs=0.0051)


def test_gaps_and_what_cannot_be_computed():
    table = np.array([*SHROUT_FLEISS, [np.nan, 1, 2, 3]], dtype=float)
    assert intraclass(table).n == 6
    assert np.isnan(intraclass([[1.0, 2.0]]).agreement)
    assert intraclass([[1.0, 2.0]]).reason
    assert intraclass([[1.0], [2.0]]).reason
    assert intraclass(np.ones((4, 2))).reason.code == "all_same"
    same = intraclass([[1.0, 1.0], [2.0, 2.0], [5.0, 5.0]])
    assert (same.agreement, same.agreement_low, same.consistency_high) == (1.0, 1.0, 1.0)
