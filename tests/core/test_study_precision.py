"""Precision of a study from its own tables: anyone can redo it from them, and all say the same."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from cuspwise.standalone_core.progress import run as completed
from cuspwise.standalone_core.report.study.analysis_tables import analysis_tables
from cuspwise.standalone_core.report.study.methods import methods_text
from cuspwise.standalone_core.report.study.strips import precision_figure
from cuspwise.standalone_core.report.study.tables import study_tables
from cuspwise.standalone_core.report.study.terminal import groups_table
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.cohort import cohort_of
from cuspwise.standalone_core.study.analysis.precision import (
    precision_comparison_steps,
    precision_rows,
)
from cuspwise.standalone_core.study.plan import AnalysisPlan
from made.study_examples import make_run
from made.study_runs import study, with_repeats

GROUPS = ("milled", "upright", "tilted")
DRAWN = 20_000


@pytest.fixture(scope="module")
def run():
    return make_run(n=6, seed=3)


@pytest.fixture(scope="module")
def analysis(run):
    return analyse_study(run)


@pytest.fixture(scope="module")
def tables(run, analysis):
    made = study_tables(run) | analysis_tables(run, analysis)
    return {name: list(csv.DictReader(io.StringIO(one.text))) for name, one in made.items()}


def of_place(rows, area, measure):
    return [row for row in rows if (row["area"], row["measure"]) == (area, measure)]


def from_the_middle(pairs: list[dict[str, str]]) -> dict[str, float]:
    """Principal coordinates and spatial median of one group, in one place, with numpy alone."""
    names = sorted({row[end] for row in pairs for end in ("first_crown", "second_crown")})
    n = len(names)
    apart = np.zeros((n, n))
    for row in pairs:
        i, j = names.index(row["first_crown"]), names.index(row["second_crown"])
        apart[i, j] = apart[j, i] = float(row["value"])
    centring = np.eye(n) - 1 / n
    values, vectors = np.linalg.eigh(-centring @ apart**2 @ centring / 2)
    square = np.zeros(n)
    for sign in (1, -1):
        places = vectors * np.sqrt(np.maximum(sign * values, 0.0))
        middle = np.median(places, axis=0)
        for _ in range(2_000):
            nearness = 1 / np.maximum(np.linalg.norm(places - middle, axis=1), 1e-12)
            middle = nearness @ places / nearness.sum()
        square += sign * ((places - middle) ** 2).sum(axis=1)
    return dict(zip(names, np.sqrt(np.abs(square) * n / (n - 1)), strict=True))


def f_of(values: np.ndarray, first: np.ndarray) -> np.ndarray:
    """F of a one-way analysis of variance: rows of values, the first group's where true."""
    one, other = values[:, first], values[:, ~first]
    between = one.shape[1] * (one.mean(axis=1) - values.mean(axis=1)) ** 2
    between += other.shape[1] * (other.mean(axis=1) - values.mean(axis=1)) ** 2
    within = one.var(axis=1) * one.shape[1] + other.var(axis=1) * other.shape[1]
    return between / (within / (values.shape[1] - 2))


@pytest.mark.parametrize("measure", ["mean_abs_um", "rms_um", "half_p90_p10_um"])
def test_the_crowns_distances_follow_from_the_pairs(tables, measure):
    crowns = of_place(tables["precision_crowns"], "margin", measure)
    assert list(crowns[0]) == ["crown", "group", "area", "measure", "distance_um"]
    written = {row["crown"]: float(row["distance_um"]) for row in crowns}
    pairs = of_place(tables["pairs"], "margin", measure)
    found: dict[str, float] = {}
    for group in GROUPS:
        found |= from_the_middle([row for row in pairs if row["group"] == group])
    assert len(found) == 18
    assert written == pytest.approx(found, abs=0.01)  # pairs are written to 0.001 µm


def test_the_test_can_be_redone_from_two_tables(tables):
    """Relabelled at random, which leaves an error of chance; Holm over all of the family."""
    rng = np.random.default_rng(11)
    compared = [row for row in tables["precision_comparisons"] if row["crowns_included"] == "all"]
    assert len(compared) == 3 * 5 * 3
    for place in (("margin", "rms_um"), ("whole", "mean_abs_um")):
        crowns = of_place(tables["precision_crowns"], *place)
        for pair in combinations(GROUPS, 2):
            own = [row for row in crowns if row["group"] in pair]
            distance = np.array([float(row["distance_um"]) for row in own])
            first = np.array([row["group"] == pair[0] for row in own])
            (row,) = (r for r in of_place(compared, *place) if (r["first"], r["second"]) == pair)
            gap = distance[~first].mean() - distance[first].mean()
            assert float(row["difference"]) == pytest.approx(gap, abs=2e-4)
            drawn = rng.permuted(np.tile(distance, (DRAWN, 1)), axis=1)
            least = f_of(distance[None], first)[0] * (1 - 1e-9)
            p = float(row["p_value"])
            chance = 4 * np.sqrt(p * (1 - p) / DRAWN) + 1e-6
            assert np.mean(f_of(drawn, first) >= least) == pytest.approx(p, abs=chance)
    p = np.array([float(row["p_value"]) for row in compared])
    order = np.argsort(p)
    steps = np.maximum.accumulate((len(p) - np.arange(len(p))) * p[order])
    for row, holm in zip((compared[k] for k in order), np.minimum(steps, 1.0), strict=True):
        assert float(row["p_adjusted"]) == pytest.approx(holm, rel=1e-4)
        assert int(row["family_size"]) == len(p)


def test_table_figure_terminal_and_comparison_have_one_number(run, analysis, tables):
    place = "margin", "mean_abs_um"
    crowns = of_place(tables["precision_crowns"], *place)
    means = {
        group: np.mean([float(row["distance_um"]) for row in crowns if row["group"] == group])
        for group in GROUPS
    }
    described = of_place(tables["precision_descriptions"], *place)
    for row in described:
        if row["crowns_included"] == "all":
            assert float(row["mean"]) == pytest.approx(means[row["group"]], rel=1e-5)
            assert int(row["n_crowns"]) == 6
    for row in of_place(tables["precision_comparisons"], *place):
        if row["crowns_included"] == "all":
            assert float(row["mean_first"]) == pytest.approx(means[row["first"]], rel=1e-5)
    cells = list(groups_table(run, analysis).columns[5].cells)
    here = 4 * analysis.areas.index("margin")  # a line for the area, then one per group
    assert cells[here + 1 : here + 4] == [f"{means[group]:.1f}" for group in GROUPS]
    figure = precision_figure(analysis, "margin")
    told = re.findall(r"mean ([\d.]+), 6 crowns", figure.alt)
    assert told[:3] == [f"{means[group]:.1f}" for group in GROUPS]


def test_a_pair_is_about_root_two_times_a_crowns_distance(analysis):
    apart = {(r.group, r.area, r.measure): r.description for r in analysis.findings.pairs}
    ratios = [
        apart[row.group, row.area, row.measure].mean / row.summary.description.mean
        for row in analysis.findings.precision
        if row.measure == "rms_um" and row.group != "tilted"  # in which one crown is odd
    ]
    assert len(ratios) == 10
    assert np.median(ratios) == pytest.approx(2**0.5, rel=0.03)


def test_methods_name_the_quantity_and_its_source(run, analysis):
    text = methods_text(run, analysis).text
    assert "precision the distance of each crown from the middle of its group" in text
    assert "Anderson MJ. Distance-based tests for homogeneity of multivariate dispersions" in text
    assert "Every interval is by itself" in text
    signed = replace(run, plan=replace(run.plan, measures=("mean_um",)))
    assert "precision was not determined" in methods_text(signed, analyse_study(signed)).text


def compared(groups, plan):
    cohort = cohort_of(study(groups, analysis=plan, measures=("rms_um",)))
    return completed(precision_comparison_steps(cohort, precision_rows(cohort), {}))


def test_two_crowns_show_no_spread_and_are_called_nothing():
    """Their distances are equal by construction: neither an SD nor a claim can come of that."""
    plan = AnalysisPlan(resamples=199, equivalence_um={"default": 100.0})
    two = {"a": {"margin": [10.0, 11.0]}, "b": {"margin": [10.0, 12.0, 14.5, 11.0]}}
    row = precision_rows(cohort_of(study(two, analysis=plan, measures=("rms_um",))))[0]
    assert row.summary.values == pytest.approx([1.25 / 2**0.5] * 2)
    assert np.isnan([row.summary.description.sd, row.summary.description.ci_low]).all()
    assert "no spread" in row.reason
    (found,) = compared(two, plan)
    assert found.outcome == "not_computed"
    assert found.equivalence.test is None
    assert "At least 3" in found.sentence


def test_a_claim_of_precision_is_that_of_the_test_and_says_so():
    plan = AnalysisPlan(resamples=199)
    steps = np.array([-4.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 4.5])
    groups = {
        "a": {"margin": list(40 + 0.1 * steps), "whole": list(20 + steps)},
        "b": {"margin": list(20 + 4 * steps), "whole": list(20 + 1.02 * steps)},
    }
    rows = {row.area: row for row in compared(groups, plan)}
    sure, open_ = rows["margin"], rows["whole"]
    assert (sure.outcome, open_.outcome) == ("different", "undecided")
    assert sure.adjusted.p <= plan.alpha < open_.adjusted.p
    assert sure.sentence.startswith(
        "Precision, margin, root mean square deviation: different; B less precise than A, its "
        "crowns "
    )
    assert "µm farther from the middle of their group on average" in sure.sentence
    assert "µm, unadjusted; permutation of crowns, p" in sure.sentence
    assert "after correction for 2 comparisons" in sure.sentence
    assert "precise than" not in open_.sentence
    verdict = analyse_study(study(groups, analysis=plan, measures=("rms_um",))).verdict
    (line,) = (line.sentence for line in verdict if line.kind == "precision")
    assert line == (
        "Precision of A and B: B less precise in the margin; undecided in the whole crown."
    )
    turned = {"a": groups["b"], "b": groups["a"]}
    more = next(row for row in compared(turned, plan) if row.area == "margin")
    assert "B more precise than A, its crowns " in more.sentence
    assert "nearer to the middle" in more.sentence


def test_the_scanners_limit_of_precision_is_that_of_distances():
    rng = np.random.default_rng(8)
    table, apart = rng.normal(20, 0.5, (4, 1, 5)), rng.normal(8, 2.0, (4, 1, 5))
    groups = {name: {"margin": rng.normal(10, sd, 8).tolist()} for name, sd in (("a", 1), ("b", 2))}
    run = with_repeats(study(groups, analysis=AnalysisPlan(resamples=199)), table, apart=apart)
    found = analyse_study(run).findings
    place = "margin", "mean_abs_um"
    (precise,) = (r for r in found.precision_comparisons if (r.area, r.measure) == place)
    (true,) = (r for r in found.comparisons if (r.area, r.measure) == place)
    for row, values in ((precise, apart), (true, table)):
        sd = values.reshape(4, 5).var(axis=1, ddof=1).mean() ** 0.5
        # check_values.md, section 6: z σ √(1/n₁ + 1/n₂), eight crowns a group.
        limit = 1.959964 * sd * (1 / 8 + 1 / 8) ** 0.5
        assert row.scanner_limit == pytest.approx(limit, rel=1e-6)
        assert row.below_scanner == (abs(row.difference) < limit)
