"""A study against an earlier one: its numbers, against scipy and a published result."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cuspwise
import numpy as np
import pytest
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.earlier import NOTHING_IN_COMMON, NOTHING_NEW
from cuspwise.standalone_core.study.measuring.results import StudyRun
from cuspwise.standalone_core.study.plan import AnalysisPlan, GroupPlan
from made.earlier_studies import CLAIMS, as_earlier, document_of, scanned
from made.study_runs import study
from scipy import stats

SLEEP = (
    [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
)
"""R's data set sleep; t.test(extra ~ group, data = sleep) prints t = -1.8608, df = 17.776,
p-value = 0.07939, interval -3.3654832 to 0.2054832, means 0.75 and 2.33 (the example
of R's manual page of t.test, from memory)."""


def numbers(seed: int, n: int, middle: float = 12.0) -> list[float]:
    return np.random.default_rng(seed).normal(middle, 2.0, n).tolist()


def made(when: str, n: int = 7, *, groups: str = "ab", level: float = 0.95, **more: object):
    """A study of groups with numbers of their own, scanned at some time."""
    seed = len(when)
    values = {
        name: {"whole": numbers(seed + k, n), "margin": numbers(seed + 9 * k, n, 14.0)}
        for k, name in enumerate(groups)
    }
    plan = AnalysisPlan(resamples=100, confidence=level)
    return scanned(study(values, analysis=plan, **more), when)


def given(values: list[float], when: str) -> StudyRun:
    return scanned(study({"a": {"margin": values}}, measures=("mean_abs_um",)), when)


def of(run: StudyRun, group: str, area: str, measure: str) -> np.ndarray:
    return np.array([getattr(c.measures_of(area), measure) for c in run.crowns_of(group)])


@pytest.mark.parametrize("level", [0.95, 0.9])
def test_every_row_is_scipy_s_welch_test(tmp_path: Path, level: float):
    before, now = made("earlier", 5), made("now", 8, level=level)
    found = cuspwise.against_earlier(now, as_earlier(before, tmp_path))
    assert not found.why_not
    assert len(found.rows) == 2 * 2 * 2
    for row in found.rows:
        place = row.group, row.area, row.measure
        a, b = of(now, *place), of(before, *place)
        test = stats.ttest_ind(a, b, equal_var=False)
        interval = test.confidence_interval(level)
        assert (row.earlier.n, row.now.n) == (5, 8)
        assert (row.earlier.mean, row.now.mean) == (b.mean(), a.mean())
        assert row.earlier.sd == pytest.approx(b.std(ddof=1), rel=1e-12)
        assert row.test.difference == pytest.approx(a.mean() - b.mean(), rel=1e-12)
        assert row.test.p == pytest.approx(test.pvalue, rel=1e-9)
        assert (row.test.ci_low, row.test.ci_high) == pytest.approx((interval.low, interval.high))
        assert row.test.confidence == level


def test_a_published_result_comes_out(tmp_path: Path):
    """Ten is added throughout, since a mean absolute deviation is not negative."""
    first, second = ([10 + value for value in group] for group in SLEEP)
    found = cuspwise.against_earlier(
        given(first, "now"), as_earlier(given(second, "earlier"), tmp_path)
    )
    (row,) = found.rows
    assert (row.now.mean, row.earlier.mean) == pytest.approx((10.75, 12.33))
    assert (row.test.ci_low, row.test.ci_high) == pytest.approx((-3.3654832, 0.2054832), abs=1e-7)
    assert row.test.p == pytest.approx(0.07939, abs=5e-6)
    assert row.sentence == (
        "A, margin, mean absolute deviation: 12.3 µm earlier (10 crowns), 10.8 µm now (10 "
        "crowns); now minus earlier −1.6 µm (95 % interval −3.4 to 0.2 µm)."
    )


def test_numbers_pass_the_file_at_full_precision(tmp_path: Path):
    before = made("earlier")
    earlier = as_earlier(before, tmp_path)
    for crown, read in zip(before.crowns, earlier.crowns, strict=True):
        for row in crown.measures:
            for measure in ("mean_abs_um", "rms_um", "half_p90_p10_um", "within_tolerance"):
                assert read.value(row.area, measure) == getattr(row, measure)
        assert (read.name, read.group, read.sha256) == (crown.name, crown.group, crown.sha256)
    assert np.isnan(earlier.crowns[0].value("fossae", "rms_um"))


def test_nothing_of_it_claims_anything(tmp_path: Path):
    before, now = made("earlier", groups="abc"), made("now", 4, groups="bad")
    found = cuspwise.against_earlier(now, as_earlier(before, tmp_path))
    texts = [*found.lines, *found.notes, *(row.sentence for row in found.rows), found.caution]
    assert len(texts) > 10
    assert not [text for text in texts if CLAIMS.search(text)]
    for words in ("Exploratory", "no family", "not adjusted", "scanner", "who scanned", "time"):
        assert words in found.caution
    assert (found.only_earlier, found.only_now) == (("C",), ("D",))
    assert "In the study of earlier only: C." in found.notes
    assert {row.group for row in found.rows} == {"a", "b"}


def test_no_other_conclusion_of_the_study_changes(tmp_path: Path):
    """It is in no family: corrected p-values, the answer and all else stay as they are."""
    alone = made("now")
    beside = replace(alone, earlier=as_earlier(made("earlier"), tmp_path))
    plain, compared = (
        json.loads(json.dumps(document_of(run)["analysis"])) for run in (alone, beside)
    )
    assert plain.pop("earlier") is None
    assert len(compared.pop("earlier")["rows"]) == 8
    assert plain == compared


def shared_in(now: StudyRun, before: StudyRun, *names: str) -> StudyRun:
    """Now with some crowns that are the earlier ones, scan file and numbers alike."""
    old = {crown.name: crown for crown in before.crowns}
    return replace(now, crowns=tuple(old[c.name] if c.name in names else c for c in now.crowns))


def test_a_crown_of_both_studies_counts_earlier_alone(tmp_path: Path):
    before = made("earlier", 5)
    now = shared_in(made("now", 6), before, "a_0", "a_3")
    found = cuspwise.against_earlier(now, as_earlier(before, tmp_path))
    assert found.shared == ("a_0", "a_3")
    for row in found.rows:
        a, b = of(now, *(place := (row.group, row.area, row.measure))), of(before, *place)
        left = np.delete(a, [0, 3]) if row.group == "a" else a
        assert (row.earlier.n, row.now.n) == (5, len(left))
        assert row.test.p == pytest.approx(stats.ttest_ind(left, b, equal_var=False).pvalue)
    text = " ".join(found.notes)
    assert "counted in the earlier one alone: a_0 and a_3. On both sides" in text
    assert "not independent" in text
    assert "the same numbers earlier and now" in text
    counted = {(row.group, row.now.n, row.earlier.n) for row in found.tolerances}
    assert counted == {("a", 4, 5), ("b", 6, 5)}


def test_the_same_scan_with_other_numbers_tells_on_the_computing(tmp_path: Path):
    before = made("earlier", 5)
    now = shared_in(made("now", 6), before, "a_0")

    def change(document):
        (row,) = (r for r in document["crowns"][0]["measures"] if r["area"] == "margin")
        row["rms_um"] += 0.25
        document["versions"]["cuspwise"] = "0.0.9"

    found = cuspwise.against_earlier(now, as_earlier(before, tmp_path, change))
    text = " ".join(found.notes)
    assert "up to 0.250 µm apart" in text
    assert "Measured by Cuspwise 0.0.9 earlier and 0.1.0 now" in text


def test_without_a_new_crown_there_is_nothing_to_compare(tmp_path: Path):
    run = made("earlier")
    found = cuspwise.against_earlier(run, as_earlier(run, tmp_path))
    assert found.why_not == (NOTHING_NEW,)
    assert found.rows == ()
    half = shared_in(made("now"), run, *(f"a_{k}" for k in range(7)))
    part = cuspwise.against_earlier(half, as_earlier(run, tmp_path))
    assert {row.group for row in part.rows} == {"b"}
    assert "Not compared, since all crowns were in the earlier study already: A." in part.notes
    assert part.only_now == ()


def test_a_crown_that_changed_its_group_is_named(tmp_path: Path):
    before = made("earlier")
    now = made("now")
    moved = replace(before.crowns[0], name="b_0", group="b")
    crowns = tuple(moved if crown.name == "b_0" else crown for crown in now.crowns)
    found = cuspwise.against_earlier(replace(now, crowns=crowns), as_earlier(before, tmp_path))
    assert found.shared == ("b_0",)
    assert any(note.startswith("In another group earlier: b_0 in A. ") for note in found.notes)
    assert {row.group: row.now.n for row in found.rows} == {"a": 7, "b": 6}


def test_without_a_group_in_common_the_names_are_asked_for(tmp_path: Path):
    found = cuspwise.against_earlier(
        made("now", groups="ab"), as_earlier(made("earlier", groups="cd"), tmp_path)
    )
    assert found.why_not == (NOTHING_IN_COMMON,)
    assert "one name in both study files" in found.remedy
    assert found.lines[0].startswith("Not compared with the earlier study 'A study': No group")


def test_a_single_crown_gives_a_difference_and_no_interval(tmp_path: Path):
    found = cuspwise.against_earlier(
        given([12.0], "now"), as_earlier(given([10.0, 11.0, 12.0], "earlier"), tmp_path)
    )
    (row,) = found.rows
    assert row.test.difference == pytest.approx(1.0)
    assert np.isnan([row.test.ci_low, row.test.p]).all()
    assert row.reason.endswith("are needed; now has 1.")
    assert "no interval: At least 2 measured" in row.sentence


def test_a_crown_without_a_number_is_missing_on_its_side(tmp_path: Path):
    found = cuspwise.against_earlier(
        given([12.0, 13.0, 15.0], "now"),
        as_earlier(given([10.0, float("nan"), 12.0], "earlier"), tmp_path),
    )
    (row,) = found.rows
    assert (row.earlier.n, row.earlier.missing, row.now.n) == (2, 1, 3)
    assert row.test.p == pytest.approx(
        stats.ttest_ind([12.0, 13.0, 15.0], [10.0, 12.0], equal_var=False).pvalue
    )


def test_crowns_are_counted_by_each_study_s_tolerances(tmp_path: Path):
    limits = [Tolerances(tolerances_um={"margin": limit}) for limit in (12.5, 13.5)]
    values = [10.0, 11.0, 12.0, 13.0, 14.0]
    runs = [
        scanned(
            study(
                {"a": {"whole": values, "margin": values}},
                tolerances=tolerances,
                measures=("within_tolerance", "rms_um"),
            ),
            str(number),
        )
        for number, tolerances in enumerate(limits)
    ]
    found = cuspwise.against_earlier(runs[1], as_earlier(runs[0], tmp_path))
    (row,) = found.tolerances
    verdicts = [
        [verdict.verdict for crown in run.crowns for verdict in crown.verdicts] for run in runs
    ]
    for count, told, limit in zip((row.earlier, row.now), verdicts, (12.5, 13.5), strict=True):
        assert (count.within, count.outside) == (told.count("within"), told.count("outside"))
        assert count.undecided == told.count("not_decidable")
        assert count.tolerance_um == limit
    places = {(r.area, r.measure) for r in found.rows}
    assert ("margin", "within_tolerance") not in places  # of two different tolerances
    assert ("whole", "within_tolerance") in places
    assert "Judged by other tolerances: margin 12.5 µm earlier, 13.5 µm now." in found.notes


def test_what_is_said_otherwise_of_the_production_is_named(tmp_path: Path):
    def told(run: StudyRun, **facts: str) -> StudyRun:
        title = facts.pop("title")
        groups = [GroupPlan(g.name, title, g.scans, facts) for g in run.plan.groups]
        return replace(run, plan=replace(run.plan, groups=tuple(groups)))

    before = told(made("earlier"), title="A", layers="50 µm", machine="the same", resin="")
    now = told(made("now"), title="Way A", layers="100 µm", machine="the same", oven="new")
    found = cuspwise.against_earlier(now, as_earlier(before, tmp_path))
    assert (
        "Said otherwise of Way A: title: A earlier, Way A now; layers: 50 µm earlier, 100 µm now; "
        "oven: not said earlier, new now."
    ) in found.notes


def test_the_analysis_of_a_study_holds_it(tmp_path: Path):
    earlier = as_earlier(made("earlier"), tmp_path)
    now = made("now")
    assert analyse_study(now).earlier is None
    found = analyse_study(replace(now, earlier=earlier)).earlier
    assert found == cuspwise.against_earlier(now, earlier)
