"""Seats that arithmetic knows, forces in equilibrium, play, patches, and the demo crown's die."""

from __future__ import annotations

import cuspwise
import igl
import numpy as np
import pytest
from cuspwise.standalone_core.demo.die import demo_die
from cuspwise.standalone_core.fit.seat.edge_cuts import edge_cuts, usual_sag_mm
from cuspwise.standalone_core.fit.seat.facets import Facets
from cuspwise.standalone_core.fit.seat.motion import placed, undone
from cuspwise.standalone_core.fit.seat.pair import Pair
from cuspwise.standalone_core.fit.seat.result import Seat
from cuspwise.standalone_core.fit.seat.seat_crown import seat_crown_steps, settled_steps
from cuspwise.standalone_core.fit.seat.seating import rest_steps
from cuspwise.standalone_core.fit.settings import SeatSettings
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from made.fit_shapes import (
    FitPair,
    cone_pair,
    demo_fit_crown,
    demo_fit_die,
    revolved,
    roof_first_pair,
    shoulder_pair,
)
from made.tiers import slow
from scipy.spatial.transform import Rotation

COARSE = {"sides": 90, "step_mm": 1.3}
FEW = {"sides": 36, "step_mm": 1.7}
PAIRS = {
    # More sides: over facets the surface is known to fourth order only, and 1 / sin 2° is 29.
    "cone of 2°": lambda: cone_pair(2.0, 0.03, sides=120, step_mm=1.7),
    "cone of 6°": lambda: cone_pair(6.0, 0.05, **COARSE),
    "cone of 12°": lambda: cone_pair(12.0, 0.08, **COARSE),
    "shoulder": lambda: shoulder_pair(**COARSE),
    "roof first": lambda: roof_first_pair(**COARSE),
}


def turned(angles_deg: tuple[float, float, float], shift: tuple, about: np.ndarray) -> np.ndarray:
    """A pose turned about x, y and z through a place, then shifted."""
    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_euler("xyz", angles_deg, degrees=True).as_matrix()
    pose[:3, 3] = about - pose[:3, :3] @ about + shift
    return pose


def hard_pair(pair: FitPair, start: np.ndarray) -> Pair:
    return Pair(pair.crown, pair.die, "hard", start, SeatSettings())


def seated(pair: FitPair, start: np.ndarray, **more: object) -> Seat:
    more = {"is_scan": False, "with_play": False, **more}
    return run(seat_crown_steps(pair.crown, pair.die, start, **more))


def intended(pair: FitPair) -> np.ndarray:
    pose = np.eye(4)
    pose[2, 3] = -pair.drop_mm
    return pose


# The drops are arithmetic: gap / sin taper, the roof's gap, the height of the edge.
@pytest.mark.parametrize(
    ("name", "angles_deg", "shift"),
    [
        ("cone of 2°", (0, 0, 0), (0, 0, 0)),
        ("cone of 6°", (2, 0, 1), (0.2, 0, 0)),
        slow("cone of 12°", (0, 0, 0), (0, 0, 0)),
        ("shoulder", (1.5, -1, 0), (0, 0.1, 0)),
        ("roof first", (0, 0, 0), (0.02, 0, 0)),
        slow("cone of 2°", (6, 0, 3), (0.3, 0, 0.5)),
        slow("cone of 6°", (6, 0, 3), (0.3, 0, 0.5)),
        slow("cone of 12°", (-4, 4, 3), (0, 0.3, 0.5)),
        slow("shoulder", (6, 0, 3), (0.3, 0, 0.5)),
        slow("roof first", (3, -5, 3), (0.2, 0.2, 0.5)),
    ],
)
def test_crown_drops_to_its_seat(name: str, angles_deg: tuple, shift: tuple) -> None:
    pair = PAIRS[name]()
    start = turned(angles_deg, shift, np.array([0.0, 0.0, 3.0]))
    held = hard_pair(pair, start)
    rest = run(settled_steps(held, start))
    middle = np.zeros(3)
    assert rest.converged
    assert placed(rest.pose, middle)[2] == pytest.approx(-pair.drop_mm, abs=1e-5)  # 0.01 µm
    assert rest.deepest_mm < 1e-6  # 0.001 µm

    # In equilibrium with a load of 1 down the path, through the intaglio's middle.
    push = rest.force @ rest.contacts.direction
    moment = rest.force @ rest.contacts.moment
    load_at = placed(rest.pose, held.centre_mm)
    assert (rest.force > 0).all()
    assert push == pytest.approx([0, 0, 1], abs=1e-7)
    assert moment == pytest.approx(np.cross(load_at, [0, 0, 1]), abs=1e-6)


def test_gaps_of_a_pair_change_as_their_gradients_say() -> None:
    pair = cone_pair(**COARSE)
    start = turned((1.0, -0.5, 2.0), (0.01, 0.0, 0.4), np.array([0.0, 0.0, 3.0]))
    held = hard_pair(pair, start)
    before = held.gaps(start, 0.5)
    shift, turn = np.array([1e-6, -2e-6, 3e-6]), np.array([2e-7, -1e-7, 1e-7])
    motion = np.eye(4)
    motion[:3, :3], motion[:3, 3] = Rotation.from_rotvec(turn).as_matrix(), shift
    after = hard_pair(pair, start).gaps(motion @ start, 0.6, before.row)
    rows = np.searchsorted(after.row, before.row)
    said = before.direction @ shift + before.moment @ turn
    change = after.gap_mm[rows] - before.gap_mm
    near = np.abs(before.gap_mm) < 0.5
    # At sharp edges and from facet to facet gradients jump: there the change is in between.
    assert np.quantile(np.abs(change - said)[near], 0.9) < 2e-8


def test_points_far_from_the_die_are_measured_once() -> None:
    pair = cone_pair(**COARSE)
    held = hard_pair(pair, np.eye(4))
    held.gaps(np.eye(4), 0.01)
    once = sum(group.near.queries for group in held._groups)
    pose = np.eye(4)
    pose[2, 3] = -1e-4
    again = held.gaps(pose, 0.01)
    assert sum(group.near.queries for group in held._groups) - once <= len(again.row) + 50
    assert len(held.gaps(pose, 0.2).row) == len(hard_pair(pair, np.eye(4)).gaps(pose, 0.2).row)


def test_play_and_rocking() -> None:
    start = turned((0, 0, 0), (0.02, 0, -0.1), np.zeros(3))
    shoulder = seated(shoulder_pair(**FEW), start, with_play=True)
    across = np.array([each.across_um for each in shoulder.play])
    assert [each.towards for each in shoulder.play] == [
        "mesial",
        "buccal",
        "distal",
        "lingual",
    ]
    # 2 × 50 µm; elsewhere within a share of the facets' sag R (1 − cos 5°), 15 µm. In the middle.
    assert across[0] + across[2] == pytest.approx(100.0, abs=0.01)
    assert across == pytest.approx(np.full(4, 50.0), abs=1.0)
    assert shoulder.T_die_crown[:2, 3] == pytest.approx([0, 0], abs=5e-4)
    assert max(max(each.rise_um, each.drop_um) for each in shoulder.play) < 0.01
    assert shoulder.along_um == pytest.approx(5000.0, abs=0.01)  # the die's height over its edge


@pytest.mark.slow
def test_a_cone_neither_plays_nor_rocks() -> None:
    cone = seated(cone_pair(**FEW), np.eye(4), with_play=True)
    assert max(max(p.across_um, p.rise_um, p.drop_um) for p in cone.play) < 0.01


def test_crown_on_its_roof_is_put_into_the_middle_of_its_play() -> None:
    start = turned((0, 0, 0), (0.008, -0.004, -0.3), np.zeros(3))
    pair = roof_first_pair(**FEW)
    seat = seated(pair, start, with_play=True)
    wall = (30.0 / np.sin(np.deg2rad(2)) - 500.0) * np.tan(np.deg2rad(2))  # gap left, across
    assert seat.T_die_crown[:3, 3] == pytest.approx([0, 0, -0.5], abs=3e-4)
    assert [each.across_um for each in seat.play] == pytest.approx(np.full(4, wall), abs=0.3)
    assert {spot.part for spot in seat.spots} == {"occlusal"}


def test_spots_carry_the_whole_load() -> None:
    seat = seated(cone_pair(**FEW), np.eye(4))
    assert sum(spot.share for spot in seat.spots) == pytest.approx(1.0, abs=1e-6)
    assert [s.share for s in seat.spots] == sorted((s.share for s in seat.spots), reverse=True)
    # Each wall pushes up by the sine of its taper.
    for spot in seat.spots:
        assert spot.share / spot.force == pytest.approx(np.sin(np.deg2rad(6)), abs=1e-3)
        back = placed(undone(seat.T_die_crown), spot.place_mm)
        assert spot.crown_place_mm == pytest.approx(back)
        assert spot.part in ("axial", "margin")
        assert spot.where


def test_wall_contact_lifts_by_its_height_over_the_sine_and_relief_lets_it_down() -> None:
    pair = cone_pair(**FEW)
    points = pair.crown.evaluation.points
    wall = pair.crown.intaglio & (np.hypot(points[:, 0], points[:, 1]) > 3.2)
    rise = np.where(wall, 10.0, 0.0)  # µm, off the walls all round
    seat = seated(pair, np.eye(4), intended=intended(pair), relief_um=rise)
    # 10 µm more gap: 10 / sin 6° lower, but for the corner of 5° from a side's to a row's normal.
    assert seat.above_intended_um == pytest.approx(-10.0 / np.sin(np.deg2rad(6)), rel=0.005)


def test_crown_that_rests_too_high_cannot_go_on() -> None:
    pair = cone_pair(**FEW)
    low = intended(pair)
    low[2, 3] -= 0.6
    seat = seated(pair, np.eye(4), intended=low)
    assert seat.stop == "cannot_go_on"
    assert seat.above_intended_um == pytest.approx(600.0, abs=0.01)
    assert seat.spots
    assert seated(pair, np.eye(4), intended=intended(pair)).stop == "rests"
    assert np.isnan(seated(pair, np.eye(4)).above_intended_um)


def test_contact_is_chosen_by_whether_there_is_a_scan() -> None:
    pair = shoulder_pair(**FEW)
    assert seated(pair, np.eye(4)).contact == "hard"
    assert seated(pair, np.eye(4), is_scan=True).contact == "patches"
    hard = SeatSettings(contact="hard")
    assert seated(pair, np.eye(4), is_scan=True, settings=hard).contact == "hard"


def test_edges_that_cross_between_their_vertices_are_found() -> None:
    """A box's edge across a long edge of the die: no vertex of either is inside the other."""
    pair = PAIRS["shoulder"]()
    held = hard_pair(pair, np.eye(4))
    pose = turned((0, 0, 3.0), (0, 0, -0.3), np.zeros(3))  # half a facet, 3° of 6°
    pose[0, 3] = 0.05 - 4.0 * (1 - np.cos(np.deg2rad(3)))  # flats of the bore off, corners of it on
    pose[0, 3] += 0.012
    deepest = -min(
        float(held.vertex_gaps(pose, 0.0, of_crown=crown).min()) for crown in (True, False)
    )
    cuts = edge_cuts(held, pose, 1e-4, of_crown=False)
    there = placed(undone(pose), cuts.points)
    signed = igl.signed_distance(
        there, pair.crown.evaluation.mesh.vertices, pair.crown.evaluation.mesh.faces
    )[0]
    assert deepest >= 0
    assert len(cuts.points)
    # Found on the smooth die: within the sags of both of what libigl says of the triangles.
    assert cuts.gap_mm == pytest.approx(signed, abs=2 * 4.05 * (1 - np.cos(np.deg2rad(3))))


def test_surface_over_facets_of_a_ball() -> None:
    """L² κ / 8 in the middle of an edge; a third of Σ e² κ / 8 over a triangle's middle."""
    angles = np.linspace(0, np.pi, 60)
    ball = [(3 * np.sin(t), 3 * np.cos(t)) for t in angles]
    mesh = revolved([(0.0, 3.0), *ball[1:-1], (0.0, -3.0)], 100, 9.0, "ball")
    facets = Facets(mesh)
    face = np.flatnonzero(np.abs(mesh.triangles.mean(axis=1)[:, 2]) < 1.5)
    weights = np.full((len(face), 3), 1 / 3)
    exact = 3.0 - np.linalg.norm(np.einsum("kc,kci->ki", weights, mesh.triangles[face]), axis=1)
    assert not facets.sharp.any()
    assert facets.above_mm(face, weights) == pytest.approx(exact, rel=0.01)


DEMO_EDGE_MM = 0.25


@pytest.mark.parametrize(
    ("cement_um", "margin_um", "edge_mm", "within_um"),
    [
        (50.0, 0.0, DEMO_EDGE_MM, 10.0),
        slow(50.0, 50.0, 0.1, 5.0),
        slow(50.0, 0.0, 0.1, 5.0),
    ],
)
def test_demo_crown_on_its_die(
    cement_um: float, margin_um: float, edge_mm: float, within_um: float
) -> None:
    crown = cuspwise.demo_crown(edge_mm)
    die = demo_die(crown, cement_um=cement_um, margin_um=margin_um, edge_mm=edge_mm)
    pair = FitPair(demo_fit_crown(crown), demo_fit_die(die), 0.0)
    seat = seated(pair, np.eye(4), intended=die.T_true_die_crown)
    assert seat.converged
    assert abs(seat.above_intended_um) < within_um
    sag_um = 1e3 * usual_sag_mm(hard_pair(pair, np.eye(4)))
    assert seat.overlap_um < sag_um + 0.1
    # libigl: what is left of the triangles inside the die is no more than their sag.
    inside = pair.crown.evaluation.points[pair.crown.intaglio]
    mesh = pair.die.mesh
    signed = igl.signed_distance(placed(seat.T_die_crown, inside), mesh.vertices, mesh.faces)[0]
    most = 1.5 * edge_mm**2 / (8 * 0.3)  # where the chamfer bends by a radius of 0.3 mm
    assert signed.min() > -most


@pytest.mark.slow
def test_any_start_ends_in_the_same_seat() -> None:
    crown = cuspwise.demo_crown(DEMO_EDGE_MM)
    die = demo_die(crown, margin_um=0.0, edge_mm=DEMO_EDGE_MM)
    pair = FitPair(demo_fit_crown(crown), demo_fit_die(die), 0.0)
    points = pair.crown.evaluation.points[pair.crown.intaglio]
    first = placed(seated(pair, np.eye(4)).T_die_crown, points)
    for angles, shift in (
        ((6, 0, 0), (0.3, 0, 0)),
        ((-3, 4, 3), (0, -0.3, 0.2)),
        ((2, -3, -4), (-0.2, 0.2, 0)),
    ):
        start = turned(angles, shift, np.array([0.0, 0.0, 3.0]))
        other = placed(seated(pair, start).T_die_crown, points)
        assert np.linalg.norm(other - first, axis=1).max() < 3e-4  # 0.3 µm


@pytest.mark.slow
def test_noise_hardly_lifts_a_crown_that_rests_on_patches() -> None:
    rng = np.random.default_rng(3)

    def noisy(mesh: TriangleMesh) -> TriangleMesh:
        off = 2e-3 * rng.normal(size=(len(mesh.vertices), 1))
        return TriangleMesh(mesh.vertices + off * mesh.vertex_normals, mesh.faces, mesh.name)

    crown = cuspwise.demo_crown(0.1)
    die = demo_die(crown, margin_um=0.0, edge_mm=0.1)
    clean = FitPair(demo_fit_crown(crown), demo_fit_die(die), 0.0)
    scanned = FitPair(
        demo_fit_crown(crown, noisy(crown.mesh)), demo_fit_die(die, noisy(die.mesh)), 0.0
    )
    least = seated(clean, np.eye(4), is_scan=True, intended=np.eye(4)).above_intended_um
    seat = seated(scanned, np.eye(4), is_scan=True, intended=np.eye(4))
    assert seat.above_intended_um - least < 8.0
    assert 2.0 < seat.overlap_um < 30.0  # the peaks of 2 µm that the means let in are told
    hard = SeatSettings(contact="hard")
    high = seated(scanned, np.eye(4), settings=hard, is_scan=True, intended=np.eye(4))
    assert high.above_intended_um > 20.0  # what patches are for


def test_rest_of_a_rest_is_itself() -> None:
    pair = cone_pair(12.0, 0.08, **FEW)
    held = hard_pair(pair, np.eye(4))
    rest = run(rest_steps(held, np.eye(4)))
    again = run(rest_steps(held, rest.pose, working=rest.working, radius_mm=1e-3))
    assert again.steps <= 2
    assert again.pose == pytest.approx(rest.pose, abs=1e-8)
