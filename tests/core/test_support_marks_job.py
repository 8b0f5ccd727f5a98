"""Support marks in the whole job: the demo's stubs and gouges, areas files, reports, options."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.areas.files import areas_document, load_areas, save_areas
from cuspwise.standalone_core.areas.support_marks import SupportMark
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.cli.settings import read_mark
from cuspwise.standalone_core.demo.crown import DemoCrown
from cuspwise.standalone_core.demo.production import ProducedCrown, produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors
from cuspwise.standalone_core.demo.scenario import milled_errors
from cuspwise.standalone_core.deviation.support_marks import GOUGE, STUB, measure_marks
from cuspwise.standalone_core.deviation.verdict import doubt_about
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.check.terminal import check_view
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.crowns import demo_crown
from made.spots import cap_area_mm2, cap_volume_mm3
from rich.console import Console


def demo_spots(errors: ProductionErrors) -> tuple[DemoCrown, ProducedCrown, list[SupportMark]]:
    """The demo's design, a scan of it in place, and a mark 0.1 mm wider than each spot."""
    design = demo_crown(0.1)
    in_place = replace(errors, any_pose=False)
    produced = produce(design, in_place, edge_mm=0.1, rng=np.random.default_rng(8))
    marks = []
    for number, spot in enumerate(errors.spots):
        place = design.shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
        x, y, z = place.tolist()
        marks.append(SupportMark(str(number), (x, y, z), spot.radius_mm + 0.1, "sprue"))
    return design, produced, marks


@pytest.fixture(scope="module")
def milled() -> tuple[CheckResult, ProductionErrors]:
    """The demo's milled crown, a stub and a gouge, with 20 µm shrunk away besides."""
    errors = replace(milled_errors(), offset_um=-20.0)
    design, produced, marks = demo_spots(errors)
    settings = CheckSettings(
        superimpose=SuperimposeSettings(start="in_place", refine=False, look_for_rivals=False),
        marks=tuple(marks),
    )
    return check_meshes(design.mesh, produced.mesh, settings), errors


def test_the_demos_stub_and_gouge_come_out_as_they_were_made(
    milled: tuple[CheckResult, ProductionErrors],
) -> None:
    """Against the formula's height, area and volume; on a real mesh, with 2 µm scanner noise.

    Tolerances: noise at the peak up to 4 σ above, the 20 µm form error's change over half a
    millimetre and the mesh's chords (0.1 mm) below it: 8 µm. The area's edge moves by what
    8 µm is of the form's slope there: 15 % of the area, of which the volume has 10 %.
    """
    result, errors = milled
    assert [mark.verdict for mark in result.marks] == [STUB, GOUGE]
    for mark, spot in zip(result.marks, errors.spots, strict=True):
        assert mark.kind == "sprue"
        assert mark.coverage > 0.99
        assert mark.height_um == pytest.approx(spot.height_um, abs=8.0)
        assert mark.surroundings_um == pytest.approx(-20.0, abs=8.0)
        assert mark.peak_um == pytest.approx(mark.height_um + mark.surroundings_um)
        area = cap_area_mm2(spot.height_um, mark.band_um, spot.radius_mm)
        volume = cap_volume_mm3(spot.height_um, mark.band_um, spot.radius_mm)
        assert mark.area_mm2 == pytest.approx(area, rel=0.15)
        assert mark.volume_mm3 == pytest.approx(volume, rel=0.10)
        assert np.linalg.norm(np.subtract(mark.peak_mm, mark.centre_mm)) < 0.15


def test_marks_are_areas_and_go_with_areas_files(
    milled: tuple[CheckResult, ProductionErrors], tmp_path: Path
) -> None:
    result, _ = milled
    assert "supports" in result.area_set.areas
    row = result.measures_of("sprue: 0")
    assert row.max_um == pytest.approx(result.marks[0].peak_um)
    assert row.coverage == result.marks[0].coverage
    loaded = load_areas(save_areas(tmp_path / "areas.json", result.area_set), result.evaluation)
    again = measure_marks(result.design_to_scan, loaded)
    assert again == result.marks
    # By hand, as a place and a radius.
    document = areas_document(result.area_set)
    spot = result.settings.marks[1]
    entry = {"centre_mm": list(spot.centre_mm), "radius_mm": spot.radius_mm}
    document["areas"] = {"support: mine": entry}
    (tmp_path / "mine.json").write_text(json.dumps(document), encoding="utf-8")
    mine = load_areas(tmp_path / "mine.json", result.evaluation)
    points = result.area_set["sprue: 1"].points
    assert np.array_equal(mine["support: mine"].points, points)
    assert mine["support: mine"].origin == "file"


def test_report_tells_the_marks(
    milled: tuple[CheckResult, ProductionErrors], tmp_path: Path
) -> None:
    result, _ = milled
    written = write_check(result, tmp_path, pictures="no")
    assert tmp_path / "marks.csv" in written
    rows = list(csv.DictReader((tmp_path / "marks.csv").open(encoding="utf-8-sig")))
    assert [row["verdict"] for row in rows] == ["stub", "gouge"]
    stub = result.marks[0]
    assert float(rows[0]["height_um"]) == stub.height_um
    assert float(rows[1]["volume_mm3"]) < 0
    document = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert document["marks"][0]["height_um"] == stub.height_um
    assert document["settings"]["marks"][0]["name"] == "0"
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    assert "2 support marks: 1 stub, 1 gouge." in page
    assert stub.reason in page
    assert '<th scope="row">sprue: 0</th>' not in page  # no row among the areas
    console = Console(width=80, record=True, file=io.StringIO())
    console.print(check_view(result))
    said = console.export_text()
    assert "Support marks. 2 support marks: 1 stub, 1 gouge." in said
    assert f"+{stub.height_um:.1f}" in said
    # A check without marks in the same folder leaves none of them behind.
    write_check(replace(result, marks=()), tmp_path, pictures="no")
    assert not (tmp_path / "marks.csv").exists()


def test_a_doubtful_superimposition_judges_no_mark(
    milled: tuple[CheckResult, ProductionErrors],
) -> None:
    fit = milled[0].superimposition
    assert doubt_about(replace(fit, verdict="good"), 1.0) == ""
    assert "more than one position" in doubt_about(replace(fit, verdict="ambiguous"), 1.0)
    slow = replace(fit, verdict="not_converged", remaining_mm=1e-3)
    assert doubt_about(slow, 1.25) == ""
    assert "did not settle" in doubt_about(slow, 0.5)


def test_the_command_line_takes_marks() -> None:
    assert read_mark("lingual=1,-2.5,3,0.5") == SupportMark("lingual", (1, -2.5, 3), 0.5)
    assert read_mark(" a = 0, 0, 0, 1, sprue").kind == "sprue"
    for text in ("lingual", "a=1,2,3", "a=1,2,x,1", "a=1,2,3,1,support,5"):
        with pytest.raises(SettingError, match="is not a support mark"):
            read_mark(text)
    for text in ("=1,2,3,1", "a=1,2,3,0", "a=1,2,3,1,glue", "a=nan,2,3,1"):
        with pytest.raises(SettingError):
            read_mark(text)
