"""The demo study's die: which crowns go down, which does not and where it binds, by formula."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.demo.crown import DIRECTIONS, demo_crown
from cuspwise.standalone_core.demo.die_shape import DieShape
from cuspwise.standalone_core.demo.examiners import LIMITS_UM, sizes_to_feel
from cuspwise.standalone_core.demo.first_order_seat import first_order_height
from cuspwise.standalone_core.demo.produced import ProducedSurface
from cuspwise.standalone_core.demo.production_errors import ProductionErrors
from cuspwise.standalone_core.demo.quadrature import Nodes, surface_nodes
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.demo.study_files import (
    DIE,
    LEAST_OCCLUSAL_MM,
    MOST_ABOVE_UM,
    NEIGHBOURS,
    SPACING_MM,
    study_text,
)
from cuspwise.standalone_core.demo.study_scenario import (
    CEMENT_UM,
    FITTED,
    MARGIN_UM,
    SPOILED,
    DemoScan,
    StudyCase,
    scans_of_crowns,
)
from cuspwise.standalone_core.demo.true_areas import TrueAreas
from cuspwise.standalone_core.errors import CuspwiseError
from cuspwise.standalone_core.fit.check_fit import check_fit_of_steps
from cuspwise.standalone_core.fit.inputs import inputs_of
from cuspwise.standalone_core.fit.result import FitResult
from cuspwise.standalone_core.fit.settings import FitSettings, SeatSettings
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.file.read import read_plan
from cuspwise.standalone_core.superimpose.rigid import inverse
from oracle.true_seat import true_seat

BENT_DEG = 268.0
"""Where the margin of the spoiled crown was bent inward by 150 µm."""


@pytest.fixture(scope="module")
def shape() -> CrownShape:
    return CrownShape()


@pytest.fixture(scope="module")
def die(shape: CrownShape) -> DieShape:
    return DieShape(shape, cement_um=CEMENT_UM, margin_um=MARGIN_UM)


def scan_of(crown: str) -> DemoScan:
    return next(scan for scan in scans_of_crowns() if scan.crown == crown)


def inside(shape: CrownShape, errors: ProductionErrors, nodes: Nodes) -> np.ndarray:
    """Where a crown's points end up, but for what only its outside has, which takes long."""
    fills = tuple(fill for fill in errors.fills if fill.side == "intaglio")
    surface = ProducedSurface(shape, replace(errors, fills=fills))
    return surface.points(nodes.theta, nodes.s)


# What is written


def write_plan(folder: Path, fit: str) -> Path:
    scans = [
        f"{way}/{number:02d}.stl" for way in ("milled", "upright", "tilted") for number in (1, 5)
    ]
    for name in ("design.stl", DIE, *NEIGHBOURS, "examiners.csv", "repeats.csv", *scans):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(name)
    (folder / "study.toml").write_text(study_text(fit), encoding="utf-8")
    return folder / "study.toml"


def test_one_crown_of_each_way_is_seated_or_all_or_none(tmp_path: Path) -> None:
    plan = read_plan(write_plan(tmp_path, "three"))
    assert plan.fit.crowns == FITTED
    assert SPOILED in FITTED
    assert {name.partition("/")[0] for name in FITTED} == {group.name for group in plan.groups}
    assert plan.fit.die == tmp_path / DIE
    assert [file.name for file in plan.fit.neighbours] == list(NEIGHBOURS)
    assert plan.fit.settings.seat.most_above_um == MOST_ABOVE_UM
    assert plan.fit.settings.gap.cement_space_um == CEMENT_UM
    assert plan.fit.settings.walls.least_occlusal_mm == LEAST_OCCLUSAL_MM
    assert read_plan(write_plan(tmp_path, "all")).fit.crowns == ()
    assert read_plan(write_plan(tmp_path, "none")).fit is None


def test_the_command_knows_no_other_choice(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["demo", "--fit", "two", "--out", str(tmp_path)])
    assert result.exit_code == 2
    assert "'three', 'all', 'none'" in result.output


# What is true


def test_all_crowns_go_down_but_the_spoiled_one(shape: CrownShape, die: DieShape) -> None:
    nodes = surface_nodes(shape, 0.4)
    height = {
        scan.crown: 1e3 * first_order_height(inside(shape, scan.errors, nodes), die, nodes)
        for scan in scans_of_crowns()
    }
    assert height.pop(SPOILED) > 2.0 * MOST_ABOVE_UM
    assert max(height.values()) < 0.4 * MOST_ABOVE_UM


@pytest.mark.parametrize("space_um", [20.0, 60.0])
def test_to_first_order_an_even_space_is_what_a_design_goes_down_by(
    shape: CrownShape, space_um: float
) -> None:
    """And a crown that has grown inside by 15 µm goes down by that much less: the gap of parallel
    surfaces changes by v·n under a motion v, and the roof has places with n along the path."""
    die = DieShape(shape, cement_um=space_um, margin_um=space_um)
    nodes = surface_nodes(shape, 0.3)
    for grown in (0.0, 15.0):
        produced = inside(shape, ProductionErrors(offset_um=grown), nodes)
        height = 1e3 * first_order_height(produced, die, nodes)
        assert height == pytest.approx(grown - space_um, abs=0.5)


def test_a_crown_that_cannot_go_on_at_all_is_refused(shape: CrownShape, die: DieShape) -> None:
    nodes = surface_nodes(shape, 0.5)
    much = inside(shape, ProductionErrors(offset_um=900.0), nodes)
    with pytest.raises(CuspwiseError, match="does not go on"):
        first_order_height(much, die, nodes)


@pytest.mark.slow  # the true areas take seconds
def test_what_examiners_feel_of_the_seat_is_how_high_it_is(
    shape: CrownShape, die: DieShape
) -> None:
    """Upright ones seat fully, tilted ones after adjustment, the spoiled one not at all."""
    some = ("upright/01", "tilted/05", SPOILED)
    surfaces = {
        name: ProducedSurface(shape, replace(scan_of(name).errors, fills=())) for name in some
    }
    felt = sizes_to_feel(surfaces, TrueAreas(shape), die)
    limits = LIMITS_UM["seating"]
    scores = {crown: np.searchsorted(limits, sizes["seating"]) for crown, sizes in felt.items()}
    assert scores == {"upright/01": 0, "tilted/05": 1, SPOILED: 2}


# What is found


def fitted(crown: str, edge_mm: float) -> tuple[StudyCase, FitResult, np.ndarray]:
    """A crown's fit, as in the demo study, and the way from its scan to the design's frame."""
    scan = scan_of(crown)
    case = StudyCase(demo_crown(edge_mm), (scan,), (), edge_mm)
    made = case.produced(scan)
    areas = AreaSettings(
        insertion=tuple(DIRECTIONS.insertion), mesial_direction=tuple(DIRECTIONS.mesial)
    )
    settings = FitSettings(
        spacing_mm=max(SPACING_MM, edge_mm),
        areas=areas,
        seat=SeatSettings(most_above_um=MOST_ABOVE_UM),
    )
    inputs = inputs_of(made.mesh, case.die().mesh, design=case.design.mesh)
    return case, run(check_fit_of_steps(inputs, settings)), made.T_true_design_scan


@pytest.mark.slow
@pytest.mark.parametrize("crown", [SPOILED, "tilted/05"])
def test_the_seat_is_that_of_the_formulae(crown: str) -> None:
    """By linear programmes on the exact gaps of both formulae, held by means over equal discs.

    Heights from where the crown was designed to sit; the intended seat is that of the scan as it
    lies on the design, up to 8 µm off for a crown that has shrunk.
    """
    case, fit, to_design = fitted(crown, 0.1)
    settings = fit.seat.settings
    truth = true_seat(
        case.surface(case.scans[0]),
        case.die(),
        spacing_mm=0.2,
        disc_mm=settings.patch_mm,
        left_out_mm=settings.margin_left_out_mm,
    )
    middle = case.design.margin_line_mm.mean(axis=0)
    T_die_design = fit.seat.T_die_crown @ inverse(to_design)
    height_um = 1e3 * float((T_die_design[:3, :3] @ middle + T_die_design[:3, 3] - middle)[2])
    assert height_um == pytest.approx(truth.above_um, abs=3.0)
    assert fit.seat.stop == ("cannot_go_on" if crown == SPOILED else "rests")
    if crown == SPOILED:
        _check_where_it_binds(fit, truth.places_mm, truth.share, to_design)


def _check_where_it_binds(
    fit: FitResult, places_mm: np.ndarray, share: np.ndarray, to_design: np.ndarray
) -> None:
    """At the bent margin, and across from it, in truth and as found; there it must be relieved."""
    spots = np.array([spot.crown_place_mm for spot in fit.seat.spots])
    found = spots @ to_design[:3, :3].T + to_design[:3, 3]
    carried = np.array([spot.share for spot in fit.seat.spots])
    for places, shares in ((places_mm, share), (found, carried)):
        angle = np.degrees(np.arctan2(places[:, 1], places[:, 0])) % 360.0
        bent, across = (np.abs(angle - deg) < 12.0 for deg in (BENT_DEG, BENT_DEG - 180.0))
        assert shares[bent].sum() > 0.4
        assert shares[across].sum() > 0.3
        assert (places[bent, 2] < 1.2).all()  # near the margin
    relief = fit.seat.relief
    deepest = to_design[:3, :3] @ relief.place_mm + to_design[:3, 3]
    assert abs(np.degrees(np.arctan2(deepest[1], deepest[0])) % 360.0 - BENT_DEG) < 15.0
    assert relief.above_intended_um < MOST_ABOVE_UM
