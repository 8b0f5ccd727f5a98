"""Crowns that are odd by what they are judged by, and what would overturn the primary answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cuspwise.standalone_core.statistics.odd import find_odd
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.cohort import cohort_of
from cuspwise.standalone_core.study.analysis.odd_crowns import odd_crowns
from cuspwise.standalone_core.study.plan import AnalysisPlan
from made.study_runs import study
from scipy import stats

LIKE = [3.3, 3.7, 4.0, 4.4]


def far_apart(run, distance_um):
    """Pairs whose surfaces lie as far apart all alike: maps show nothing odd."""
    pairs = tuple(
        replace(pair, superimposed=tuple(replace(r, rms_um=distance_um) for r in pair.superimposed))
        for pair in run.pairs
    )
    return replace(run, pairs=pairs)


def test_a_crown_four_times_worse_than_its_group_is_odd_though_maps_are_alike():
    """The case of a trial: 18.8 µm at the margin beside 3.3 to 4.4, five crowns."""
    values = {"whole": [4.0, 4.1, 4.3, 3.9, 5.0], "margin": [*LIKE, 18.8]}
    run = far_apart(study({"milled": values}), 9.0)
    flagged = [crown for crown in odd_crowns(cohort_of(run)) if crown.odd]
    assert [crown.crown for crown in flagged] == ["milled_4"]
    assert flagged[0].reason == (
        "Mean absolute deviation (margin) 18.8 µm, against a median of 3.85 µm (3.3 to 4.4)."
    )
    # Two areas with a tolerance, as numbers and as maps; five crowns, of whom one can be odd.
    level = AnalysisPlan().odd_false_alarm / 4 / 5
    spread = max(np.std(LIKE, ddof=1), 0.5)
    t = (18.8 - np.mean(LIKE)) / (spread * (1 + 1 / 4) ** 0.5)
    assert flagged[0].score == pytest.approx(t)
    assert flagged[0].limit == pytest.approx(stats.t.isf(level / 2, 3))


@pytest.mark.slow
@pytest.mark.parametrize("n", [4, 6, 10])
def test_sound_groups_raise_no_more_alarms_than_promised(n):
    """Crowns of one shape with smooth form errors of their own: values and maps of three areas,
    which go together, share one chance of a false alarm.
    """
    rng, runs, level = np.random.default_rng(n), 900, 0.05
    areas = {"whole": slice(0, 60), "occlusal": slice(0, 20), "margin": slice(50, 60)}
    waves = np.cos(np.outer(np.linspace(0, 3, 60), np.arange(6)))
    shape = 6.0 * waves[:, 2]
    alarms = 0
    for _ in range(runs):
        fields = shape + rng.normal(0, 4.0, (n, 6)) @ waves.T
        values = {f"value {a}": np.abs(fields[:, k]).mean(axis=1) for a, k in areas.items()}
        maps = {
            a: np.sqrt(((fields[:, None, k] - fields[None, :, k]) ** 2).mean(axis=2))
            for a, k in areas.items()
        }
        alarms += bool(find_odd(values, maps=maps, false_alarms=level).odd)
    assert alarms / runs <= level + 3 * (level * (1 - level) / runs) ** 0.5


def primary_sentence(run):
    (line,) = [line for line in analyse_study(run).verdict if line.kind == "primary"]
    return line.sentence


def two(first, second, **plan):
    groups = {"milled": {"margin": first}, "tilted": {"margin": second}}
    analysis = AnalysisPlan(resamples=999, **plan)
    return study(groups, analysis=analysis, measures=("mean_abs_um",))


def test_the_other_test_s_conclusion_stands_in_the_primary_sentence():
    """One crown far off hides the difference from means, not from ranks: 6 + 6, p by scipy."""
    first, second = [9.0, 9.2, 9.4, 9.5, 9.7, 9.9], [10.0, 10.3, 10.4, 10.6, 10.8, 30.0]
    assert stats.ttest_ind(first, second, equal_var=False).pvalue > 0.05
    assert stats.mannwhitneyu(first, second, method="exact").pvalue < 0.05
    said = primary_sentence(two(first, second))
    assert "By ranks (Mann–Whitney test) it would be different." in said
    other = primary_sentence(two(first, second, lead="ranks"))
    assert "By means (Welch's test) it would be undecided." in other


def test_what_an_odd_crown_hides_stands_in_the_primary_sentence():
    first, second = [9.0, 9.2, 9.4, 9.5, 9.7, 9.9], [10.0, 10.3, 10.4, 10.6, 10.8, 90.0]
    said = primary_sentence(two(first, second))
    assert "Without tilted_5, which is unlike the group, it would be different." in said


def test_nothing_is_added_where_nothing_would_change():
    first, second = [9.0, 9.2, 9.4, 9.5, 9.7, 9.9], [12.0, 12.3, 12.4, 12.6, 12.8, 12.9]
    said = primary_sentence(two(first, second))
    assert "would be" not in said


def test_a_tolerance_met_by_the_normal_model_alone_is_marked():
    """Seven crowns alike and one far off, yet within: scipy's Shapiro–Wilk test sees it."""
    values = [9.0, 9.1, 9.2, 9.0, 9.1, 9.2, 9.1, 11.0]
    p = stats.shapiro(values).pvalue
    assert p < 0.05
    analysis = analyse_study(two(values, [9.0, 9.2, 9.4, 9.5, 9.7, 9.9, 10.0, 10.2]))
    rows = {row.group: row for row in analysis.findings.tolerances if row.area == "margin"}
    assert (rows["milled"].meets, rows["milled"].rests_on_model) == (True, True)
    assert rows["milled"].normality.p == pytest.approx(p)
    assert "rests on the normal model, which these values speak against" in rows["milled"].sentence
    assert (rows["tilted"].meets, rows["tilted"].rests_on_model) == (True, False)
    said = next(line.sentence for line in analysis.verdict if line.kind == "tolerance")
    assert "but only if they are spread normally" in said


def test_a_tolerance_far_off_is_met_whatever_the_distribution():
    """Cantelli's inequality: 95 % of any distribution lie below mean + √19 SD."""
    values = [3.0, 3.1, 3.2, 3.0, 3.1, 3.2, 3.1, 5.0]
    assert stats.shapiro(values).pvalue < 0.05
    analysis = analyse_study(two(values, values))
    (row, _) = [row for row in analysis.findings.tolerances if row.area == "margin"]
    mean, normal = np.mean(values), row.next_crown.limit
    assert mean + 19**0.5 / stats.norm.ppf(0.95) * (normal - mean) < row.tolerance_um == 15.0
    assert (row.meets, row.rests_on_model) == (True, False)
