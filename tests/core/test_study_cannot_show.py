"""What a study cannot show by design, told when its file is read."""

from __future__ import annotations

from pathlib import Path

import pytest
from cuspwise.standalone_core.study.cannot_show import cannot_show
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


def test_five_and_five_crowns_by_ranks_show_the_primary_comparison_at_most():
    """check_values.md, section 6: .0079 at best."""
    said, precise = cannot_show(plan(5, 5, lead="ranks"))
    assert "5 and 5 crowns give p = 0.0079 at best, 0.16 after correction" in said
    assert "all but the primary one must end undecided" in said
    assert smallest(5, 5) == pytest.approx(0.0079, abs=5e-5)
    assert min(1, (7 * 3 - 1) * smallest(5, 5)) == pytest.approx(0.16, abs=0.005)
    enough = next(n for n in range(2, 20) if 20 * smallest(n, n) <= 0.05)
    assert f"{enough} crowns per group would do" in said
    assert 'lead = "welch"' in said
    assert "none can be shown to be more precise" in precise


def test_three_and_three_crowns_by_ranks_show_nothing():
    said, _ = cannot_show(plan(3, 3, lead="ranks"))
    assert "p = 0.1 at best" in said
    assert "the primary comparison and all others must end undecided" in said


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
