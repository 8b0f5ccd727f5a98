"""A study's report: whole, self-contained, the same on every run, every number from the run."""

from __future__ import annotations

import csv
import json
import os
import re
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from cuspwise.standalone_core.errors import ReportError
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.report.drawing.amount_colours import group_style
from cuspwise.standalone_core.report.drawing.matplotlib_figure import Figure
from cuspwise.standalone_core.report.study import output
from cuspwise.standalone_core.report.study.figures import study_figures
from cuspwise.standalone_core.report.study.maps import study_maps
from cuspwise.standalone_core.report.study.methods import methods_text
from cuspwise.standalone_core.report.study.output import write_study
from cuspwise.standalone_core.report.study.references import REFERENCES
from cuspwise.standalone_core.report.study.sentences import opening_lines
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.results.analysis import StudyAnalysis
from cuspwise.standalone_core.study.measuring.results import StudyRun
from made.pages import Page
from made.study_examples import ODD, make_analysis, make_run
from made.study_runs import study


@pytest.fixture(scope="module")
def run() -> StudyRun:
    return make_run()


@pytest.fixture(scope="module")
def analysis(run: StudyRun) -> StudyAnalysis:
    return make_analysis(run)


@pytest.fixture(scope="module")
def out(run: StudyRun, analysis: StudyAnalysis, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    write_study(run, analysis, folder, pictures="no")
    return folder


@pytest.fixture(scope="module")
def figures(analysis: StudyAnalysis) -> dict[str, Figure]:
    return {figure.name: figure for figure in study_figures(analysis)}


@pytest.fixture(scope="module")
def page(out: Path) -> Page:
    return Page((out / "report.html").read_text(encoding="utf-8"))


def rows(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def test_the_page_is_whole_and_stands_alone(page: Page) -> None:
    assert page.open == []
    assert not [address for address in page.resources if not address.startswith("data:")]
    assert not [link for link in page.links if not link.startswith("#")]
    assert {link[1:] for link in page.links} <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    assert not page.unlabelled


def test_the_answer_comes_first_in_plain_words(page: Page, analysis: StudyAnalysis) -> None:
    places = [page.text.find(line.sentence) for line in opening_lines(analysis)]
    assert min(places) >= 0
    assert max(places) < page.text.find("What was studied")
    kinds = {line.kind for line in opening_lines(analysis)}
    assert {"tolerance", "primary", "odd"} <= kinds


def test_every_line_of_the_answer_is_on_the_page(page: Page, analysis: StudyAnalysis) -> None:
    assert all(line.sentence in page.text for line in analysis.verdict)
    assert all(note in page.text for note in analysis.notes)


def test_what_a_reader_must_know_is_there(page: Page, run: StudyRun) -> None:
    for words in ("not a medical device", "Patient names do not belong", "missing material", ODD):
        assert words.lower() in page.text.lower(), words
    assert run.left_out[0].reason in page.text
    assert run.left_out[0].name in page.text


def test_normality_and_counts_of_scores_are_drawn_on_the_page(page: Page) -> None:
    place = page.text.find("Assumptions of the tests of means")
    assert 0 <= place < page.text.find("Crowns against a normal distribution")
    for item in ("gap", "contact"):
        assert f"Crowns per score “{item}”" in page.text


def test_facts_cannot_break_out_of_the_page(out: Path, page: Page) -> None:
    text = (out / "report.html").read_text(encoding="utf-8")
    assert "<A&B>" not in text
    assert "zirconia <A&B>" in page.text


def test_facts_of_single_crowns_are_listed_where_crowns_are(tmp_path: Path) -> None:
    run = make_run(("milled", "tilted"), 2, repeats=False)
    milled, tilted = run.plan.groups
    milled = replace(
        milled, crowns=("M, 1", "M2"), crown_facts=({"oven <1>": "Öfen", "day": ""}, {"day": "=2"})
    )
    run = replace(run, plan=replace(run.plan, groups=(milled, tilted)))
    analysis = make_analysis(run, scores=False)
    write_study(run, analysis, tmp_path, pictures="no")
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert page.open == []
    assert "differs between the crowns of a group: oven <1>, day" in page.text
    assert "Crown facts" not in page.text
    assert page.text.count("oven <1>") == 3  # heading, table, methods
    facts = {(r["crown"], r["fact"]): r for r in rows(tmp_path / "tables" / "crown_facts.csv")}
    oven = facts["M, 1", "oven <1>"]
    assert (oven["group"], oven["file"], oven["fact_value"]) == ("milled", "milled_01.stl", "Öfen")
    assert facts["M2", "day"]["fact_value"] == "'=2"
    assert ("tilted_01", "day") not in facts
    text = methods_text(run, analysis).text
    assert (
        "Differing between the crowns of a group: oven <1> and day (table of the crowns)." in text
    )


def test_tables_hold_the_numbers_of_the_run(out: Path, run: StudyRun) -> None:
    true = rows(out / "tables" / "trueness.csv")
    keys = [(r["crown"], r["direction"], r["area"], r["measure"]) for r in true]
    assert len(set(keys)) == len(keys)
    by_key = dict(zip(keys, true, strict=True))
    for crown in run.crowns[::4]:
        for row in crown.measures:
            found = by_key[crown.name, row.direction, row.area, "rms_um"]
            assert float(found["value"]) == row.rms_um
    left_out = rows(out / "tables" / "left_out.csv")
    assert [row["crown"] for row in left_out] == [scan.name for scan in run.left_out]


def test_descriptions_tell_all_crowns_from_those_that_are_not_odd(out: Path) -> None:
    found = rows(out / "tables" / "descriptions.csv")
    keys = [(r["crowns_included"], r["group"], r["area"], r["measure"]) for r in found]
    assert {key[0] for key in keys} == {"all", "without_odd"}
    assert len(set(keys)) == len(keys)


def test_every_table_is_tidy(out: Path) -> None:
    files = sorted((out / "tables").glob("*.csv"))
    assert len(files) >= 12
    for file in files:
        with file.open(encoding="utf-8-sig", newline="") as stream:
            content = list(csv.reader(stream))
        assert content, file.name
        assert len(set(content[0])) == len(content[0]), file.name
        assert {len(row) for row in content} == {len(content[0])}, file.name
        assert not any(cell in {"nan", "inf", "None"} for row in content for cell in row)
    assert all(row["meaning"] for row in rows(out / "tables" / "README.csv"))


def test_the_document_holds_all_in_strict_json(out: Path, analysis: StudyAnalysis) -> None:
    def refuse(word: str) -> None:
        raise AssertionError(word)

    text = (out / "study.json").read_text(encoding="utf-8")
    document = json.loads(text, parse_constant=refuse)
    assert document["schema"] == 3
    assert document["plan"]["title"] == analysis.title
    assert len(document["crowns"]) == 15
    assert "1.25" not in json.dumps(document.get("seconds", ""))


@pytest.mark.slow
def test_the_same_study_writes_the_same_bytes(
    out: Path, run: StudyRun, analysis: StudyAnalysis, tmp_path: Path
) -> None:
    write_study(make_run(), make_analysis(make_run()), tmp_path, pictures="no")
    names = sorted(file.relative_to(out) for file in out.rglob("*") if file.is_file())
    assert names == sorted(f.relative_to(tmp_path) for f in tmp_path.rglob("*") if f.is_file())
    for name in names:
        if name != Path("report.html"):  # which is dated
            assert (out / name).read_bytes() == (tmp_path / name).read_bytes(), name


def _marks(svg: str) -> Iterator[ET.Element]:
    yield from (e for e in ET.fromstring(svg).iter() if e.tag.endswith("use"))


def test_figures_show_every_crown_once(
    out: Path, analysis: StudyAnalysis, figures: dict[str, Figure]
) -> None:
    margin = figures["trueness_margin"]
    shown = [e for e in _marks(margin.svg) if e.get("style", "") or e.get("y")]
    crowns = sum(
        row.summary.description.n for row in analysis.findings.trueness if row.area == "margin"
    )
    assert crowns == 15 * len(analysis.measures)
    assert len(shown) >= crowns
    assert "µm" in margin.svg
    assert ODD.rsplit("_", 1)[-1] in margin.svg
    assert margin.png.startswith(b"\x89PNG")
    written = {file.name for file in (out / "figures").iterdir()}
    assert written >= {f"trueness_margin.{ending}" for ending in ("svg", "pdf", "png")}
    for figure in figures.values():
        assert figure.alt
        assert figure.title
        ET.fromstring(figure.svg)


@pytest.mark.slow
def test_figures_drawn_by_a_worker_are_the_same(
    analysis: StudyAnalysis, figures: dict[str, Figure]
) -> None:
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        assert list(study_figures(analysis, pool)) == list(figures.values())


def test_figures_tell_what_they_show_to_those_who_cannot_see(
    analysis: StudyAnalysis, figures: dict[str, Figure]
) -> None:
    means = [
        f"{row.summary.description.mean:.1f}"
        for row in analysis.findings.trueness
        if (row.area, row.measure) == ("margin", "mean_abs_um")
    ]
    assert all(mean in figures["trueness_margin"].alt for mean in means)


def test_groups_have_colours_and_marks_of_their_own() -> None:
    styles = [group_style(k) for k in range(6)]
    assert len({style.colour for style in styles}) == len({style.marker for style in styles}) == 6


def test_maps_share_one_symmetric_scale(run: StudyRun, analysis: StudyAnalysis) -> None:
    maps = study_maps(run, analysis)
    scale = maps.scales["mean"]
    assert scale.signed
    assert scale.limit == maps.scales["difference"].limit
    weights = run.area_set.evaluation.weights_mm2
    for found, of_group in zip(maps.of("mean"), run.maps.values(), strict=True):
        measured = np.isfinite(of_group.mean_um)
        grey = found.colours[~measured]
        assert len(np.unique(grey, axis=0)) <= 1
        assert found.unmeasured == pytest.approx(weights[~measured].sum() / weights.sum())
        beyond = measured & (np.abs(of_group.mean_um) > scale.limit)
        share = weights[beyond].sum() / weights[measured].sum()
        assert found.clipped == pytest.approx(share, abs=1e-12)
        signs = of_group.mean_um[measured]
        red_less_blue = found.colours[measured].astype(int) @ [1, 0, -1]
        assert np.all(red_less_blue[signs > 0.5 * scale.limit] > 0)
        assert np.all(red_less_blue[signs < -0.5 * scale.limit] < 0)


def test_coloured_surfaces_read_back(out: Path, run: StudyRun) -> None:
    files = sorted((out / "maps").glob("*.ply"))
    assert [file.stem for file in files] >= sorted(run.maps)
    mesh = read_mesh(files[0]).mesh
    assert len(mesh.faces) == len(run.area_set.evaluation.mesh.faces)


def test_methods_tell_this_study(run: StudyRun, analysis: StudyAnalysis) -> None:
    text = methods_text(run, analysis).text
    assert "15" in text
    assert "n = 5" in text
    assert f"{len(run.area_set.evaluation.points):,}" in text
    assert "Welch" in text
    assert "best fit without scaling" in text
    assert "nowhere short or broken along more than 0.5 mm; " in text
    numbers = [int(n) for n in re.findall(r"^(\d+)\. ", text, flags=re.M)]
    assert numbers == list(range(1, len(numbers) + 1))
    cited = {int(n) for part in re.findall(r"\[([\d, ]+)\]", text) for n in part.split(",")}
    assert cited == set(numbers)


def test_only_what_was_used_is_cited(run: StudyRun) -> None:
    bare = make_run(("milled", "upright"), repeats=False, equivalence_um=None)
    text = methods_text(bare, make_analysis(bare, scores=False)).text
    assert REFERENCES["fleiss"] not in text
    assert REFERENCES["cohen"] not in text
    assert REFERENCES["schuirmann"] not in text
    assert REFERENCES["games"] not in text
    assert REFERENCES["welch"] in text


@pytest.mark.parametrize(
    ("groups", "n"), [(("milled",), 5), (("milled", "upright"), 1), (("milled",), 1)]
)
def test_small_studies_have_a_report_too(groups: tuple[str, ...], n: int, tmp_path: Path) -> None:
    small = make_run(groups, n, repeats=False, left_out=False)
    written = write_study(small, make_analysis(small, scores=False), tmp_path, pictures="no")
    assert tmp_path / "report.html" in written
    Page((tmp_path / "report.html").read_text(encoding="utf-8"))


def test_identical_crowns_have_a_report_too(tmp_path: Path) -> None:
    same = study({"a": {"whole": [10.0] * 4}, "b": {"whole": [10.0] * 4}}, spread=0.0)
    analysis = analyse_study(same)
    assert not [crown for crown in analysis.odd_crowns if crown.odd]
    for figure in study_figures(analysis):
        ET.fromstring(figure.svg)


def test_an_earlier_report_is_replaced_whole(
    run: StudyRun, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(output, "can_plot", lambda: False)  # for speed
    write_study(run, make_analysis(run), tmp_path, pictures="no")
    (tmp_path / "mine.txt").write_text("not ours")
    smaller = make_run(("milled",), repeats=False, left_out=False)
    write_study(smaller, make_analysis(smaller, scores=False), tmp_path, pictures="no")
    assert {file.stem for file in (tmp_path / "maps").glob("*.ply")} == {"milled"}
    assert (tmp_path / "mine.txt").is_file()


def test_a_folder_that_cannot_be_made_is_told(
    run: StudyRun, analysis: StudyAnalysis, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(ReportError, match="folder"):
        write_study(run, analysis, tmp_path / "file" / "out", pictures="no")
    assert os.listdir(tmp_path) == ["file"]
