"""Bad dies, crowns and neighbours: each is told with its remedy, and what can be done is done."""

from __future__ import annotations

from dataclasses import replace

import cuspwise
import numpy as np
import pytest
from cuspwise.standalone_core.demo.die import demo_die
from cuspwise.standalone_core.demo.neighbours import demo_neighbours
from cuspwise.standalone_core.errors import AreaError, MeshError, SettingError, SuperimpositionError
from cuspwise.standalone_core.fit.crown import FitCrown, moved_crown, ready_crown_steps
from cuspwise.standalone_core.fit.inspect import crossing_teeth, intaglio_holes
from cuspwise.standalone_core.fit.ready_die import ReadyDie, ready_die_steps
from cuspwise.standalone_core.fit.seat.rough_pose import rough_pose_steps
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.rigid import motion, rotation_from_vector
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.tiers import slow

EDGE_MM = 0.4
FAR = motion(rotation_from_vector([2.0, -0.7, 1.1]), [14.0, -6.0, 9.0])


@pytest.fixture(scope="module")
def demo() -> cuspwise.DemoCrown:
    return cuspwise.demo_crown(EDGE_MM)


@pytest.fixture(scope="module")
def die(demo: cuspwise.DemoCrown) -> TriangleMesh:
    return demo_die(demo, edge_mm=EDGE_MM).mesh


@pytest.fixture(scope="module")
def crown(demo: cuspwise.DemoCrown) -> FitCrown:
    return run(ready_crown_steps(demo.mesh, spacing_mm=EDGE_MM, threads=1))


@pytest.fixture(scope="module")
def design(crown: FitCrown) -> PreparedDesign:
    return PreparedDesign(SurfaceIndex(crown.evaluation.design, threads=1))


def ready(mesh: TriangleMesh, crown: FitCrown, *args: object, **more: object) -> ReadyDie:
    return run(ready_die_steps(mesh, crown, *args, threads=1, **more))


def joined(*meshes: TriangleMesh) -> TriangleMesh:
    """All in one file."""
    starts = np.cumsum([0] + [len(mesh.vertices) for mesh in meshes[:-1]])
    faces = [mesh.faces + start for mesh, start in zip(meshes, starts, strict=True)]
    return TriangleMesh(np.vstack([mesh.vertices for mesh in meshes]), np.vstack(faces), "teeth")


def open_below(die: TriangleMesh) -> TriangleMesh:
    """A die without its underside and most of its root, as a scan shows it."""
    return die.kept(die.triangles[:, :, 2].min(axis=1) > -1.5)


def said(ready: ReadyDie, *words: str) -> bool:
    return any(all(word in text for word in words) for text in ready.warnings)


def test_a_good_die_is_taken_as_it_is(
    die: TriangleMesh, crown: FitCrown, design: PreparedDesign
) -> None:
    good = ready(die, crown, design, axis=(0, 0, 2))
    assert good.warnings == ()
    assert good.pose.intended
    assert good.die.mesh is die
    assert np.array_equal(good.die.axis, [0, 0, 1])
    assert good.pose.covered_share == 1.0


def test_without_an_axis_the_crown_tells_it(
    die: TriangleMesh, crown: FitCrown, design: PreparedDesign
) -> None:
    assert np.allclose(ready(die, crown, design).die.axis, crown.axis, atol=1e-12)


@pytest.mark.parametrize("axis", [(0, 0, 0), (1, 2)])
def test_an_axis_that_is_no_direction_is_refused(
    die: TriangleMesh, crown: FitCrown, axis: tuple[float, ...]
) -> None:
    with pytest.raises(SettingError, match=r"is no direction. Give three numbers"):
        ready(die, crown, axis=axis)


def test_a_crown_that_is_upside_down_against_the_given_path_is_told(
    die: TriangleMesh, crown: FitCrown, design: PreparedDesign
) -> None:
    found = ready(die, crown, design, axis=(0, 0, -1))
    assert said(found, "upside down", "Give the path from the root to the occlusal surface")
    assert np.allclose(found.die.axis, crown.axis)


def test_a_path_that_leans_too_far_is_told(
    die: TriangleMesh, crown: FitCrown, design: PreparedDesign
) -> None:
    found = ready(die, crown, design, axis=(0, 1, 1))
    assert said(found, "leans 4", "own was used", "Give the path")
    assert np.allclose(found.die.axis, crown.axis)


@pytest.mark.parametrize("way", ["design", slow("any pose")])
def test_an_open_die_that_is_inside_out_is_turned(
    die: TriangleMesh, crown: FitCrown, design: PreparedDesign, way: str
) -> None:
    outward = open_below(die)
    if way == "design":
        found = ready(outward.flipped(), crown, design)
    else:
        found = ready(outward.flipped(), moved_crown(crown, FAR))
    assert said(found, "inside out", "turned round", "Export it")
    assert np.array_equal(found.die.mesh.faces, outward.faces)


def test_an_open_die_the_right_way_round_is_not_turned(
    die: TriangleMesh, crown: FitCrown, design: PreparedDesign
) -> None:
    found = ready(open_below(die), crown, design)
    assert found.warnings == ()


def test_a_closed_die_that_is_inside_out_is_turned(
    die: TriangleMesh, crown: FitCrown, design: PreparedDesign
) -> None:
    found = ready(die.flipped(), crown, design)
    assert said(found, "inside out")
    assert np.array_equal(found.die.mesh.faces, die.faces)


def test_of_several_teeth_the_one_under_the_crown_is_taken(
    demo: cuspwise.DemoCrown, die: TriangleMesh, crown: FitCrown, design: PreparedDesign
) -> None:
    teeth = [tooth.mesh for tooth in demo_neighbours(demo, edge_mm=EDGE_MM)]
    found = ready(joined(teeth[0], die, teeth[1]), crown, design)
    assert said(found, "2 more large pieces", "the rest was left out", "Give the die alone")
    reach = np.abs(found.die.mesh.vertices).max(axis=0)
    assert (reach <= np.abs(die.vertices).max(axis=0) + 1e-12).all()


def test_of_teeth_that_are_joined_only_what_is_near_counts(
    die: TriangleMesh, crown: FitCrown, design: PreparedDesign
) -> None:
    """A wide base joined to the die by one vertex, as in a scan where all hangs together."""
    foot = die.vertices[np.argmin(die.vertices[:, 2])]
    sheet = np.array([[-30.0, -30, -4], [30, -30, -4], [0, 30, -4]])
    base = TriangleMesh(
        np.vstack([foot, sheet]), [[1, 2, 3], [0, 2, 1], [0, 3, 2], [0, 1, 3]], "base"
    )
    found = ready(joined(die, base), crown, design)
    inside = crown.evaluation.points[crown.intaglio]
    assert np.isfinite(inside).all()
    assert found.die.mesh.diagonal_mm < joined(die, base).diagonal_mm / 2
    own = SurfaceIndex(found.die.mesh, threads=1).closest(inside[::20]).distance_mm
    assert np.array_equal(own, SurfaceIndex(die, threads=1).closest(inside[::20]).distance_mm)


@pytest.mark.slow
def test_another_tooths_die_does_not_match(crown: FitCrown, design: PreparedDesign) -> None:
    thin = cuspwise.demo_crown(0.5)
    small = demo_die(thin, edge_mm=0.5).mesh.moved(np.diag([0.5, 0.5, 0.6, 1.0]))
    with pytest.raises(SuperimpositionError, match=r"does not match.*Check that crown and die"):
        ready(small, crown, design)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (1 / 25.4, "25.4 times larger.*inches"),
        (0.1, "10 times larger.*centimetres"),
        (10.0, "10 times smaller.*centimetres"),
    ],
)
def test_mixed_units_are_told_by_name(
    die: TriangleMesh, crown: FitCrown, factor: float, words: str
) -> None:
    wrong = die.moved(np.diag([factor, factor, factor, 1.0]))
    with pytest.raises(MeshError, match=rf"units.*mixed.*{words}.*Give the unit"):
        ready(wrong, moved_crown(crown, FAR))


@pytest.mark.slow
def test_a_design_in_another_frame_is_told_and_the_intaglio_finds_the_die(
    die: TriangleMesh, crown: FitCrown
) -> None:
    far = moved_crown(crown, FAR)
    elsewhere = PreparedDesign(SurfaceIndex(far.evaluation.design, threads=1))
    found = ready(die, far, elsewhere)
    assert said(found, "not in the die's frame", "Give the design as it lies on this die")
    assert not found.pose.intended
    assert np.abs(found.pose.T_die_crown @ FAR - np.eye(4)).max() < 0.2


@pytest.mark.slow
def test_another_crowns_design_is_told(die: TriangleMesh, crown: FitCrown) -> None:
    ball = cuspwise.demo_crown(0.5).mesh.moved(np.diag([1.0, 1.6, 0.5, 1.0]))
    other = PreparedDesign(SurfaceIndex(ball, threads=1))
    pose = run(rough_pose_steps(crown, SurfaceIndex(die, threads=1), other))
    assert not pose.intended
    assert "does not lie on its design" in pose.warnings[0]
    assert "Give its own design" in pose.warnings[0]


def test_an_outer_surface_alone_is_refused_with_the_remedy(demo: cuspwise.DemoCrown) -> None:
    outside = demo.mesh.kept((demo.s > 0.3)[demo.mesh.faces].all(axis=1))
    with pytest.raises(AreaError, match=r"no intaglio.*Give a crown with its inner surface"):
        run(ready_crown_steps(outside, spacing_mm=EDGE_MM, threads=1))


def test_an_open_intaglio_is_told(crown: FitCrown) -> None:
    """A hole of 1 mm radius in the middle of the roof."""
    assert intaglio_holes(crown) == ()
    mesh = crown.evaluation.mesh
    inside = mesh.vertices[crown.intaglio]
    top = inside[np.argmax(inside[:, 2])]
    near = (np.linalg.norm(mesh.vertices - top, axis=1) < 1.0) & crown.intaglio
    pierced = TriangleMesh(mesh.vertices, mesh.faces[~near[mesh.faces].any(axis=1)], "pierced")
    areas = replace(crown.area_set, evaluation=evaluation_mesh(pierced, 9.0))
    (sentence,) = intaglio_holes(replace(crown, area_set=areas))
    assert "1 hole, the largest 2." in sentence
    assert "Scan the inside again" in sentence


def test_a_neighbour_that_cuts_into_the_crown_is_told(
    demo: cuspwise.DemoCrown, crown: FitCrown
) -> None:
    teeth = [("mesial.stl", demo_neighbours(demo, edge_mm=EDGE_MM)[0].mesh)]
    assert crossing_teeth(crown, np.eye(4), teeth) == ()
    inward = motion(np.eye(3), -0.8 * np.sign(teeth[0][1].vertices.mean(axis=0)) * [1, 0, 0])
    (sentence,) = crossing_teeth(crown, np.eye(4), [("mesial.stl", teeth[0][1].moved(inward))])
    assert sentence.startswith("mesial.stl cuts 0.")
    assert "Give the neighbour alone" in sentence
