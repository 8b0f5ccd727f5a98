"""The seat that a scan of the seated crown shows, against where the demo crown was put."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.demo.die import DemoDie, demo_die
from cuspwise.standalone_core.demo.production_errors import ScannerNoise
from cuspwise.standalone_core.demo.seated_scan import SeatedScan, seated_scan
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.errors import SuperimpositionError
from cuspwise.standalone_core.fit.crown import FitCrown, ready_crown_steps
from cuspwise.standalone_core.fit.die import FitDie
from cuspwise.standalone_core.fit.result import TripleScan
from cuspwise.standalone_core.fit.seat.result import Seat
from cuspwise.standalone_core.fit.seat.seat_crown import seat_crown_steps
from cuspwise.standalone_core.fit.settings import SeatSettings
from cuspwise.standalone_core.fit.triple_scan import triple_scan_steps
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.surface.closest import SurfaceIndex

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class Pair:
    """The demo crown and its die, and both made ready."""

    crown: DemoCrown
    die: DemoDie
    fit_crown: FitCrown
    fit_die: FitDie


def pair(edge_mm: float) -> Pair:
    crown = demo_crown(edge_mm)
    die = demo_die(crown, margin_um=0.0, edge_mm=edge_mm)
    fit_die = FitDie(die.mesh, SurfaceIndex(die.mesh), die.insertion)
    return Pair(crown, die, run(ready_crown_steps(crown.mesh, spacing_mm=edge_mm)), fit_die)


@pytest.fixture(scope="module")
def coarse() -> Pair:
    return pair(0.2)


@pytest.fixture(scope="module")
def fine() -> Pair:
    return pair(0.1)


def lifted(up_um: float, aside_um: float = 0.0) -> np.ndarray:
    seat = np.eye(4)
    seat[:3, 3] = 1e-3 * aside_um, 0.0, 1e-3 * up_um
    return seat


def virtual(seat: np.ndarray) -> Seat:
    """A computed seat of which only the place matters."""
    nothing = float("nan")
    return Seat(seat, "rests", "hard", (), 0.0, 0.0, 0.0, 0.0, (), nothing, 1, True, SeatSettings())


def apart_um(pair: Pair, one: np.ndarray, other: np.ndarray) -> float:
    """Largest distance between the two places of a point of the intaglio."""
    points = pair.crown.mesh.vertices[pair.crown.s < 0.0]
    shift = points @ (one - other)[:3, :3].T + (one - other)[:3, 3]
    return 1e3 * float(np.linalg.norm(shift, axis=1).max())


@pytest.fixture(scope="module")
def scanned(coarse: Pair) -> SeatedScan:
    """A crown that sits 80 µm too high and 20 µm aside, scanned in any pose."""
    return seated_scan(coarse.crown, coarse.die, lifted(80.0, 20.0), edge_mm=0.24)


@pytest.fixture(scope="module")
def found(coarse: Pair, scanned: SeatedScan) -> TripleScan:
    steps = triple_scan_steps(
        coarse.fit_crown, coarse.fit_die, scanned.mesh, virtual=virtual(lifted(0.0))
    )
    return run(steps)


def test_it_finds_where_the_crown_was_put(coarse, found):
    # A facet of edge L on a cylinder of radius R sags by (1/2R) L²/8 on average: 0.5 µm on the
    # root. It holds the die along its axis by its taper alone, about 1 in 8; the crown has half
    # of that and is held by its roof.
    sag_um = 1e3 * 0.2**2 / 8.0 / (2.0 * 4.5)
    assert apart_um(coarse, found.T_die_crown, lifted(80.0, 20.0)) < 8.0 * sag_um + 4.0
    assert found.crown_rms_um < 3.0
    assert found.die_rms_um < 2.0
    assert found.warnings == ()


def test_the_virtual_seat_is_told_against_it(coarse, found):
    # The virtual seat was put 80 µm deeper and 20 µm aside: √(80² + 20²) = 82.5 µm.
    off = apart_um(coarse, found.T_die_crown, lifted(80.0, 20.0))
    assert found.virtual_above_um == pytest.approx(-80.0, abs=off)
    assert found.virtual_apart_um == pytest.approx(82.46, abs=off)


def test_on_noise_free_surfaces_it_agrees_with_the_virtual_seat_within_3_um(fine):
    """The design rests where it was designed; both ways to its seat are told against that."""
    placed = fine.fit_crown, fine.fit_die
    start = lifted(500.0)
    rest = run(seat_crown_steps(*placed, start, is_scan=False, intended=np.eye(4), with_play=False))
    scan = seated_scan(fine.crown, fine.die, np.eye(4), edge_mm=0.12)
    found = run(triple_scan_steps(*placed, scan.mesh, virtual=rest))
    assert apart_um(fine, found.T_die_crown, np.eye(4)) < 3.0
    assert abs(found.virtual_above_um) < 3.0
    assert found.virtual_apart_um < 5.0  # what the seat of a mesh of 0.1 mm may be off


def test_noise_does_not_lead_it_astray_though_the_die_is_searched(coarse):
    """Least squares of some 10,000 points with 5 µm of noise: far less than that is left."""
    noise = ScannerNoise(sigma_um=5.0)
    scan = seated_scan(coarse.crown, coarse.die, lifted(35.0), edge_mm=0.2, noise=noise)
    found = run(triple_scan_steps(coarse.fit_crown, coarse.fit_die, scan.mesh))
    assert apart_um(coarse, found.T_die_crown, lifted(35.0)) < 10.0
    assert np.isnan(found.virtual_above_um)  # there is none to compare with
    assert np.isnan(found.virtual_apart_um)


def test_another_crown_is_refused(coarse):
    other = demo_crown(0.2, CrownShape(cusp_count=4, roof_drop_mm=1.2))
    scan = seated_scan(other, coarse.die, lifted(0.0), edge_mm=0.24)
    wider = TriangleMesh(1.07 * scan.mesh.vertices, scan.mesh.faces, "another one")
    with pytest.raises(SuperimpositionError, match="cannot be laid on the crown"):
        run(triple_scan_steps(coarse.fit_crown, coarse.fit_die, wider, start=np.eye(4)))


def test_a_scan_without_the_die_is_refused(coarse, scanned):
    crown_alone = scanned.mesh.graph.piece_of_face == 0
    with pytest.raises(SuperimpositionError, match=r"shows only .* mm² of the die"):
        run(
            triple_scan_steps(
                coarse.fit_crown, coarse.fit_die, scanned.mesh.kept(crown_alone), start=np.eye(4)
            )
        )


def test_a_wrong_start_is_refused(coarse, scanned):
    away = lifted(0.0, 30_000.0)
    with pytest.raises(SuperimpositionError, match="of the die"):
        run(triple_scan_steps(coarse.fit_crown, coarse.fit_die, scanned.mesh, start=away))
