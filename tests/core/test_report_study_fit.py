"""The fit of a study's crowns in its report: page, tables, methods, terminal; numbers made up."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.fit.settings import FitSettings, GapSettings, SeatSettings
from cuspwise.standalone_core.report.study import output
from cuspwise.standalone_core.report.study.fit_counts import fit_counts, fit_lines
from cuspwise.standalone_core.report.study.fit_page import fit_part
from cuspwise.standalone_core.report.study.fit_tables import FIT_COLUMNS, GAP_COLUMNS
from cuspwise.standalone_core.report.study.maps import study_maps
from cuspwise.standalone_core.report.study.methods import methods_text
from cuspwise.standalone_core.report.study.output import write_study
from cuspwise.standalone_core.report.study.page import StudyArt, study_page
from cuspwise.standalone_core.report.study.references import REFERENCES
from cuspwise.standalone_core.report.study.terminal import study_view
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.measuring.results import StudyRun
from made.pages import Page
from made.study_fits import (
    DIE,
    HELD_UP,
    HOLDS,
    LOST,
    NOTE,
    REASON,
    REMEDY,
    fitted_study,
    with_fit,
    with_fit_analysis,
)
from made.study_runs import study
from rich.console import Console
from scipy import stats

RUN, ANALYSIS = fitted_study()


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(output, "can_plot", lambda: False)  # for speed
        write_study(RUN, ANALYSIS, folder, pictures="no")
    return folder


@pytest.fixture(scope="module")
def page(out: Path) -> Page:
    return Page((out / "report.html").read_text(encoding="utf-8"))


def rows(out: Path, name: str) -> list[dict[str, str]]:
    with (out / "tables" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def said(run: StudyRun) -> str:
    """The page's words for a run that needs no figures."""
    analysis = with_fit_analysis(run, ANALYSIS)
    art = StudyArt((), "none", study_maps(run, analysis))
    text = study_page(run, analysis, art, written=output._now())
    return Page(text).text


def fit_part_of(text: str) -> str:
    """What stands between the heading and the next section."""
    start = text.rindex("Does it fit?")
    return text[start : text.index("What was studied", start)]


def test_the_page_is_whole_and_leads_to_the_fit(page: Page) -> None:
    assert page.open == []
    assert "fit" in page.ids
    assert "#fit" in page.links
    assert {link[1:] for link in page.links} <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    places = [page.text.find(words) for words in ("Do the crowns fit", "Crowns Go down", "Area by")]
    assert places[0] > 0
    assert places[0] < places[1] < page.text.rindex("Area by area")


def test_the_page_holds_every_number_of_every_group(page: Page) -> None:
    for row in ANALYSIS.findings.fit.described:
        values = np.array([v for v in row.summary.values if np.isfinite(v)])
        mean, sd = float(values.mean()), float(values.std(ddof=1))
        assert f"{mean:.1f} ± {sd:.1f}".replace("-", "−") in page.text, row.measure
        assert f"{np.median(values):.1f}".replace("-", "−") in page.text
    assert all(row.sentence in page.text for row in ANALYSIS.findings.fit.comparisons)


def test_the_page_counts_who_goes_down_and_names_who_does_not(page: Page) -> None:
    part = fit_part_of(page.text)
    assert re.search(r"Upright 4 of 5 4 0 0 3 of 4", part), part[:600]
    assert re.search(r"Tilted 5 4 1 0 4 of 5", part), part[:600]
    assert f"{HELD_UP} (Tilted): The crown cannot go on: it rests" in part
    assert HOLDS in part
    assert f"{LOST} (Upright): {REASON} {REMEDY}" in part
    assert NOTE in part
    assert f"{HELD_UP}: Contacts: Not measured: give the neighbours." in part
    assert f"{HELD_UP}: The intaglio is open at 2 places." in part


def test_the_page_shows_each_limit_with_the_interval_of_the_share(page: Page) -> None:
    part = fit_part_of(page.text)
    for row in (row for row in ANALYSIS.fit.limits if row.part):
        found = stats.binomtest(row.share.within, row.share.n).proportion_ci(method="wilson")
        low = np.floor(1000 * found.low + 1e-9) / 10  # a share is never rounded up
        assert row.limit in part
        assert f"{row.share.within} of {row.share.n} {low:.1f} %" in part


def test_cautions_of_a_virtual_seat_stand_beside_it_and_below(page: Page) -> None:
    for words in ("no cement, no friction and no elasticity", "a licensed professional to judge"):
        assert page.text.count(words) == 2
        assert words in fit_part_of(page.text)


def test_nothing_written_elsewhere_breaks_out_of_the_page(out: Path, page: Page) -> None:
    text = (out / "report.html").read_text(encoding="utf-8")
    assert "<spot" not in text
    assert "<hole>" not in text
    assert HOLDS in page.text


def test_examiners_are_shown_beside_the_fit(page: Page) -> None:
    beside = [row for row in ANALYSIS.examiners.correlations if row.measure == "marginal_gap_um"]
    assert beside
    assert all(row.sentence in page.text for row in beside)


def test_what_no_crown_has_is_said_once() -> None:
    missing = {"contacts": "Not measured: give the neighbours."}
    crowns = tuple(
        c if c.fit is None else replace(c, fit=replace(c.fit, missing=missing)) for c in RUN.crowns
    )
    part = fit_part(replace(RUN, crowns=crowns), ANALYSIS)
    assert part.missing == ("Every crown: Contacts: Not measured: give the neighbours.",)


def test_tables_hold_every_number_of_every_crown(out: Path) -> None:
    found = rows(out, "fit")
    assert tuple(found[0]) == FIT_COLUMNS
    by_key = {(r["crown"], r["area"], r["measure"]): r for r in found}
    assert len(by_key) == len(found)
    for crown in (crown for crown in RUN.crowns if crown.fit is not None):
        for one in crown.fit.values:
            row = by_key.pop((crown.name, one.area, one.measure))
            assert float(row["value"]) == one.value
            assert (row["group"], row["die"]) == (crown.group, DIE)
            assert row["fit_verdict"] == crown.fit.headline.verdict
            assert row["stop"] == ("cannot_go_on" if crown.name == HELD_UP else "rests")
    assert not by_key
    assert [(r["crown"], r["reason"]) for r in rows(out, "not_fitted")] == [(LOST, REASON)]


def test_the_gap_of_every_place_is_in_a_table(out: Path) -> None:
    found = rows(out, "marginal_gap")
    assert tuple(found[0]) == GAP_COLUMNS
    assert len(found) == 9 * 360
    own = [r for r in found if r["crown"] == HELD_UP]
    fit = next(crown.fit for crown in RUN.crowns if crown.name == HELD_UP)
    values = np.array([float(r["gap_um"] or "nan") for r in own])
    np.testing.assert_array_equal(values, fit.margin.gap_um)
    assert np.isnan(values).sum() == 6


def test_statistics_of_fit_are_in_tables(out: Path) -> None:
    for name in ("fit_groups", "fit_comparisons"):
        found = rows(out, name)
        keys = [(r["crowns_included"], r.get("group"), r["area"], r["measure"]) for r in found]
        assert len(set(keys)) == len(keys)
    first = next(r for r in rows(out, "fit_groups") if r["measure"] == "marginal_gap_um")
    values = [c.fit.value("margin", "marginal_gap_um") for c in RUN.crowns_of("upright") if c.fit]
    assert float(first["mean"]) == pytest.approx(np.mean(values), rel=1e-12)
    assert (first["crowns_included"], first["n_crowns"]) == ("all", "4")
    limits = rows(out, "fit_limits")
    assert len(limits) == len(ANALYSIS.fit.limits)
    for row in limits:
        share = stats.binomtest(int(row["n_within"]), int(row["n_judged"]))
        share = share.proportion_ci(method="wilson")
        assert float(row["within_share_low"]) == pytest.approx(share.low, rel=1e-9)
        assert float(row["within_share_high"]) == pytest.approx(share.high, rel=1e-9)


def test_the_document_holds_the_fit_in_strict_json(out: Path) -> None:
    document = json.loads((out / "study.json").read_text(encoding="utf-8"))
    crowns = {crown["name"]: crown for crown in document["crowns"]}
    assert "fit" not in crowns[LOST]
    fit = crowns[HELD_UP]["fit"]
    assert (fit["stop"], fit["die"], fit["sentences"][0]) == ("cannot_go_on", DIE, HOLDS)
    assert fit["values"][0]["value"] == pytest.approx(
        next(c.fit for c in RUN.crowns if c.name == HELD_UP).values[0].value
    )
    assert document["not_fitted"][0]["crown"] == LOST


def test_a_study_without_fit_says_nothing_of_it(tmp_path: Path) -> None:
    bare = replace(RUN, plan=replace(RUN.plan, fit=None), not_fitted=())
    bare = replace(bare, crowns=tuple(replace(crown, fit=None) for crown in bare.crowns))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(output, "can_plot", lambda: False)
        write_study(bare, analyse_study(bare), tmp_path, pictures="no")
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert "fit" not in page.ids
    assert "cement" not in page.text
    assert "fit and marginal gap are not measured here" in page.text
    names = {file.stem for file in (tmp_path / "tables").iterdir()}
    assert not names & {"fit", "marginal_gap", "not_fitted", "fit_limits", "fit_groups"}
    document = json.loads((tmp_path / "study.json").read_text(encoding="utf-8"))
    assert "not_fitted" not in document
    assert "seated" not in (tmp_path / "methods.txt").read_text(encoding="utf-8")


def test_the_terminal_has_a_line_per_group() -> None:
    gaps = [c.fit.value("margin", "marginal_gap_um") for c in RUN.crowns_of("tilted")]
    mean, sd, middle = np.mean(gaps), np.std(gaps, ddof=1), np.median(gaps)
    upright, tilted = fit_lines(RUN, ANALYSIS)
    assert upright.startswith("Upright: 4 of 4 go down; 1 crown could not be judged; marginal gap ")
    assert tilted == (
        f"Tilted: 4 of 5 go down; held up: {HELD_UP}; marginal gap {mean:.1f} ± {sd:.1f} µm "
        f"(median {middle:.1f})."
    )
    console = Console(file=io.StringIO(), width=300)
    console.print(study_view(RUN, ANALYSIS))
    shown = console.file.getvalue()
    assert f"  {tilted}" in shown
    assert "no cement, no friction and no elasticity" in shown


def test_crowns_of_which_nothing_is_known_are_not_said_to_go_down() -> None:
    judged = tuple(one for one in RUN.crowns[0].fit.judged if one.part != "seat")
    unknown = replace(RUN.crowns[0], fit=replace(RUN.crowns[0].fit, judged=judged))
    scanned = replace(RUN.crowns[2], fit=replace(RUN.crowns[2].fit, stop="", by_triple_scan=True))
    run = replace(RUN, crowns=(unknown, RUN.crowns[1], scanned, *RUN.crowns[3:]))
    count = fit_counts(run, ANALYSIS)[0]
    assert (count.down, count.held_up, count.unknown, count.scanned) == (2, (), 1, 1)
    assert fit_lines(run, ANALYSIS)[0].startswith(
        "Upright: 2 of 3 go down; whether 1 goes down is not known; 1 scanned on the die; "
    )
    assert "Upright 4 of 5 2 0 1 1 " in fit_part_of(said(run))


def test_the_methods_tell_how_these_crowns_were_seated() -> None:
    text = methods_text(RUN, ANALYSIS).text
    for words in (
        "Nine crowns were seated on one die virtually",
        "averaged over patches of 0.3 mm radius",
        "more than 500 µm above it counted as held up",
        "One crown could not go down",
        "at 360 places around the finish line, carried over from the design's margin line",
        "was held against 120 µm [",
        "within ±10 µm (mean marginal gap)",
        f"{LOST}: {REASON}",
        REFERENCES["holmes"],
        REFERENCES["mclean"],
    ):
        assert words in text
    assert "fit (12 comparisons)" in text
    cited = {int(n) for part in re.findall(r"\[([\d, ]+)\]", text) for n in part.split(",")}
    numbers = [int(n) for n in re.findall(r"^(\d+)\. ", text, flags=re.MULTILINE)]
    assert cited == set(numbers)


def test_the_methods_say_nothing_that_the_settings_do_not() -> None:
    settings = FitSettings(
        seat=SeatSettings(contact="hard"), gap=GapSettings(marginal_limit_um=100.0, places=180)
    )
    line = Path("line.csv")
    plan = {"settings": settings, "in_design_frame": False, "finish_line": line}
    text = methods_text(with_fit(RUN, **plan), ANALYSIS).text
    for words in (
        "No point of the two surfaces was allowed to overlap.",
        "the intended seat was not known",
        "at 180 places around the finish line, as given",
        "was held against 100 µm;",
    ):
        assert words in text
    assert REFERENCES["mclean"] not in text
    assert "patches" not in text
    bare = study({"a": {"whole": [9.0, 10.0]}, "b": {"whole": [10.0, 12.0]}})
    assert REFERENCES["holmes"] not in methods_text(bare, analyse_study(bare)).text


def test_crowns_scanned_on_their_dies_are_told_so_in_the_methods() -> None:
    crowns = tuple(
        c if c.fit is None else replace(c, fit=replace(c.fit, stop="", by_triple_scan=True))
        for c in RUN.crowns
    )
    text = methods_text(replace(RUN, crowns=crowns), ANALYSIS).text
    assert "For 9 crowns, crown and die were each superimposed on a scan" in text
    assert "virtually" not in text
    assert "could not go down" not in text


def test_a_primary_comparison_of_fit_stands_where_the_primary_one_stands() -> None:
    run, analysis = fitted_study(primary_area="margin", primary_measure="marginal_gap_um")
    art = StudyArt((), "none", study_maps(run, analysis))
    page = Page(study_page(run, analysis, art, written=output._now()))
    (row,) = analysis.findings.primary
    table = page.text[page.text.index("The planned comparisons, in their order") :][:900]
    assert "Tilted − Upright mean marginal gap *" in table
    assert page.text.count(row.sentence) == 2
    assert "The primary comparison was that of the mean marginal gap." in page.text
