"""What page, terminal, tables and methods text say of a study against an earlier one."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cuspwise.standalone_core.report.study.analysis_tables import analysis_tables
from cuspwise.standalone_core.report.study.earlier import earlier_lines, earlier_part
from cuspwise.standalone_core.report.study.maps import study_maps
from cuspwise.standalone_core.report.study.methods import methods_text
from cuspwise.standalone_core.report.study.page import StudyArt, study_page
from cuspwise.standalone_core.report.study.tables import study_document
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.document import analysis_document
from cuspwise.standalone_core.study.analysis.results.analysis import StudyAnalysis
from cuspwise.standalone_core.study.measuring.results import StudyRun
from made.earlier_studies import CLAIMS, as_earlier, scanned
from made.pages import Page
from made.study_examples import make_run

GROUPS = ("milled", "upright", "tilted")
ON_PAGE = "Against the earlier study"


def against(folder: Path, spacing_mm: float = 0.45) -> StudyRun:
    """Three groups of now against two of them earlier, and one that is no more."""
    before = scanned(make_run(GROUPS[:2], 4, seed=5, title="The year before"), "earlier")
    check = replace(before.plan.check, spacing_mm=spacing_mm)
    earlier = as_earlier(replace(before, plan=replace(before.plan, check=check)), folder)
    return replace(scanned(make_run(GROUPS[1:], 5), "now"), earlier=earlier)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> StudyRun:
    return against(tmp_path_factory.mktemp("earlier"))


@pytest.fixture(scope="module")
def analysis(run: StudyRun) -> StudyAnalysis:
    return analyse_study(run)


def page_of(run: StudyRun, analysis: StudyAnalysis) -> str:
    """The page without any figure."""
    art = StudyArt((), "They were not asked for.", study_maps(run, analysis))
    return study_page(run, analysis, art, written=datetime(2026, 1, 2, tzinfo=UTC))


def section(text: str) -> Page:
    start = text.index('<section id="earlier">')
    return Page(text[start : text.index("</section>", start) + len("</section>")])


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_page_has_a_section_of_it(run: StudyRun, analysis: StudyAnalysis) -> None:
    text = page_of(run, analysis)
    whole = Page(text)
    assert "#earlier" in whole.links
    assert whole.open == []
    page = section(text)
    found = analysis.earlier
    assert found is not None
    assert found.caution in page.text
    assert all(note in page.text for note in found.notes)
    assert f"The year before, from {found.file} , measured by Cuspwise 0.1.0." in page.text
    assert found.file.endswith("/study.json")
    assert not CLAIMS.search(page.text)
    assert "In the study of now only: Printed tilted." in page.text
    assert "In the study of earlier only: Milled." in page.text
    for row in found.rows:
        assert f"{row.earlier.mean:.1f} ± {row.earlier.sd:.1f}" in page.text
        assert f"{row.now.mean:.1f} ± {row.now.sd:.1f}" in page.text
    for row in found.tolerances:
        for count in (row.earlier, row.now):
            assert f"{count.within} within, {count.outside} outside" in page.text


def test_the_primary_measure_comes_first(analysis: StudyAnalysis) -> None:
    part = earlier_part(analysis)
    assert part is not None
    assert [table.measure for table in part.tables] == list(analysis.measures)
    settings = replace(analysis.settings, primary_measure="rms_um")
    changed = earlier_part(replace(analysis, settings=settings))
    assert changed is not None
    assert changed.tables[0].measure == "rms_um"
    assert {area for area, _ in part.counts} == {"whole", "occlusal", "margin"}


def test_the_terminal_has_a_line_a_group(analysis: StudyAnalysis) -> None:
    found = analysis.earlier
    assert found is not None
    lines = earlier_lines(analysis)
    assert lines[0] == "Against the earlier study 'The year before' (exploratory, not adjusted):"
    (chief,) = (r for r in found.rows if (r.area, r.measure) == ("margin", "mean_abs_um"))
    assert lines[1:] == [
        f"  {chief.sentence}",
        "  In the study of earlier only: Milled.",
        "  In the study of now only: Printed tilted.",
        "  All areas and measures, and what this cannot tell: report.html, "
        "Against the earlier study.",
    ]
    assert earlier_lines(replace(analysis, earlier=None)) == []


def test_where_the_primary_place_is_one_of_fit_the_nearest_is_shown(run: StudyRun) -> None:
    settings = replace(run.plan.analysis, primary_area="margin", primary_measure="marginal_gap_um")
    analysis = analyse_study(replace(run, plan=replace(run.plan, analysis=settings)))
    assert "Printed upright, margin, mean absolute deviation:" in earlier_lines(analysis)[1]


def test_tables_and_document_hold_every_row(run: StudyRun, analysis: StudyAnalysis) -> None:
    found = analysis.earlier
    assert found is not None
    tables = analysis_tables(run, analysis)
    table = rows(tables["earlier_study"].text)
    assert len(table) == len(found.rows) == 15
    for line, row in zip(table, found.rows, strict=True):
        assert (line["group"], line["area"], line["measure"]) == (row.group, row.area, row.measure)
        assert (int(line["n_earlier"]), int(line["n_now"])) == (4, 5)
        assert float(line["difference"]) == pytest.approx(row.test.difference, rel=1e-5)
        assert float(line["difference_low"]) == pytest.approx(row.test.ci_low, rel=1e-5)
        assert float(line["p_unadjusted"]) == pytest.approx(row.test.p, rel=1e-5)
    counts = rows(tables["earlier_tolerances"].text)
    assert len(counts) == len(found.tolerances) == 3
    assert all(int(r["n_within_now"]) + int(r["n_outside_now"]) == 5 for r in counts)
    document = json.loads(json.dumps(study_document(run, analysis), allow_nan=False))
    held = document["analysis"]["earlier"]
    assert [row["difference"] for row in held["rows"]] == [r.test.difference for r in found.rows]
    assert held["caution"] == found.caution
    assert held["only_now"] == ["Printed tilted"]


def test_the_methods_say_it_in_a_sentence(run: StudyRun, analysis: StudyAnalysis) -> None:
    text = methods_text(run, analysis).text
    assert text.count("exploratory comparison outside all families of tests") == 1
    assert "(The year before), measured with the same settings, by Welch's t test [" in text
    plain = methods_text(run, replace(analysis, earlier=None)).text
    assert "exploratory comparison outside" not in plain


def test_without_an_earlier_study_nothing_is_said(run: StudyRun, analysis: StudyAnalysis) -> None:
    assert ON_PAGE in page_of(run, analysis)
    assert ON_PAGE not in page_of(run, replace(analysis, earlier=None))
    names = analysis_tables(run, replace(analysis, earlier=None)).keys()
    assert analysis_tables(run, analysis).keys() - names == {"earlier_study", "earlier_tolerances"}


def test_why_nothing_is_compared_is_said_everywhere(tmp_path: Path) -> None:
    run = against(tmp_path, spacing_mm=0.3)
    analysis = analyse_study(run)
    found = analysis.earlier
    assert found is not None
    page = section(page_of(run, analysis))
    reason = "(spacing_mm): 0.3 earlier, 0.45 now."
    assert "Not compared." in page.text
    assert found.remedy in page.text
    (line,) = earlier_lines(analysis)
    assert line.startswith("Not compared with the earlier study 'The year before': Settings that")
    document = analysis_document(analysis)
    for text in (page.text, line, document["earlier"]["why_not"][0]):
        assert reason in text
    assert "earlier_study" not in analysis_tables(run, analysis)
    assert "exploratory comparison outside" not in methods_text(run, analysis).text
