"""The pages about files and studies name every file, table and schema that there is."""

from __future__ import annotations

import re
from pathlib import Path

import write_schemas
from cuspwise.standalone_core.report.check import output as check
from cuspwise.standalone_core.report.fit import output as fit
from cuspwise.standalone_core.report.study import output as study
from cuspwise.standalone_core.report.tray import output as tray
from cuspwise.standalone_core.study.file.study_sections import SETTINGS

DOCS = Path(__file__).resolve().parents[2] / "docs"
FILES = (DOCS / "files.md").read_text(encoding="utf-8")
STUDY = (DOCS / "study.md").read_text(encoding="utf-8")


def part(page: str, heading: str) -> str:
    """What stands below a heading, down to the next one."""
    return re.split(r"^#+ ", page.split(f"{heading}\n", 1)[1], flags=re.MULTILINE)[0]


def assert_named(names: tuple[str, ...], text: str) -> None:
    assert [name for name in names if f"`{name}`" not in text] == []


def test_every_file_of_a_check_and_a_tray_is_listed() -> None:
    more = (check.CAUSES_FILE, check.MARKS_FILE, check.MARGIN_FILE, f"{check.PICTURE_FOLDER}/")
    assert_named((*check.FILES, *more), part(FILES, "### check"))
    assert_named(tray.TRAY_FILES, part(FILES, "### check, of many crowns"))


def test_every_file_of_a_fit_is_listed() -> None:
    parts = tuple(name for names in fit.PARTS.values() for name in names)
    told = part(FILES, "### fit, walls")
    assert_named((*fit.FILES, *parts, *fit.WALL_FILES, f"{fit.PICTURE_FOLDER}/"), told)


def test_every_file_of_a_study_is_listed() -> None:
    folders = tuple(f"{name}/" for name in study.FOLDERS)
    names = (study.PAGE, study.METHODS, study.WORKBOOK, study.DOCUMENT, *folders)
    assert_named(names, part(FILES, "### study"))


def test_every_schema_is_listed_and_there() -> None:
    linked = re.findall(r"\(schemas/(\w+)\.schema\.json\)", FILES)
    assert sorted(linked) == sorted(write_schemas.DOCUMENTS)
    assert {f"{name}.schema.json" for name in linked} == {
        file.name for file in (DOCS / "schemas").iterdir()
    }


def test_every_table_of_a_study_file_is_listed() -> None:
    told = part(STUDY, "## The study file")
    assert_named(tuple(f"[{one.name}]" for one in SETTINGS if one.name), told)
