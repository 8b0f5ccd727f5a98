"""What a study cannot show by design, told when its file is read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from cuspwise.standalone_core.study.cannot_show import cannot_show
from cuspwise.standalone_core.study.fit_plan import FitPlan
from cuspwise.standalone_core.study.plan import AnalysisPlan, GroupPlan, StudyPlan
from scipy import stats


def plan(*sizes, lead="welch", areas=(), measures=("mean_abs_um", "rms_um", "half_p90_p10_um")):
    groups = tuple(
        GroupPlan(f"g{k}", f"Group {k}", tuple(Path(f"g{k}/{i}.stl") for i in range(n)))
        for k, n in enumerate(sizes)
    )
    analysis = AnalysisPlan(lead=lead)
    return StudyPlan(
        None, "t", "", Path("d.stl"), groups, areas=areas, measures=measures, analysis=analysis
    )


def smallest(n, m):
    """The p-value of complete separation, by scipy's exact test."""
    a, b = range(n), range(100, 100 + m)
    return stats.mannwhitneyu(a, b, method="exact").pvalue


def test_five_and_five_crowns_by_ranks_show_what_is_planned_but_no_precision():
    """check_values.md, section 6: .0079 at best."""
    (precise,) = cannot_show(plan(5, 5, lead="ranks"))
    assert smallest(5, 5) == pytest.approx(0.0079, abs=5e-5)
    assert "none can be shown to be more precise" in precise


def test_orders_that_share_the_level_need_more_crowns():
    said, _ = cannot_show(plan(4, 4, 4, 4, lead="ranks"))
    assert "4 and 4 crowns give p = 0.029 at best, 0.17 as one of 6 orders" in said
    assert smallest(4, 4) == pytest.approx(0.029, abs=5e-4)
    enough = next(n for n in range(2, 20) if 6 * smallest(n, n) <= 0.05)
    assert f"{enough} crowns per group, or means in place of ranks" in said
    of_two = plan(4, 4, lead="ranks")
    limited = replace(of_two, analysis=replace(of_two.analysis, equivalence_um={"default": 5.0}))
    assert "0.057 as one of 2 orders" in cannot_show(limited)[0]
    alone = replace(limited, analysis=replace(limited.analysis, secondary=()))
    assert not any(said.startswith("By ranks") for said in cannot_show(alone))


def test_three_and_three_crowns_by_ranks_show_nothing():
    said, _ = cannot_show(plan(3, 3, lead="ranks"))
    assert "p = 0.1 at best: no difference between them can be shown" in said


def test_means_can_show_what_ranks_cannot_and_precision_is_told_apart():
    (precise,) = cannot_show(plan(5, 5))
    assert precise.startswith("Precision is compared by permuting crowns: 5 and 5 crowns give")
    assert "over 21 comparisons" in precise
    assert "welch" not in precise


def test_few_comparisons_or_many_crowns_can_show_it():
    assert cannot_show(plan(5, 5, areas=("margin",), measures=("mean_abs_um", "rms_um"))) == ()
    assert cannot_show(plan(9, 9, lead="ranks")) == ()
    assert cannot_show(plan(9)) == ()
    one = plan(6, 6, lead="ranks", areas=("margin",), measures=("mean_abs_um",))
    assert cannot_show(one) == ()


def test_a_limit_of_fit_makes_a_second_order_too():
    """The order is led by a measure of fit, whose limit stands by itself."""
    of_two = plan(4, 4, lead="ranks")
    first = replace(of_two.analysis, primary_measure="marginal_gap_um")
    fit = FitPlan(equivalence_um={"marginal_gap_um": 20.0})
    assert of_two.orders_per_pair(first.order) == 1
    seated = replace(of_two, analysis=first, fit=fit)
    assert seated.orders_per_pair(first.order) == 2
    assert seated.orders_per_pair(first.order[:1]) == 1
    assert "0.057 as one of 2 orders" in cannot_show(seated)[0]
