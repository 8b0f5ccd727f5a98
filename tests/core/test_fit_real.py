"""Fit on a real tooth: an enamel cap has no intaglio; crowns made from the dentine sit on it.

Micro-CT of a human upper central incisor (shared meshes, GPL-2). Skipped where they are absent.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import MarginLine
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.deviation.margin_directions import directions_about
from cuspwise.standalone_core.errors import AreaError
from cuspwise.standalone_core.fit.crown import FitCrown, ready_crown_steps
from cuspwise.standalone_core.fit.die import FitDie
from cuspwise.standalone_core.fit.gap.gap_map import gap_map
from cuspwise.standalone_core.fit.gap.marginal import marginal_gap
from cuspwise.standalone_core.fit.seat.edge_cuts import usual_sag_mm
from cuspwise.standalone_core.fit.seat.pair import Pair
from cuspwise.standalone_core.fit.seat.result import Seat
from cuspwise.standalone_core.fit.seat.seat_crown import seat_crown_steps
from cuspwise.standalone_core.fit.seat.smooth_crown import smooth_crown
from cuspwise.standalone_core.fit.settings import GapSettings, SeatSettings
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.health import inspect_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.real_die import RealDie, real_die

SPACING_MM = 0.4


@pytest.fixture(scope="module")
def tooth(shared_meshes: Path) -> RealDie:
    return real_die(shared_meshes)


def ready(tooth: RealDie, cement_um: float, margin_um: float, *, freed: bool) -> FitCrown:
    crown = tooth.crown(cement_um, margin_um, freed=freed)
    areas = AreaSettings(insertion=tuple(tooth.axis))
    return run(ready_crown_steps(crown, areas, spacing_mm=SPACING_MM))


def die_of(tooth: RealDie) -> FitDie:
    line = MarginLine(tooth.finish_line_mm)
    return FitDie(tooth.mesh, SurfaceIndex(tooth.mesh), tooth.axis, line)


@pytest.mark.parametrize("name", ["incisor_enamel_cap.ply", "small_molar_cap.ply"])
def test_an_outer_surface_has_nothing_to_rest_on(shared_meshes: Path, name: str) -> None:
    cap = read_mesh(shared_meshes / "crowns" / name).mesh
    with pytest.raises(AreaError, match=r"no intaglio that could rest on a die.*open shell"):
        run(ready_crown_steps(cap, spacing_mm=SPACING_MM))


def test_the_crowns_made_are_sound(tooth: RealDie) -> None:
    for mesh in (tooth.mesh, tooth.crown(60.0, 30.0, freed=False)):
        health = inspect_mesh(mesh)
        assert health.closed
        assert not health.problems


@pytest.mark.parametrize(("cement_um", "margin_um"), [(50.0, 50.0), (60.0, 30.0)])
def test_intaglio_and_gap_are_found_as_made(
    tooth: RealDie, cement_um: float, margin_um: float
) -> None:
    crown = ready(tooth, cement_um, margin_um, freed=False)
    count = len(tooth.prepared.mesh.vertices)
    inside = tooth.prepared.height_mm > 0.0  # the rim's own vertices may go either way
    assert crown.intaglio[:count][inside].all()  # the inner surface's vertices come first
    assert not crown.intaglio[count : 2 * count].any()
    found = gap_map(crown, die_of(tooth), np.eye(4), GapSettings())
    # A vertex moved by δ along its normal is δ away at most; hollows and facets take some of it.
    parts = {area.area: area for area in found.areas}
    for name in ("occlusal", "axial"):
        assert cement_um - 1.0 < parts[name].p5_um <= parts[name].p95_um < cement_um + 0.01
    assert margin_um - 1.0 < parts["margin"].p5_um < margin_um + 0.01
    assert parts["whole"].coverage > 0.99
    made = 1e3 * tooth.space_mm(cement_um, margin_um)
    off = found.gap_um[:count] - made
    assert np.nanmedian(np.abs(off)) < 0.02
    assert np.nanquantile(np.abs(off), 0.95) < 1.0


@pytest.mark.parametrize(("cement_um", "margin_um"), [(50.0, 50.0), (60.0, 30.0)])
def test_the_edge_lies_off_the_finish_line_as_made(
    tooth: RealDie, cement_um: float, margin_um: float
) -> None:
    """The crown's edge is found on the crown, as a smooth line, where it was made as a jagged one.

    The line cuts its corners, of 0.1 to 0.2 mm sides, by some 20 µm; on average by 4 µm.
    """
    crown = ready(tooth, cement_um, margin_um, freed=False)
    directions = directions_about(tooth.axis, AreaSettings())
    found = marginal_gap(crown, die_of(tooth), np.eye(4), GapSettings(), directions)
    assert found.coverage == 1.0
    assert found.absolute_mean_um == pytest.approx(margin_um, abs=5.0)
    assert np.abs(found.absolute_um - margin_um).max() < 22.0


def least_gap_um(one: TriangleMesh, other: TriangleMesh) -> float:
    """Smallest distance of points along one surface's edges from the other, µm."""
    ends = one.vertices[one.graph.edges]
    points = [(1.0 - t) * ends[:, 0] + t * ends[:, 1] for t in (0.0, 0.25, 0.5, 0.75, 1.0)]
    found = SurfaceIndex(other).closest(np.concatenate(points), max_distance_mm=0.2)
    return 1e3 * float(found.distance_mm[found.found].min())


def load_drop_um(crown: FitCrown, die: FitDie, seat: Seat) -> float:
    """How far the middle of the intaglio's area, where the load acts, went down."""
    weights = crown.evaluation.weights_mm2 * crown.intaglio
    load = weights @ crown.evaluation.points / weights.sum()
    moved = seat.T_die_crown[:3, :3] @ load + seat.T_die_crown[:3, 3] - load
    return -1e3 * float(moved @ die.axis)


@pytest.mark.slow
@pytest.mark.parametrize(("cement_um", "margin_um"), [(50.0, 50.0), (60.0, 30.0)])
def test_the_crown_goes_at_least_as_deep_as_it_could_straight_down(
    tooth: RealDie, cement_um: float, margin_um: float
) -> None:
    """Where the load acts, it comes to rest lower than as made by the least gap of all, or more.

    No gap changes by more than the crown moves; so it may go straight down by the least of them
    without cutting in, and the rest is the lowest place of all that do not. The least gap is less
    than the offset, as facets over the incisal edge cut its curve short: some 20 of 50 µm.
    """
    crown = ready(tooth, cement_um, margin_um, freed=True)
    die = die_of(tooth)
    mesh = crown.evaluation.mesh
    inner = mesh.kept(crown.intaglio[mesh.faces].all(axis=1))
    least = min(least_gap_um(inner, tooth.mesh), least_gap_um(tooth.prepared.mesh, inner))
    made = np.eye(4)
    for is_scan in (False, True):
        steps = seat_crown_steps(crown, die, made, is_scan=is_scan, intended=made, with_play=False)
        seat = run(steps)
        assert seat.stop == "rests"
        drop = load_drop_um(crown, die, seat)
        assert drop > least - 0.1
        assert sum(spot.share for spot in seat.spots) == pytest.approx(1.0, abs=0.02)
        if is_scan:  # patches of 0.3 mm on the incisal edge: what they let cut in is told
            assert 1.0 < seat.overlap_um < 100.0
        else:
            assert drop < cement_um
            # No deeper than what triangles lie off the surface that they stand for.
            pair = Pair(smooth_crown(crown), die, "hard", made, SeatSettings())
            assert seat.overlap_um < 1e3 * usual_sag_mm(pair)
