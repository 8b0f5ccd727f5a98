"""The command line as a user meets it."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner, Result
from cuspwise.standalone_core.cli.base import guarded
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.demo.crown import DemoCrown
from cuspwise.standalone_core.demo.production import ProducedCrown, produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.mesh.write import write_mesh
from made.crowns import demo_crown
from made.tiers import slow

EDGE_MM = 0.3
OFFSET_UM = 20.0
# fmt: off
COLUMNS = [
    "area", "direction", "n_points", "area_mm2", "coverage_share", "mean_um", "sd_um",
    "mean_abs_um",
    "rms_um", "median_um", "p10_um", "p90_um", "half_p90_p10_um", "mean_positive_um",
    "mean_negative_um", "min_um", "max_um", "within_tolerance_share", "tolerance_um", "verdict",
    "unmatched_mm2", "unmatched_um",
]
# fmt: on


@pytest.fixture(scope="module")
def crown() -> DemoCrown:
    return demo_crown(EDGE_MM)


@pytest.fixture(scope="module")
def produced(crown: DemoCrown) -> ProducedCrown:
    errors = ProductionErrors(offset_um=OFFSET_UM)
    return produce(crown, errors, edge_mm=EDGE_MM, rng=np.random.default_rng(5))


@pytest.fixture(scope="module")
def files(tmp_path_factory, crown: DemoCrown, produced: ProducedCrown) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("crown")
    design, scan = folder / "design.stl", folder / "produced crown ü.stl"
    write_mesh(design, crown.mesh)
    write_mesh(scan, produced.mesh)
    return design, scan


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(part) for part in arguments])


def check(*arguments: object) -> Result:
    """Check without causes, which have tests of their own, at the design's own vertices."""
    return call("check", *arguments, "--no-causes", "--spacing", EDGE_MM)


def measures(folder: Path) -> dict[tuple[str, str], dict[str, str]]:
    with (folder / "measures.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    return {(row["area"], row["direction"]): row for row in rows}


def test_check_prints_and_writes_everything(files, tmp_path):
    out = tmp_path / "results"
    result = check(*files, "--out", out, "--no-pictures")
    assert result.exit_code == 0, result.output
    assert "not a medical device" in result.output.replace("\n", " ")
    assert {file.name for file in out.iterdir()} == {
        "check.html",
        "check.json",
        "measures.csv",
        "patches.csv",
        "README.csv",
        "margin_profile.csv",
        "deviation_design.ply",
        "deviation_scan.ply",
    }
    rows = measures(out)
    assert list(next(iter(rows.values()))) == COLUMNS
    # A constant offset along the normal: mean = offset, half range 0 (closed form); the fit can
    # take none of it away on a closed surface, but the coarse facets cost up to a µm.
    whole = rows["whole", "design_to_scan"]
    assert float(whole["mean_um"]) == pytest.approx(OFFSET_UM, abs=1.5)
    assert whole["verdict"] == "within"


def test_json_is_strict_and_writes_nothing_unasked(files, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = check(*files, "--json", "--tolerance", "margin=5", "--tolerance", "whole=none")
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout, parse_constant=pytest.fail)
    verdicts = {row["area"]: row["verdict"] for row in document["verdicts"]}
    assert verdicts["margin"] == "outside"
    assert verdicts["whole"] == "no_tolerance"
    assert not list(tmp_path.iterdir())


def test_check_writes_beside_the_caller_by_default(files, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert check(*files, "--no-pictures").exit_code == 0
    assert [folder.name for folder in tmp_path.iterdir()] == [f"{files[1].stem}_check"]


@pytest.mark.slow
def test_landmarks_and_in_place_agree_with_any_pose(files, produced, crown, tmp_path):
    """The three starts end in the same best fit."""
    picks = crown.mesh.vertices[:: len(crown.mesh.vertices) // 5][:5]
    back = np.linalg.inv(produced.T_true_design_scan)
    scan_picks = picks @ back[:3, :3].T + back[:3, 3]
    landmarks = tmp_path / "landmarks.csv"
    rows = np.hstack((picks, scan_picks)).tolist()
    text = "design_x,design_y,design_z,scan_x,scan_y,scan_z\n"
    landmarks.write_text(text + "".join(",".join(map(repr, row)) + "\n" for row in rows))
    laid = tmp_path / "laid.stl"
    write_mesh(laid, produced.mesh.moved(produced.T_true_design_scan))
    design, scan = files
    found = []
    for extra in (
        [scan],
        [scan, "--start", "landmarks", "--landmarks", landmarks],
        [laid, "--start", "in-place"],
    ):
        result = check(design, *extra, "--json")
        assert result.exit_code == 0, result.output
        measured = json.loads(result.stdout)["measures"]
        found.append([row["rms_um"] for row in measured if row["area"] in {"whole", "margin"}])
    # The files hold float32: 0.5 µm through a binary STL is the project's own bound.
    assert np.ptp(np.array(found), axis=0).max() < 0.05


def test_no_fit_leaves_the_scan_where_it_lies(files, crown, tmp_path):
    shifted = np.eye(4)
    shifted[2, 3] = 0.05
    scan = tmp_path / "shifted.stl"
    write_mesh(scan, crown.mesh.moved(shifted))
    result = check(files[0], scan, "--start", "in-place", "--no-refine", "--json")
    document = json.loads(result.stdout)
    assert np.array_equal(document["T_design_scan"], np.eye(4))
    occlusal = next(
        row
        for row in document["measures"]
        if (row["area"], row["direction"]) == ("external", "design_to_scan")
    )
    assert 10.0 < occlusal["rms_um"] < 50.0


def test_areas_saved_are_the_areas_used(files, tmp_path):
    saved = tmp_path / "areas.json"
    result = call("areas", files[0], "--out", saved, "--margin-band", "0.5", "--mesial", "1,0,0")
    assert result.exit_code == 0, result.output
    assert "mesial contact" in result.output
    out = tmp_path / "out"
    result = check(*files, "--areas", saved, "--out", out, "--no-pictures")
    assert result.exit_code == 0, result.output
    rows = measures(out)
    band = float(rows["margin", "design_to_scan"]["area_mm2"])
    length = json.loads(call("areas", files[0], "--json").stdout)["margin_line"]["length_mm"]
    assert band == pytest.approx(2 * 0.5 * length, rel=0.1)
    assert ("contact_mesial", "design_to_scan") in rows


def test_areas_of_another_design_are_refused(files, tmp_path):
    saved = tmp_path / "areas.json"
    call("areas", files[0], "--out", saved)
    result = check(files[1], files[1], "--areas", saved, "--json")
    assert result.exit_code == 1
    assert "areas.json" in result.output


def test_inspect_reports_health(files):
    result = call("inspect", files[0], "--json")
    document = json.loads(result.stdout)
    assert document["health"]["closed"] is True
    assert call("inspect", files[0]).exit_code == 0


@pytest.mark.skipif(sys.platform != "linux", reason="names are any bytes there only")
def test_a_name_that_is_not_utf_8_goes_all_the_way(files, tmp_path):
    """Shown and written readably by every command; the terminal and the files are UTF-8."""
    odd = os.fsdecode(os.fsencode(tmp_path) + b"/cr\xffown.stl")
    Path(odd).write_bytes(files[1].read_bytes())
    for arguments in (["inspect", odd], ["inspect", odd, "--json"], ["areas", odd, "--json"]):
        result = call(*arguments)
        assert result.exit_code == 0, result.output
        assert r"cr\xffown.stl" in result.output.replace(r"\\", "\\")
    out = tmp_path / "out"
    result = check(files[0], odd, "--out", out, "--no-pictures")
    assert result.exit_code == 0, result.output
    assert r"cr\xffown.stl" in result.output
    document = json.loads((out / "check.json").read_text(encoding="utf-8"))
    assert document["scan"]["name"] == document["scan"]["file"]["path"] == r"cr\xffown.stl"
    assert r"cr\xffown.stl" in (out / "check.html").read_text(encoding="utf-8")
    result = call("inspect", odd + "x")
    assert (result.exit_code, r"cr\xffown.stlx: It cannot be read" in result.output) == (1, True)


def test_inspect_tells_of_two_copies_that_overlap(crown, tmp_path):
    copy = crown.mesh.vertices + np.array([0.02, 0.03, 0.04])
    vertices = np.concatenate([crown.mesh.vertices, copy])
    faces = np.concatenate([crown.mesh.faces, crown.mesh.faces + len(copy)])
    both = write_mesh(tmp_path / "both.stl", TriangleMesh(vertices, faces))
    document = json.loads(call("inspect", both, "--json").stdout, parse_constant=pytest.fail)
    (overlap,) = document["health"]["overlapping_pieces"]
    assert overlap["volume_mm3"] == pytest.approx(crown.mesh.volume_mm3, rel=0.1)
    layers = document["health"]["double_layers"]
    # Sheets of the same shape lie at most the shift apart, but for what they bend in between.
    shift_um = 1e3 * np.linalg.norm([0.02, 0.03, 0.04])
    assert max(layer["distance_um"] for layer in layers) < shift_um
    assert sum(layer["area_mm2"] for layer in layers) > 0.8 * crown.mesh.area_mm2
    assert document["self_intersections"]["pairs"] > 100
    assert len(document["self_intersections"]["place_mm"]) == 3
    text = " ".join(call("inspect", both).output.split())
    assert "1 pair of overlapping pieces." in text
    assert "double layer" in text
    assert f"{document['self_intersections']['pairs']:,} pairs of triangles pass through" in text
    assert re.search(r"around \([−\d., ]+\) mm", text)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["inspect", "nowhere.stl"], ["nowhere.stl"]),
        (["check", "DESIGN", "nowhere.stl"], ["nowhere.stl"]),
        (["check", "DESIGN", "SCAN", "--tolerance", "margin"], ["--tolerance", "margin=15"]),
        (["check", "DESIGN", "SCAN", "--tolerance", "margin=-3"], ["margin"]),
        (["check", "DESIGN", "SCAN", "--fit-areas", "roof"], ["roof", "occlusal"]),
        (["check", "DESIGN", "SCAN", "--start", "landmarks"], ["--landmarks FILE"]),
        (["check", "DESIGN", "SCAN", "--spacing", "0"], ["spacing"]),
        (["check", "DESIGN", "SCAN", "--search", "-1"], ["search"]),
        (["check", "DESIGN", "SCAN", "--mesial", "left"], ["mesial"]),
        (["check", "DESIGN", "SCAN", "--set", "colour=3"], ["colour", "fossa"]),
        (["areas", "DESIGN", "--set", "fossa_gap_mm=deep"], ["fossa_gap_mm"]),
    ],
)
def test_bad_input_gets_one_clear_message(files, arguments, words):
    replaced = {"DESIGN": files[0], "SCAN": files[1]}
    result = call(*(replaced.get(part, part) for part in arguments))
    assert result.exit_code == 1
    assert "Traceback" not in result.output
    assert result.output.startswith("Error:")
    for word in words:
        assert word in result.output


def test_landmarks_file_names_its_faulty_line(files, tmp_path):
    landmarks = tmp_path / "pairs.csv"
    landmarks.write_text("design_x,design_y,design_z,scan_x,scan_y,scan_z\n1,2,3,4,5,six\n")
    result = check(*files, "--start", "landmarks", "--landmarks", landmarks)
    assert result.exit_code == 1
    assert "Line 2" in result.output


@pytest.mark.skipif(os.name == "nt", reason="sends SIGINT")
@pytest.mark.parametrize("moments", [3, slow(9)])
def test_an_interrupt_leaves_no_half_written_file(files, tmp_path, moments):
    """Stop the program at some moments: what is there is whole, and nothing temporary stays."""
    command = [sys.executable, "-m", "cuspwise.standalone_core", "check", "--no-causes"]
    stopped = 0
    for wait in np.linspace(0.6, 3.0, moments):
        out = tmp_path / f"at_{wait:.2f}"
        process = subprocess.Popen(
            [*command, *map(str, files), "--out", str(out), "--no-pictures"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        time.sleep(wait)
        process.send_signal(signal.SIGINT)
        _, message = process.communicate(timeout=60)
        stopped += process.returncode == 130
        if process.returncode == 130:
            assert "Stopped" in message
        left = list(out.iterdir()) if out.is_dir() else []
        assert all(
            re.fullmatch(r"(README|[a-z_]+)\.(html|json|csv|ply)", file.name) for file in left
        )
        for file in left:
            if file.suffix == ".json":
                json.loads(file.read_text(encoding="utf-8"))
            if file.suffix == ".html":
                assert file.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert stopped, "no run was stopped in time: the test shows nothing"


def test_inputs_are_never_replaced(files, tmp_path):
    design = tmp_path / "design.stl"
    design.write_bytes(files[0].read_bytes())
    scan = tmp_path / "deviation_scan.ply"
    scan.write_bytes(b"a scan that is called like a result")
    for arguments in (
        ["areas", design, "--out", design],
        ["check", design, scan, "--out", tmp_path],
        ["check", design, scan, "--out", design],
    ):
        result = call(*arguments)
        assert result.exit_code == 1
        assert "--out" in result.output or "another name" in result.output
    assert design.read_bytes() == files[0].read_bytes()
    assert scan.read_bytes() == b"a scan that is called like a result"


@pytest.mark.parametrize("name", ["margin_profile.csv", "contacts.csv"])
def test_landmarks_are_not_replaced_or_taken_for_older_results(files, tmp_path, name):
    landmarks = tmp_path / name
    points = "".join(f"{row},{row}\n" for row in ("0,0,0", "1,0,0", "0,1,0"))
    landmarks.write_text(f"design_x,design_y,design_z,scan_x,scan_y,scan_z\n{points}")
    given = ["--start", "landmarks", "--landmarks", landmarks]
    result = check(*files, *given, "--out", tmp_path)
    assert result.exit_code == 1
    assert f"would replace {name}" in result.output
    assert list(tmp_path.iterdir()) == [landmarks]


def test_a_misspelt_tolerance_is_refused(files):
    """Taken silently, it would leave the margin to the default."""
    result = check(*files, "--tolerance", "margn=12", "--json")
    assert result.exit_code == 1
    assert "margn" in result.output
    assert "margin" in result.output


def test_settings_that_areas_from_a_file_would_ignore_are_refused(files, tmp_path):
    saved = tmp_path / "areas.json"
    assert call("areas", files[0], "--out", saved, "--margin-band", "0.5").exit_code == 0
    result = check(*files, "--areas", saved, "--margin-band", "0.3")
    assert result.exit_code == 1
    assert "--margin-band" in result.output
    result = check(*files, "--areas", saved, "--json")
    assert json.loads(result.stdout)["settings"]["areas"]["margin_band_mm"] == 0.5


def test_a_terminal_without_the_signs_still_shows_the_result(files, tmp_path):
    command = [sys.executable, "-m", "cuspwise.standalone_core", "inspect", str(files[0])]
    shown = subprocess.run(
        command, env={**os.environ, "PYTHONIOENCODING": "ascii"}, capture_output=True, check=True
    )
    assert b"11," in shown.stdout


@pytest.mark.parametrize(("options", "named"), [(["--spacing"], "--spacing"), ([], "spacing_mm")])
def test_a_setting_is_told_by_its_option_only_where_there_is_one(
    options: list[str], named: str
) -> None:
    def refuse(**_: object) -> None:
        raise SettingError("It is 0.", subject="spacing_mm", remedy="Give more.")

    command = click.Command(
        "measure",
        callback=guarded(refuse),
        params=[click.Option([o, "spacing_mm"]) for o in options],
    )
    result = CliRunner().invoke(command, [])
    assert result.exit_code == 1
    assert f"{named}: It is 0. Give more." in result.output
