"""The files of a check: tables, JSON, coloured surfaces, the page, and writing them safely."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.deviation.field import NOT_MUTUAL, STATUS_WORDS
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.intersections import self_intersections
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.records import plain
from cuspwise.standalone_core.report.check.document import check_document
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.check.page import TEMPLATES
from cuspwise.standalone_core.report.check.sentences import headline, patch_line
from cuspwise.standalone_core.report.check.tables import (
    PATCH_COLUMNS,
    measures_csv,
    patches_csv,
)
from cuspwise.standalone_core.report.check.terminal import (
    areas_table,
    check_view,
    health_document,
    health_table,
)
from cuspwise.standalone_core.report.drawing.deviation_colours import (
    deviation_colours,
    refused_colour,
    refused_hex,
    unmeasured_colour,
)
from cuspwise.standalone_core.report.drawing.histogram import area_histograms
from cuspwise.standalone_core.shares import share_words
from made.check_results import Reader, make_result
from made.colour_spaces import srgb_to_linear
from rich.console import Console

HOSTILE = "<script>alert('x')</script>\"&zähne·牙.stl"

# The columns asked for; written out here so that a change of the code shows.
COLUMNS = [
    *("area", "direction", "n_points", "area_mm2", "coverage_share", "mean_um", "sd_um"),
    "mean_abs_um",
    *("rms_um", "median_um", "p10_um", "p90_um", "half_p90_p10_um", "mean_positive_um"),
    *("mean_negative_um", "min_um", "max_um", "within_tolerance_share", "tolerance_um"),
    "verdict",
    *("unmatched_mm2", "unmatched_um"),
]
OWN_NAMES = {
    "n_points": "n",
    "coverage_share": "coverage",
    "within_tolerance_share": "within_tolerance",
}


@pytest.fixture(scope="module")
def result() -> CheckResult:
    return make_result()


@pytest.fixture(scope="module")
def written(result: CheckResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("out") / "new" / "check"
    write_check(result, folder, pictures="no")
    return folder


def test_measures_csv_has_the_agreed_columns_and_numbers(result: CheckResult) -> None:
    text = measures_csv(result.measures)
    rows = list(csv.DictReader(io.StringIO(text)))
    assert text.splitlines()[0].split(",") == COLUMNS
    assert [(row["area"], row["direction"]) for row in rows] == [
        (m.area, m.direction) for m in result.measures
    ]
    for row, measures in zip(rows, result.measures, strict=True):
        for column in COLUMNS[2:19]:
            value = getattr(measures, OWN_NAMES.get(column, column))
            if np.isnan(value):
                assert row[column] == ""
            else:
                assert float(row[column]) == value
        assert row["verdict"] == measures.verdict


def test_patches_csv_tells_the_cap(result: CheckResult) -> None:
    rows = list(csv.DictReader(io.StringIO(patches_csv(result.patches))))
    assert tuple(rows[0]) == PATCH_COLUMNS
    assert len(rows) == 1
    cap = rows[0]
    assert (cap["rank"], cap["patch_kind"]) == ("1", "excess")
    assert float(cap["peak_um"]) == pytest.approx(60.0, abs=1e-3)
    # Volume = area × height for an even excess.
    assert float(cap["volume_mm3"]) == pytest.approx(float(cap["area_mm2"]) * 0.060, rel=1e-3)
    assert "chewing" in cap["areas"].split("; ")


def test_json_is_strict_and_says_where_the_numbers_come_from(
    result: CheckResult, written: Path
) -> None:
    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is not JSON")

    text = (written / "check.json").read_text(encoding="utf-8")
    document = json.loads(text, parse_constant=refuse)
    assert document["schema_version"] == 2
    assert document["T_design_scan"] == np.eye(4).tolist()
    assert document["design"]["checksum"] == result.design.mesh.checksum
    assert document["settings"]["tolerances"]["tolerances_um"]["margin"] == 15.0
    assert document["settings"]["deviation"]["search_mm"] == 1.0
    assert document["superimposition"]["verdict"] == "good"
    assert document["missing_areas"] == dict(result.area_set.missing)
    assert document["versions"] == {"cuspwise": "0"}
    empty = [m for m in document["measures"] if m["area"] == "intaglio"]
    assert empty[0]["mean_um"] is None
    assert empty[0]["coverage"] == 0.0
    assert document["measures"][0]["percentiles"] == "area-weighted Hazen"
    assert "written" not in check_document(result)


def test_plain_leaves_nothing_that_json_cannot_hold() -> None:
    values = {"a": np.float64("nan"), "b": np.arange(2), "c": (Path("x/y.stl"), np.inf), "d": True}
    assert plain(values) == {"a": None, "b": [0, 1], "c": ["y.stl", None], "d": True}


def test_coloured_surfaces_hold_deviation_and_map(result: CheckResult, written: Path) -> None:
    loaded = trimesh.load(written / "deviation_design.ply", process=False)
    values = loaded.metadata["_ply_raw"]["vertex"]["data"]["deviation_um"]
    expected = 1e3 * result.design_to_scan.deviation_mm
    np.testing.assert_allclose(values, expected, rtol=1e-6)  # float32; NaN where NaN
    np.testing.assert_allclose(loaded.vertices, result.evaluation.points, atol=1e-6)
    assert len(loaded.faces) == len(result.evaluation.mesh)
    colours = np.asarray(loaded.visual.vertex_colors)[:, :3]
    assert (colours[np.isnan(expected)] == unmeasured_colour()).all()
    # The cap of 60 µm is more than 2 % of the surface, so the limit takes it in.
    limit_mm = 0.060
    np.testing.assert_array_equal(
        colours, deviation_colours(result.design_to_scan.deviation_mm, limit_mm)
    )
    assert read_mesh(written / "deviation_scan.ply", unit="mm").mesh.area_mm2 == pytest.approx(
        result.scan_in_place.mesh.area_mm2, rel=1e-5
    )


def test_points_without_a_mutual_match_are_told_apart(result: CheckResult, tmp_path: Path) -> None:
    field = result.design_to_scan
    refused = np.arange(len(field)) % 4 == 0
    status = np.where(refused, NOT_MUTUAL, field.status).astype(np.uint8)
    deviation = np.where(refused, np.nan, field.deviation_mm)
    changed = replace(field, status=status, deviation_mm=deviation)
    write_check(replace(result, design_to_scan=changed), tmp_path / "out", pictures="no")
    loaded = trimesh.load(tmp_path / "out" / "deviation_design.ply", process=False)
    colours = np.asarray(loaded.visual.vertex_colors)[:, :3]
    np.testing.assert_array_equal((colours == refused_colour()).all(axis=1), refused)
    page = (tmp_path / "out" / "check.html").read_text()
    share = field.weights_mm2[refused].sum() / field.weights_mm2.sum()
    assert f"{100 * share:.1f} % without a mutual match (darker)" in page
    assert refused_hex() in page
    document = json.loads((tmp_path / "out" / "check.json").read_text())
    shares = document["status_shares"]["design_to_scan"]
    assert shares[STATUS_WORDS[NOT_MUTUAL]] == pytest.approx(share)


def test_histogram_shares_are_areas(result: CheckResult) -> None:
    found = {h.area: h for h in area_histograms(result.design_to_scan, result.area_set, 50.0)}
    assert "intaglio" not in found  # nothing of it was measured
    for name, histogram in found.items():
        total = histogram.shares.sum() + histogram.below + histogram.above
        assert total == pytest.approx(1.0, abs=1e-12), name
    weights = result.design_to_scan.weights_mm2
    cap = weights[result.evaluation.points[:, 2] > 4.5].sum()
    counted = weights[result.design_to_scan.counted].sum()
    assert found["whole"].above == pytest.approx(cap / counted, rel=1e-9)
    # 20 µm lies in the class from 20 to 21.67 µm of 60 classes over ±50 µm.
    assert found["occlusal"].shares[42] == found["occlusal"].shares.max()


def test_page_is_whole_and_needs_nothing_else(result: CheckResult, written: Path) -> None:
    page = (written / "check.html").read_text(encoding="utf-8")
    reader = Reader(page)
    assert reader.opened == []
    assert not re.search(r"(?:src|href)\s*=\s*[\"'](?!data:)", page)
    assert "http://" not in page
    assert "https://" not in page
    assert "@import" not in page
    assert "url(" not in page
    assert not any(tag in {"script", "link", "iframe"} for tag, _ in reader.elements)
    assert not any(key.startswith("on") for _, attrs in reader.elements for key in attrs)


def test_page_has_contrast_in_light_and_dark() -> None:
    # WCAG 2.1, success criterion 1.4.3: at least 4.5 to 1 for text; relative luminance as there.
    def luminance(colour: str) -> float:
        linear = srgb_to_linear([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
        return float(linear @ [0.2126, 0.7152, 0.0722])

    css = (TEMPLATES / "check.css").read_text(encoding="utf-8")
    themes = re.findall(r":root \{(.*?)\}", css, flags=re.DOTALL)[:2]
    assert len(themes) == 2
    for theme in themes:
        named = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", theme))
        inks = [named[k] for k in ("ink", "soft", "within", "outside", "not_decidable")]
        for ink in inks:
            for ground in (named["paper"], named["card"]):
                light, dark = sorted((luminance(ink), luminance(ground)), reverse=True)
                assert (light + 0.05) / (dark + 0.05) >= 4.5, (ink, ground)


def test_page_answers_first_and_warns(result: CheckResult, written: Path) -> None:
    text = Reader((written / "check.html").read_text(encoding="utf-8")).text
    title = headline(result.verdicts).title
    assert title == "Outside tolerance: occlusal"
    assert text.index(title) < text.index("How far it is off")
    for said in (
        "not a medical device",
        "never replaces, the judgement of a licensed professional and local rules",
        "ceramic dust",
        "Patient names do not belong in file names",
        "ISO 5725-1",
        "area-weighted Hazen",
        "common practice, no source",
        "From design to scan",
        "From scan to design",
        "(Hausdorff): whole crown 60.0",
        "The occlusal area has no concave place.",
        "Coverage: only 0.0 % of intaglio was measured.",
    ):
        assert said in text, said
    for row in result.measures:
        if np.isfinite(row.mean_abs_um):
            assert f"{row.mean_abs_um:.1f}" in text


def test_hostile_names_stay_text(tmp_path: Path) -> None:
    hostile = make_result(name=HOSTILE, area="<img src=x onerror=alert(1)>")
    write_check(hostile, tmp_path, pictures="no")
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    reader = Reader(page)
    assert reader.opened == []
    assert HOSTILE in reader.text
    assert not any(tag in {"script", "img"} for tag, _ in reader.elements)
    rows = list(
        csv.reader(io.StringIO((tmp_path / "measures.csv").read_text(encoding="utf-8-sig")))
    )
    assert {len(row) for row in rows} == {22}
    assert (
        json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))["scan"]["name"] == HOSTILE
    )


def test_terminal_fits_eighty_columns(result: CheckResult) -> None:
    console = Console(width=80, file=io.StringIO(), legacy_windows=False)
    console.print(check_view(result))
    console.print(areas_table(result.area_set))
    text = console.file.getvalue()
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 80
    assert "…" not in text  # nothing cut off
    row = next(r for r in result.measures if r.area == "margin")
    line = next(line for line in text.splitlines() if line.startswith("margin"))
    for value in (row.mean_abs_um, row.rms_um, row.half_p90_p10_um):
        assert f"{value:.1f}" in line
    assert "not a medical device" in text


def test_terminal_takes_names_as_they_are() -> None:
    console = Console(width=200, file=io.StringIO())
    console.print(check_view(make_result(name="[red]:tooth: scan[/red].stl", area="[b]x[/b]")))
    text = console.file.getvalue()
    assert "[red]:tooth: scan[/red].stl" in text
    assert "[b]x[/b]" in text


def test_health_is_told(shared_meshes: Path) -> None:
    mesh_file = read_mesh(next((shared_meshes / "nasty").glob("*.stl")))
    repair = repair_mesh(mesh_file.mesh)
    console = Console(width=80, file=io.StringIO())
    found = self_intersections(repair.mesh)
    console.print(health_table(mesh_file, repair, found))
    assert f"{repair.health.triangles:,}" in console.file.getvalue()
    json.dumps(health_document(mesh_file, repair, found), allow_nan=False)


def test_headline_is_decided_by_the_worst() -> None:
    result = make_result()
    first = result.verdicts[0]
    within = replace(first, area="whole", verdict="within")
    undecided = replace(first, area="margin", verdict="not_decidable")
    outside = replace(first, area="occlusal", verdict="outside")
    assert headline([within, undecided, outside]).title == "Outside tolerance: occlusal"
    assert headline([within, undecided]).title == "Not decidable: margin"
    mixed = headline([within, undecided, outside]).sentences
    assert [text.split(":")[0] for text in mixed] == [
        "Occlusal",
        "Margin, undecided",
        "Within tolerance",
    ]
    assert headline([within]).title == "Within tolerance: whole crown"
    assert headline([replace(first, verdict="no_tolerance")]).verdict == "no_tolerance"
    assert share_words(0.89997) == "89.9 %"


def test_peaks_are_told_beside_the_means(result: CheckResult) -> None:
    assert patch_line(result) == (
        "One patch lies beyond ±25 µm; the worst reaches +60 µm (occlusal, chewing)."
    )
    assert patch_line(replace(result, patches=())) == "No patch lies beyond ±25 µm."
    free = replace(result.settings, tolerances=Tolerances(tolerances_um={}))
    assert "no tolerance" in patch_line(replace(result, settings=free))
