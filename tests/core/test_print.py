"""Pages on paper: what the style sheet says of it, and what a browser prints."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.check.page import css_string
from cuspwise.standalone_core.report.drawing.pictures import Pictures
from cuspwise.standalone_core.report.fit.page import fit_page
from cuspwise.standalone_core.report.study.output import write_study
from made.check_results import make_result
from made.fit_results import made_fit
from made.printed import browser, print_page
from made.study_examples import make_analysis, make_run

SIZES = {"A4": (595, 842), "Letter": (612, 792)}
BLANK = 3000  # bytes of drawing commands; a head with name and date alone has some 1000
TITLE = "Crowns, \"best\" <of> '\\ths' 6 µm"


@pytest.fixture(scope="module")
def study_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder, run = tmp_path_factory.mktemp("study"), make_run(title=TITLE)
    write_study(run, make_analysis(run), folder, pictures="no")
    return folder


@pytest.fixture(scope="module")
def study(study_folder: Path) -> str:
    return (study_folder / "report.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def check(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("check")
    write_check(make_result(), folder, pictures="no")
    return (folder / "check.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def fit() -> str:
    pictures = Pictures(reason="none")
    return fit_page(made_fit(), pictures=pictures, written=datetime(2026, 1, 1, tzinfo=UTC))


def unescaped(text: str) -> str:
    """Read a string of a style sheet (CSS Syntax Module Level 3, section 4.3.7)."""
    return re.sub(r"\\([0-9a-f]{1,6}) ", lambda found: chr(int(found[1], 16)), text)


@pytest.mark.parametrize("text", [TITLE, "</style><b>", "a\\b", 'x"; } * { display: none', "ü°\n"])
def test_no_title_breaks_out_of_the_style_sheet(text: str) -> None:
    written = css_string(text)
    assert not set("\"'<>{};\n") & set(written)
    assert unescaped(written) == text


def test_sheets_are_numbered_and_titled(study: str) -> None:
    (head,) = re.findall(r'@top-left \{ content: "(.*?)"', study)
    assert unescaped(head) == f"Cuspwise study: {TITLE}"
    assert "counter(page)" in study
    assert "counter(pages)" in study


@pytest.mark.parametrize("name", ["study", "check", "fit"])
def test_a_closed_part_says_on_paper_where_it_is(name: str, request: pytest.FixtureRequest) -> None:
    page: str = request.getfixturevalue(name)
    summaries = re.findall(r"<summary>(.*?)</summary>", page, re.DOTALL)
    assert summaries
    for summary in summaries:
        assert re.search(r'class="on-paper"> \(closed, so not printed; in <code>[^<]+<', summary)
    assert page.count('id="print-all"') == 1


def test_files_that_paper_points_to_exist(study_folder: Path, study: str) -> None:
    spans = re.findall(r'class="(?:small soft )?on-paper">(.*?)</(?:span|p)>', study, re.DOTALL)
    named = [name for span in spans for name in re.findall(r"<code>([^<]+)</code>", span)]
    assert len(named) > 10
    assert all((study_folder / name).exists() for name in named), named


class Tables(HTMLParser):
    """Tells of every table whether it can scroll by itself."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.scrolls: list[bool] = []
        self._open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "div":
            self._open.append(dict(attrs).get("class") or "")
        if tag == "table":
            self.scrolls.append(any("scroll" in name.split() for name in self._open))

    def handle_endtag(self, tag: str) -> None:
        if tag == "div":
            self._open.pop()


@pytest.mark.parametrize("name", ["study", "check", "fit"])
def test_every_table_scrolls_on_a_phone_with_a_hint(
    name: str, request: pytest.FixtureRequest
) -> None:
    page: str = request.getfixturevalue(name)
    found = Tables(page).scrolls
    assert len(found) > 1
    assert all(found)
    assert re.search(r'\.scroll::before \{\s*content: "more to the right →"', page)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("name", "most"), [("study", 10), ("check", 3), ("fit", 4)])
def test_no_sheet_is_blank_and_few_are_needed(
    name: str, most: int, size: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    browser()
    sheets = print_page(request.getfixturevalue(name), tmp_path, size)
    assert 1 < len(sheets) <= most
    assert all(len(sheet.commands) > BLANK for sheet in sheets)
    assert {tuple(map(round, sheet.size_pt)) for sheet in sheets} == {SIZES[size]}


def test_the_switch_prints_what_is_closed_or_left_out(study: str, tmp_path: Path) -> None:
    browser()
    plain = print_page(study, tmp_path)
    every = print_page(study.replace('id="print-all"', 'id="print-all" checked'), tmp_path)
    assert len(every) > 1.5 * len(plain)
    assert sum(sheet.texts for sheet in every) > 1.5 * sum(sheet.texts for sheet in plain)


def test_a_part_that_is_opened_is_printed(check: str, tmp_path: Path) -> None:
    browser()
    opened = check.replace("<details>", "<details open>")
    texts = [sum(s.texts for s in print_page(page, tmp_path)) for page in (check, opened)]
    assert texts[1] > texts[0] + 100
