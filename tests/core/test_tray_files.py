"""Trays from files and at the command line."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from cuspwise.standalone_core.check import check
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.demo.crown import demo_crown as crown_by_formula
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.records import plain
from cuspwise.standalone_core.report.tray.output import crown_folders
from cuspwise.standalone_core.report.tray.tables import TRAY_COLUMNS
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from cuspwise.standalone_core.tray.check_tray import check_tray
from cuspwise.standalone_core.tray.entries import TrayEntry, named, read_tray, scans_of
from made.pages import Page

EDGE_MM = 0.4
QUICK = ("--no-causes", "--spacing", EDGE_MM, "--no-pictures")
TABLE = """\
design;scan;name
molar.stl;scans/fine.stl;36 Monday
large.stl;of_large.stl;
molar.stl;scans/thick.stl;
molar.stl;scans/broken.stl;
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two designs, and scans of both: fine, outside, and no surface at all."""
    place = tmp_path_factory.mktemp("tray")
    (place / "scans").mkdir()
    crown = crown_by_formula(EDGE_MM)
    mesh, normals = crown.mesh, crown.vertex_normals
    for name, scale, excess_mm in (
        ("molar.stl", 1.0, 0.0),
        ("large.stl", 1.1, 0.0),
        ("scans/fine.stl", 1.0, 0.003),
        ("scans/thick.stl", 1.0, 0.06),
        ("of_large.stl", 1.1, 0.004),
    ):
        vertices = scale * mesh.vertices + excess_mm * normals
        write_mesh(place / name, TriangleMesh(vertices, mesh.faces, name))
    (place / "scans" / "broken.stl").write_text("solid nothing\nendsolid nothing\n")
    (place / "tray.csv").write_text(f"\ufeff{TABLE}", encoding="utf-8")
    return place


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(part) for part in arguments])


@pytest.fixture(scope="module")
def tray(folder: Path) -> tuple[Result, Path]:
    """The tray of the table, checked at the command line."""
    out = folder / "out"
    return call("check", folder / "tray.csv", *QUICK, "--out", out), out


def rows_of(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def documents(text: str) -> dict[str, dict[str, object]]:
    return {crown["name"]: crown for crown in json.loads(text)["crowns"]}


def test_a_tray_is_shown_crown_by_crown_and_fails_if_one_does(tray) -> None:
    result, _ = tray
    assert result.exit_code == 1
    assert "2 of 4 crowns within tolerance" in result.output
    lines = {line.split("  ")[0].strip(): line for line in result.output.splitlines()[:12]}
    assert "✓ within" in lines["36 Monday"]
    assert "✓ within" in lines["of_large"]
    assert lines["thick"].count("✗") == 4  # the crown, and three areas
    assert "! not checked" in lines["broken"]
    assert "It holds no triangles." in result.output
    assert max(map(len, result.output.splitlines()[:12])) <= 80


def test_each_crowns_folder_holds_what_a_check_by_itself_writes(tray, folder) -> None:
    _, out = tray
    assert sorted(path.name for path in out.iterdir()) == [
        *("36 Monday", "README.csv", "of_large", "thick", "tray.csv", "tray.html", "tray.json"),
    ]
    alone = folder / "alone"
    single = call("check", folder / "large.stl", folder / "of_large.stl", *QUICK, "--out", alone)
    assert single.exit_code == 0
    names = sorted(path.name for path in alone.iterdir())
    assert sorted(path.name for path in (out / "of_large").iterdir()) == names
    for name in names:
        first, second = (place / name for place in (alone, out / "of_large"))
        if name == "check.json":
            one, two = (json.loads(path.read_text(encoding="utf-8")) for path in (first, second))
            for document in (one, two):
                del document["seconds"], document["written"]
            assert one == two
        elif name != "check.html":
            assert first.read_bytes() == second.read_bytes()


def test_the_numbers_are_those_of_single_checks_to_the_last_bit(tray, folder) -> None:
    _, out = tray
    crowns = documents((out / "tray.json").read_text(encoding="utf-8"))
    settings = CheckSettings(spacing_mm=EDGE_MM)
    for name, design, scan in (
        ("36 Monday", "molar.stl", "scans/fine.stl"),
        ("thick", "molar.stl", "scans/thick.stl"),
    ):
        alone = check(folder / design, folder / scan, settings)
        assert crowns[name]["verdicts"] == plain(alone.verdicts)
        assert crowns[name]["warnings"] == list(alone.warnings)
    rows = {(row["crown"], row["area"]): row for row in rows_of(out / "tray.csv")}
    assert tuple(next(iter(rows.values()))) == TRAY_COLUMNS
    margin = next(v for v in crowns["thick"]["verdicts"] if v["area"] == "margin")
    assert float(rows["thick", "margin"]["mean_abs_um"]) == margin["mean_abs_um"]
    assert rows["broken", ""]["crown_verdict"] == "not_checked"
    assert rows["broken", ""]["remedy"]


def test_two_processes_find_and_write_the_same(tray, folder) -> None:
    _, out = tray
    beside = folder / "beside"
    result = call("check", folder / "tray.csv", *QUICK, "--workers", 2, "--out", beside)
    assert result.exit_code == 1
    assert (beside / "tray.csv").read_bytes() == (out / "tray.csv").read_bytes()
    for name in ("measures.csv", "deviation_scan.ply"):
        assert (beside / "thick" / name).read_bytes() == (out / "thick" / name).read_bytes()
    one, two = (
        documents((place / "tray.json").read_text(encoding="utf-8")) for place in (out, beside)
    )
    assert list(one) == list(two)
    for name in one:
        assert {**one[name], "seconds": 0} == {**two[name], "seconds": 0}


def test_the_page_stands_alone_and_links_to_the_crowns_own(tray) -> None:
    _, out = tray
    text = (out / "tray.html").read_text(encoding="utf-8")
    page = Page(text)
    assert page.open == []
    assert page.resources == []
    assert page.links == ["36%20Monday/check.html", "of_large/check.html", "thick/check.html"]
    assert "2 of 4 crowns within tolerance" in page.text
    assert "Could not be checked: broken." in page.text
    assert "This is not a medical device." in page.text
    assert text.count("script-src 'sha256-") == 1


def test_a_folder_of_scans_and_several_scans_are_trays_and_the_order_changes_nothing(
    folder, tmp_path
) -> None:
    design, scans = folder / "molar.stl", folder / "scans"
    whole = call("check", design, scans, *QUICK, "--json")
    assert whole.exit_code == 1
    found = json.loads(whole.output)
    assert [crown["name"] for crown in found["crowns"]] == ["broken", "fine", "thick"]
    assert sorted(found["checks"]) == ["fine", "thick"]
    turned = call("check", design, scans / "thick.stl", scans / "fine.stl", *QUICK, "--json")
    for name, crown in documents(turned.output).items():
        other = documents(whole.output)[name]
        assert {**crown, "seconds": 0} == {**other, "seconds": 0}
    fine = (scans / "fine.stl", folder / "of_large.stl")
    passed = call("check", design, *fine, *QUICK, "--tolerance", "whole=none", "--json")
    # The other scan is a tenth too large for this design: that is no pass.
    assert {c["name"]: c["passed"] for c in documents(passed.output).values()} == {
        **{"fine": True, "of_large": False},
    }


def test_a_tray_whose_crowns_all_pass_ends_well(folder, tmp_path) -> None:
    table = tmp_path / "good.csv"
    table.write_text(f"scan,design\n{folder}/scans/fine.stl,{folder}/molar.stl\n")
    result = call("check", table, *QUICK, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "1 of 1 crown within tolerance" in result.output


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["molar.stl"], 2, ["Missing argument 'SCAN'"]),
        (["molar.stl", "empty"], 1, ["There are no scans in it."]),
        (["molar.stl", "scans", "scans/fine.stl"], 1, ["fine.stl", "there twice"]),
        (["molar.stl", "scans", "--landmarks", "pairs.csv"], 1, ["--landmarks", "one scan"]),
        (["nowhere.csv"], 1, ["nowhere.csv"]),
        (["molar.stl", "scans", "--workers", "0"], 1, ["--workers", "cannot do anything"]),
        (["tray.csv", "--out", "molar.stl"], 1, ["It is a file, not a folder."]),
        (["molar.stl", "scans", "--tolerance", "margin=-3"], 1, ["margin"]),
    ],
)
def test_what_cannot_be_a_tray_is_said_before_anything_is_measured(
    folder, tmp_path, monkeypatch, arguments, code, words
) -> None:
    monkeypatch.chdir(folder)
    (folder / "empty").mkdir(exist_ok=True)
    result = call("check", *arguments)
    assert result.exit_code == code
    assert "Traceback" not in result.output
    for word in words:
        assert word in result.output
    assert not (folder / "tray_check").exists()


def test_results_never_replace_what_is_read(folder, tmp_path) -> None:
    table = tmp_path / "tray.csv"
    table.write_text(f"design,scan\n{folder}/molar.stl,{folder}/scans/fine.stl\n")
    result = call("check", table, *QUICK, "--out", tmp_path)
    assert result.exit_code == 1
    assert "would replace tray.csv" in result.output


def test_all_mistakes_of_a_table_are_told_at_once_with_their_lines(folder, tmp_path) -> None:
    table = folder / "wrong.csv"
    table.write_text(
        "design,scan,name\n"
        "molar.stl,scans/fine.stl,a\n"
        "molr.stl,scans/thick.stl,b\n"
        "molar.stl,,c\n"
        "molar.stl,scans/thick.stl,a\n"
        "molar.stl,scans/fine.stl,d\n"
    )
    with pytest.raises(StudyFileError) as caught:
        read_tray(table)
    heads = [line.partition(" ")[0] for line in caught.value.lines]
    assert heads == ["wrong.csv:3:", "wrong.csv:4:", "wrong.csv:5:", "wrong.csv:6:"]
    told = " ".join(caught.value.lines)
    for words in ("Did you mean molar.stl?", "The scan is missing.", "is called a on line 2"):
        assert words in told
    result = call("check", table)
    assert result.exit_code == 1
    assert all(head in result.output for head in heads)


@pytest.mark.parametrize("header", ["design\n", "desing,scan\n", "design,scan\n"])
def test_a_table_without_columns_or_rows_is_refused(tmp_path, header) -> None:
    table = tmp_path / "tray.csv"
    table.write_text(header + "a.stl,b.stl\n" * (header != "design,scan\n"))
    with pytest.raises(StudyFileError):
        read_tray(table)


def test_names_are_unique_whatever_the_files_are_called() -> None:
    design, other = Path("d.stl"), Path("e.stl")
    entries = [
        TrayEntry(design, Path("mon/one.stl")),
        TrayEntry(design, Path("tue/one.stl")),
        TrayEntry(design, Path("tue/one.ply")),
        TrayEntry(design, Path("two.stl")),
        TrayEntry(other, Path("two.stl")),
        TrayEntry(design, Path("three.stl"), "two of d"),
    ]
    names = [entry.name for entry in named(entries)]
    assert names == ["mon/one", "tue/one.stl", "tue/one.ply", "d/two", "e/two", "two of d"]
    again = named(TrayEntry(design, Path("two.stl")) for _ in range(3))
    assert len({entry.name for entry in again}) == 3


def test_folders_are_unique_and_lie_in_the_trays_own() -> None:
    names = ["a/b", "a_b", "../../etc", "tray.csv", "A_B", "", "x" * 300, ". ."]
    folders = crown_folders(names)
    assert len({folder.casefold() for folder in folders.values()}) == len(names)
    for folder in folders.values():
        assert Path(folder).name == folder
        assert folder.casefold() != "tray.csv"


def test_a_folder_leaves_out_the_design_and_refuses_a_scan_given_twice(folder) -> None:
    found = scans_of(folder / "molar.stl", [folder])
    assert [entry.scan.name for entry in found] == ["large.stl", "of_large.stl"]
    with pytest.raises(SettingError, match="there twice"):
        scans_of(folder / "molar.stl", [folder, folder / "large.stl"])


def test_from_python_results_are_kept_one_by_one_and_let_go(folder) -> None:
    pairs = [(folder / "molar.stl", folder / "scans" / name) for name in ("fine.stl", "lost.stl")]
    seen: list[str] = []
    settings = CheckSettings(spacing_mm=1.0)
    result = check_tray(pairs, settings, lambda name, whole: seen.append(whole.scan.mesh.name))
    assert seen == ["fine.stl"]
    assert [crown.verdict == "not_checked" for crown in result.crowns] == [False, True]
    assert result.crowns[0].causes is not None
