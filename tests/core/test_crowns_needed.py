"""Planning a study: crowns per group, from numbers or from a pilot."""

from __future__ import annotations

import csv
import io
import json
import math

import numpy as np
import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.errors import FileError, SettingError
from cuspwise.standalone_core.statistics.sample_size import METHODS
from cuspwise.standalone_core.study.crowns_needed import (
    Aim,
    Spread,
    plan_sizes,
    power_csv,
    size_sentences,
)
from cuspwise.standalone_core.study.pilot import read_pilot
from scipy import stats
from statsmodels.stats.power import TTestIndPower


def pilot_file(folder, values, **changes):
    crowns = [
        {
            "group": group,
            "measures": [
                {"area": "margin", "direction": "design_to_scan", "mean_abs_um": x, "rms_um": None},
                {"area": "margin", "direction": "scan_to_design", "mean_abs_um": 99.0},
            ],
        }
        for group, xs in values.items()
        for x in xs
    ]
    file = folder / "study.json"
    file.write_text(json.dumps({"crowns": crowns, **changes}), encoding="utf-8")
    return file


def run(*arguments):
    return CliRunner().invoke(main, ["plan", *map(str, arguments)])


def test_a_difference_needs_what_statsmodels_says_or_one_more():
    """statsmodels' power is the pooled test's; Welch's needs as many crowns or one more."""
    (row,) = plan_sizes([Spread("a", 3.2), Spread("b", 3.2)], Aim(difference_um=5.0))
    n = math.ceil(TTestIndPower().solve_power(effect_size=5 / 3.2, power=0.8, alpha=0.05))
    assert row.size.n in (n, n + 1)
    assert row.cautious is None
    assert row.without_odd is None


@pytest.mark.parametrize("lead", ["welch", "ranks"])
def test_the_power_is_that_of_the_test_that_leads(lead):
    (row,) = plan_sizes([Spread("a", 3.0), Spread("b", 5.0)], Aim(6.0, lead=lead))
    rng, n, runs = np.random.default_rng(12), row.size.n, 3000
    a, b = rng.normal(0, 3.0, (runs, n)), rng.normal(6.0, 5.0, (runs, n))
    if lead == "ranks":
        p = stats.mannwhitneyu(a, b, axis=1, method="exact").pvalue
    else:
        p = stats.ttest_ind(a, b, axis=1, equal_var=False).pvalue
    assert float(np.mean(p <= 0.05)) == pytest.approx(row.size.power, abs=0.03)
    assert METHODS[lead].split(",")[0] in size_sentences([row], Aim(6.0, lead=lead))[0]


def test_comparisons_share_alpha():
    spreads = [Spread("a", 3.2), Spread("b", 3.2)]
    (one,) = plan_sizes(spreads, Aim(5.0, alpha=0.05 / 26))
    (many,) = plan_sizes(spreads, Aim(5.0, comparisons=26))
    assert many.size.n == one.size.n > plan_sizes(spreads, Aim(5.0))[0].size.n
    said = " ".join(size_sentences([many], Aim(5.0, comparisons=26)))
    assert "α is shared by 26 orders of comparisons: 0.0019" in said


def test_by_ranks_too_few_crowns_show_nothing_and_that_is_said():
    """check_values.md, section 6: 5 + 5 crowns give .0079 at best, 6 + 6 .00216."""
    aim = Aim(50.0, lead="ranks", comparisons=10)
    (row,) = plan_sizes([Spread("a", 3.0), Spread("b", 3.0)], aim)
    assert row.size.n == 6
    assert "fewer than 6 crowns per group can show nothing at all" in " ".join(
        size_sentences([row], aim)
    )


def test_a_pilot_s_odd_crowns_are_planned_with_and_without(tmp_path):
    values = {"a": [1.0, 2.0, 3.0, 30.0], "b": [1.0, 2.0, 4.0, 3.0]}
    odd = {"analysis": {"odd_crowns": [{"crown": "3", "odd": True}, {"crown": "1", "odd": False}]}}
    spreads = read_pilot(pilot_file(tmp_path, values, **odd), "margin", "mean_abs_um")
    assert spreads[0].odd == ("3",)
    assert spreads[0].without_odd_um == pytest.approx(1.0)
    assert spreads[1].odd == ()
    rows = plan_sizes(spreads, Aim(5.0))
    assert rows[0].without_odd.sd_a == pytest.approx(1.0)
    assert rows[0].without_odd.n < rows[0].size.n
    said = " ".join(size_sentences(rows, Aim(5.0)))
    assert "without them it would be" in said
    assert "Margin, mean absolute deviation" in said


def test_one_group_counts_for_both():
    (row,) = plan_sizes([Spread("a", 3.2)], Aim(difference_um=5.0))
    assert (row.size.sd_a, row.size.sd_b) == (3.2, 3.2)


def test_equivalence_reaches_its_power_in_a_simulation():
    (row,) = plan_sizes([Spread("a", 3.2), Spread("b", 4.0)], Aim(None, 5.0, 1.0))
    rng, n, runs = np.random.default_rng(11), row.size.n, 4000
    a, b = rng.normal(0, 3.2, (runs, n)), rng.normal(1, 4.0, (runs, n))
    low = stats.ttest_ind(b, a + 5, axis=1, equal_var=False, alternative="less").pvalue
    high = stats.ttest_ind(b, a - 5, axis=1, equal_var=False, alternative="greater").pvalue
    shown = float(np.mean(np.maximum(low, high) <= 0.05))
    assert shown == pytest.approx(row.size.power, abs=3 * (0.16 / runs) ** 0.5)


def test_the_cautious_plan_uses_the_upper_limit_of_the_pilots_spread():
    spread = Spread("a", 3.0, 8)
    upper = 3.0 * (7 / stats.chi2.ppf(0.2, 7)) ** 0.5
    assert spread.upper_sd_um == pytest.approx(upper)
    (row,) = plan_sizes([spread, Spread("b", 4.0, 8)], Aim(difference_um=5.0))
    assert row.cautious is not None
    assert row.cautious.sd_a == pytest.approx(upper)
    assert row.cautious.n > row.size.n
    assert str(row.cautious.n) in " ".join(size_sentences([row], Aim(difference_um=5.0)))


def test_three_groups_make_three_rows_and_the_largest_counts(tmp_path):
    values = {"a": [1.0, 2.0, 3.0], "b": [1.0, 3.0, 5.0], "c": [1.0, 5.0, 9.0]}
    spreads = read_pilot(pilot_file(tmp_path, values), "margin", "mean_abs_um")
    assert [(s.group, s.sd_um, s.n) for s in spreads] == [("a", 1, 3), ("b", 2, 3), ("c", 4, 3)]
    rows = plan_sizes(spreads, Aim(difference_um=5.0))
    assert len(rows) == 3
    assert size_sentences(rows, Aim(difference_um=5.0))[0].startswith(f"{rows[2].size.n} crowns")


def test_the_power_curve_is_a_table(tmp_path):
    rows = plan_sizes([Spread("a", 3.0, 8), Spread("b", 4.0, 8)], Aim(difference_um=5.0))
    table = list(csv.DictReader(io.StringIO(power_csv(rows))))
    assert {row["assumed_sd"] for row in table} == {"pilot", "upper limit"}
    own = {
        int(r["crowns_per_group"]): float(r["power"]) for r in table if r["assumed_sd"] == "pilot"
    }
    assert own[rows[0].size.n] >= 0.8 > own[rows[0].size.n - 1]


@pytest.mark.parametrize("aim", [{}, {"difference_um": 5.0, "equivalence_um": 3.0}])
def test_exactly_one_aim(aim):
    with pytest.raises(SettingError, match="Exactly one aim"):
        Aim(**aim)


def test_pilots_that_are_none(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        read_pilot(tmp_path / "none.json", "margin", "rms_um")
    (tmp_path / "other.json").write_text('{"crowns": [{"name": 1}]}', encoding="utf-8")
    with pytest.raises(FileError, match="no measured study"):
        read_pilot(tmp_path / "other.json", "margin", "rms_um")
    file = pilot_file(tmp_path, {"a": [1.0], "b": [2.0]})
    with pytest.raises(SettingError, match="No group has two crowns"):
        read_pilot(file, "margin", "mean_abs_um")
    with pytest.raises(SettingError, match=r"There is no 'rim'\. Choose from margin"):
        read_pilot(file, "rim", "mean_abs_um")
    with pytest.raises(SettingError, match="There is no 'within_tolerance'"):
        read_pilot(file, "margin", "within_tolerance")


def test_the_command_prints_a_table_and_writes_the_curve(tmp_path):
    out = tmp_path / "curve"
    found = run("--sd", 3.2, "--difference", 5, "--out", out)
    assert found.exit_code == 0, found.output
    assert "8 crowns per group are needed to find a difference of 5 µm" in found.output
    names = {file.name for file in out.iterdir()}
    assert "power.csv" in names
    assert names <= {"power.csv", "power.svg", "power.pdf", "power.png"}
    first = {file.name: file.read_bytes() for file in out.iterdir()}
    run("--sd", 3.2, "--difference", 5, "--out", out)
    assert {file.name: file.read_bytes() for file in out.iterdir()} == first


def test_the_command_without_matplotlib_writes_the_table_and_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(
        "cuspwise.standalone_core.report.drawing.matplotlib_figure.find_spec", lambda name: None
    )
    found = run("--sd", 3.2, "--difference", 5, "--out", tmp_path / "curve")
    assert [file.name for file in (tmp_path / "curve").iterdir()] == ["power.csv"]
    assert "Without matplotlib no picture is drawn" in found.output


def test_the_command_as_json_from_a_pilot(tmp_path):
    file = pilot_file(tmp_path, {"a": [1.0, 4.0, 6.0], "b": [2.0, 3.0, 7.0]})
    found = run("--from", file, "--equivalence", 5, "--true-difference", 1, "--json")
    document = json.loads(found.stdout)
    assert document["schema"] == "cuspwise plan"
    assert document["rows"][0]["cautious"]["n"] > document["rows"][0]["size"]["n"]
    assert document["crowns_per_group"] == document["rows"][0]["size"]["n"]
    own = {
        row["crowns_per_group"]: row["power"]
        for row in document["power"]
        if row["assumed_sd"] == "pilot"
    }
    assert own[document["crowns_per_group"]] >= 0.8
    assert min(own) == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--difference", 5], "must come from one place"),
        (["--sd", 3, "--from", "x.json", "--difference", 5], "must come from one place"),
        (["--sd", 3], "Exactly one aim"),
        (["--sd", -1, "--difference", 5], "--sd: -1 is not allowed. Give a number above 0."),
        (["--sd", "3,2", "--difference", 5], "--sd: 3,2 has a decimal comma. Write 3.2."),
        (["--sd", 3, "--equivalence", 2, "--true-difference", 3], "not within the limit"),
        (
            ["--sd", 3, "--difference", 5, "--power", 1.2],
            "--power: 1.2 is not allowed. Give a number above 0 and below 1.",
        ),
    ],
)
def test_the_command_refuses_in_words(arguments, words):
    found = run(*arguments)
    assert found.exit_code == 1
    assert words in " ".join(found.output.split())
