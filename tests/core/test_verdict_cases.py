"""Scans that a design's view alone would pass: their verdict, by cases of known size."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.areas.support_marks import SupportMark
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.demo.crown import DIRECTIONS
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.scans import (
    EDGE_MM,
    design,
    joined,
    sound_scan,
    with_flash,
    with_hole,
    with_layer,
    with_short_margin,
    with_stub,
)
from made.tiers import slow

SETTINGS = CheckSettings(
    spacing_mm=EDGE_MM,
    areas=AreaSettings(mesial_direction=tuple(DIRECTIONS.mesial)),
    # The scans lie where the design does, but for "moved": finding that is tested elsewhere.
    superimpose=SuperimposeSettings(start="in_place", look_for_rivals=False),
)
MARGIN_MM = 30.0  # length of the demo crown's margin line, to a few tenths


def checked(scan: TriangleMesh, settings: CheckSettings = SETTINGS) -> CheckResult:
    return check_meshes(design().mesh, scan, settings)


def verdicts(result: CheckResult) -> dict[str, str]:
    return {v.area: v.verdict for v in result.verdicts if np.isfinite(v.tolerance_um)}


@cache
def sound() -> CheckResult:
    return checked(sound_scan())


def test_a_sound_crown_is_within_and_has_no_unmatched_surface() -> None:
    assert set(verdicts(sound()).values()) == {"within"}
    assert sound().unmatched == ()
    assert not any(v.contradiction for v in sound().verdicts)


@pytest.mark.parametrize(
    ("height_mm", "share"),
    [
        (0.3, 1.0),
        (0.5, 0.25),
        slow(0.15, 1.0),
        slow(1.0, 0.1),
    ],
)
def test_flash_along_the_margin_is_outside_and_told(height_mm: float, share: float) -> None:
    """Its height less at most what the fit moves, its length, and its place on the rim."""
    result = checked(with_flash(sound_scan(), height_mm, share))
    margin = next(v for v in result.verdicts if v.area == "margin")
    assert margin.verdict == "outside"
    flash = next(patch for patch in result.patches if patch.unmatched)
    assert flash == result.patches[0]
    assert flash.seen_from == "scan"
    assert "margin" in flash.areas
    assert flash.peak_um == pytest.approx(1e3 * height_mm, rel=0.12, abs=20.0)
    assert flash.margin_mm == pytest.approx(share * MARGIN_MM, abs=1.2)
    away = np.linalg.norm(design().margin_line_mm - flash.peak_mm, axis=1).min()
    assert away == pytest.approx(height_mm, rel=0.12, abs=0.03)
    assert f"{flash.margin_mm:.1f} mm of the margin" in margin.reason


def test_the_design_alone_would_have_passed_the_flash() -> None:
    """The mean absolute deviation from the design stays within: only the scan's side shows it."""
    result = checked(with_flash(sound_scan(), 0.3, 1.0))
    assert result.measures_of("margin").mean_abs_um < 15.0
    back = result.measures_of("margin", "scan_to_design")
    assert back.unmatched_um == pytest.approx(300.0, abs=30.0)
    assert back.unmatched_mm2 > 5.0


def test_a_margin_short_by_150_um_on_a_third_is_outside_and_told() -> None:
    """Over the surface about a place less than 100 µm is missing in the mean: the edge tells."""
    result = checked(with_short_margin(sound_scan(edge_mm=0.1), 0.15, 1 / 3))
    margin = next(v for v in result.verdicts if v.area == "margin")
    assert margin.mean_abs_um < 15.0
    assert margin.verdict == "outside"
    assert result.margin_profile is not None
    found = result.margin_profile.summary
    assert found.missing_mm == pytest.approx(MARGIN_MM / 3, abs=0.6)
    assert found.missing_um == pytest.approx(-150.0, abs=10.0)  # the form error is of 6 µm
    assert f"up to {-found.missing_um:.0f} µm of material is missing" in margin.reason


@pytest.mark.parametrize(("radius_mm", "verdict"), [(1.2, "not_decidable"), (0.15, "within")])
def test_a_margin_is_not_decidable_where_a_piece_of_it_was_not_scanned(
    radius_mm: float, verdict: str
) -> None:
    """A chip may be there, and as short a piece that is missing would put the margin outside."""
    line = design().margin_line_mm
    result = checked(with_hole(sound_scan(), line[len(line) // 2], radius_mm))
    margin = next(v for v in result.verdicts if v.area == "margin")
    assert margin.coverage > 0.9
    assert margin.verdict == verdict
    assert result.margin_profile is not None
    found = result.margin_profile.summary
    # whole faces are left out, and about the hole's ends less than half of the surface counts
    assert 2 * radius_mm - 0.1 <= found.unseen_mm <= 2 * radius_mm + 2 * EDGE_MM
    told = f"The margin was not measured along {found.unseen_mm:.1f} of"
    assert (told in margin.reason) is (verdict == "not_decidable")


@pytest.mark.parametrize("apart_mm", [0.01, slow(0.03)])
def test_a_second_layer_near_the_first_decides_nothing(apart_mm: float) -> None:
    """Too near to stand out from noise and form error, but still two layers."""
    result = checked(with_layer(sound_scan(), apart_mm))
    assert set(verdicts(result).values()) == {"not_decidable"}
    assert result.verdicts[0].reason.startswith("The scan has two layers of surface over 4")
    assert f"about {1e3 * apart_mm:.0f} µm apart" in result.verdicts[0].reason


@pytest.mark.parametrize("apart_mm", [0.08, slow(0.3)])
def test_a_second_layer_decides_nothing(apart_mm: float) -> None:
    result = checked(with_layer(sound_scan(), apart_mm))
    assert set(verdicts(result).values()) == {"not_decidable"}
    piece = result.unmatched[0]
    assert piece.loose
    assert piece.height_um == pytest.approx(1e3 * apart_mm, abs=25.0)
    crown = float(sound_scan().face_areas.sum())
    assert piece.area_mm2 == pytest.approx(crown, rel=0.1)
    assert result.measures_of("whole").mean_abs_um < 8.0


def test_a_layer_over_one_place_leaves_the_rest_decidable() -> None:
    scan = sound_scan()
    on_top = scan.vertices @ design().insertion > 4.0
    result = checked(with_layer(scan, 0.08, on_top))
    assert verdicts(result) == {
        "whole": "not_decidable",
        "occlusal": "not_decidable",
        "margin": "within",
    }


def test_a_chip_in_the_margin_under_a_skin_decides_nothing_there() -> None:
    """A floor 0.25 mm deep over about 2 mm², and surface over it where the design is."""
    scan, line = sound_scan(), design().margin_line_mm
    middle = line[0] + 0.5 * design().insertion
    outside = scan.vertex_normals @ (middle - line.mean(axis=0)) > 0.5
    chip = outside & (np.linalg.norm(scan.vertices - middle, axis=1) < 0.9)
    result = checked(with_layer(scan, -0.25, chip))
    assert verdicts(result)["margin"] == "not_decidable"
    (margin,) = (v for v in result.verdicts if v.area == "margin")
    assert margin.reason.startswith("The scan has two layers of surface over")
    assert result.measures_of("margin").mean_abs_um < 15.0


def post(scan: TriangleMesh, lean: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """A place in the middle of the lingual wall, and the direction of a post that leans."""
    crown = design()
    lingual = -crown.buccal
    inner = np.abs((scan.vertices - scan.vertices.mean(axis=0)) @ crown.mesial) < 0.3
    height = np.abs(scan.vertices @ crown.insertion - 3.0) < 0.3
    place = scan.vertices[inner & height]
    at = place[np.argmax(place @ lingual)]
    return at, np.cos(lean) * lingual + np.sin(lean) * crown.insertion


@pytest.mark.parametrize("lean_deg", [0.0, slow(40.0)])
def test_a_post_is_outside_unless_a_support_mark_holds_it(lean_deg: float) -> None:
    at, along = post(sound_scan(), np.radians(lean_deg))
    scan = with_stub(sound_scan(), at, along, 0.6, 0.25)
    result = checked(scan)
    assert verdicts(result)["whole"] == "outside"
    assert result.unmatched[0].height_um > 300.0
    mark = SupportMark("lingual", tuple(at.tolist()), 0.9)
    marked = checked(scan, replace(SETTINGS, marks=(mark,)))
    assert marked.unmatched == ()
    assert verdicts(marked)["whole"] == "within"
    assert marked.measures_of("whole", "scan_to_design").unmatched_mm2 == 0.0


@pytest.mark.slow
def test_a_neighbour_left_in_the_scan_decides_nothing_where_it_stands() -> None:
    """Another crown, 0.3 mm away: it also pulls at the best fit, so no area can be within."""
    crown, scan = design(), sound_scan()
    width = np.ptp(scan.vertices @ crown.mesial)
    neighbour = TriangleMesh(scan.vertices + (width + 0.3) * crown.mesial, scan.faces)
    result = checked(joined(scan, neighbour))
    assert "within" not in verdicts(result).values()
    assert result.unmatched[0].loose
    assert result.unmatched[0].beyond_search


TURNED = np.array([[0.0, -1, 0, 3], [1, 0, 0, 2], [0, 0, 1, 5], [0, 0, 0, 1]])


@pytest.mark.parametrize("form", ["itself", "moved", "single precision", "a part"])
def test_the_design_in_place_of_a_scan_decides_nothing(form: str) -> None:
    mesh = design().mesh
    if form == "moved":
        mesh = mesh.moved(TURNED)
    if form == "single precision":
        moved = mesh.moved(TURNED).vertices.astype(np.float32).astype(np.float64)
        mesh = TriangleMesh(moved, mesh.faces)
    if form == "a part":
        mesh = mesh.kept((mesh.vertices @ design().insertion)[mesh.faces].min(axis=1) > 0.5)
    anywhere = replace(SETTINGS, superimpose=SuperimposeSettings())
    result = checked(mesh, SETTINGS if form == "a part" else anywhere)
    assert set(verdicts(result).values()) == {"not_decidable"}
    assert result.measures_of("whole").mean_abs_um < 0.01
    assert any("the design itself (or a copy of it)" in text for text in result.warnings)


def test_a_crown_without_errors_meshed_anew_is_a_scan() -> None:
    scan = produce(design(), ProductionErrors(), edge_mm=EDGE_MM, rng=np.random.default_rng(3))
    assert set(verdicts(checked(scan.mesh)).values()) == {"within"}
