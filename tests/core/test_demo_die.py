"""The demo die: closed, by formula, with the cement space and the seat that it claims."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.demo.die import DemoDie, demo_die, finish_line
from cuspwise.standalone_core.demo.die_shape import DieShape
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.health import inspect_mesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.tiers import slow
from scipy.spatial import cKDTree

EDGE_MM = 0.3


@pytest.fixture(scope="module")
def crown() -> DemoCrown:
    return demo_crown(EDGE_MM)


@pytest.fixture(scope="module")
def die(crown: DemoCrown) -> DemoDie:
    return demo_die(crown, edge_mm=EDGE_MM)


def in_um(crown: DemoCrown, die: DemoDie, low: float, high: float) -> np.ndarray:
    """Gap at those of the design's vertices that lie between two values of s, where designed."""
    return die.gap_um(crown.mesh.vertices[(crown.s > low) & (crown.s < high)][::6])


@pytest.mark.parametrize("edge_mm", [EDGE_MM, slow(0.1)])
def test_the_mesh_is_closed_and_outward_with_even_triangles(crown, edge_mm):
    die = demo_die(crown, edge_mm=edge_mm)
    health = inspect_mesh(die.mesh)
    assert health.closed
    assert not health.problems
    mesh = trimesh.Trimesh(die.mesh.vertices, die.mesh.faces, process=False)
    assert mesh.is_watertight
    assert mesh.euler_number == 2  # a sphere's: one closed piece without a tunnel
    assert mesh.volume > 300.0  # outward
    assert mesh.edges_unique_length.max() < 2.0 * edge_mm
    assert np.degrees(mesh.face_angles.min()) > 18.0


def test_the_crown_lies_nowhere_in_its_die(crown, die):
    """By libigl's winding numbers, which know nothing of the formula."""
    some = crown.mesh.vertices[::7]
    inside = igl.fast_winding_number(die.mesh.vertices, die.mesh.faces, some)
    assert np.abs(inside).max() < 0.5


def test_the_cement_space_is_what_was_asked_for(crown, die):
    # Parallel surfaces lie apart by the offset along their common normal.
    reach = crown.shape.rim_reach_mm
    assert in_um(crown, die, -0.7, -reach) == pytest.approx(20.0, abs=0.01)
    assert in_um(crown, die, -8.0, -1.7) == pytest.approx(50.0, abs=0.01)
    between = in_um(crown, die, -1.6, -0.8)
    assert between.min() > 19.99
    assert between.max() < 50.01


def test_the_gap_by_formula_is_that_of_the_mesh(crown, die):
    """Another way to the same number: the nearest triangle of the mesh."""
    some = crown.mesh.vertices[(crown.s < -0.1) & (crown.s > -7.0)][::5]
    by_formula = die.gap_um(some)
    meshed = SurfaceIndex(die.mesh).closest(some, signed=True).signed_mm
    off = 1e3 * meshed - by_formula
    # A facet of edge L sags by at most L²/6 of the largest curvature; on average H L²/8 outward
    # where it bulges: here the roof's edge of about 0.4 mm radius, and walls of about 4 mm.
    assert np.abs(off).max() < 1e3 * EDGE_MM**2 / 6.0 / 0.3
    assert abs(np.median(off)) < 1e3 * EDGE_MM**2 / 8.0 / 4.0


def test_with_no_space_at_the_margin_the_design_touches_all_round(crown):
    die = demo_die(crown, margin_um=0.0, edge_mm=EDGE_MM)
    assert die.T_true_die_crown == pytest.approx(np.eye(4))
    reach = crown.shape.rim_reach_mm
    touching = (crown.s > -0.7) & (crown.s < -reach)
    angles = np.sort(crown.theta[touching])
    assert np.diff(angles).max() < np.deg2rad(6.0)
    assert die.gap_um(crown.mesh.vertices[touching][::4]) == pytest.approx(0.0, abs=0.01)
    assert in_um(crown, die, -8.0, 1.0).min() > -0.01


def test_on_a_parallel_die_the_design_drops_by_the_space(crown):
    die = demo_die(crown, cement_um=50.0, margin_um=50.0, edge_mm=EDGE_MM)
    assert die.T_true_die_crown is not None
    assert die.T_true_die_crown[:3, 3] == pytest.approx([0.0, 0.0, -0.05])
    # There the roof touches where it is level (Newton's method ends a few nm off a touching).
    theta, s = np.meshgrid(np.linspace(0.0, 6.28, 24), np.linspace(-7.4, -5.0, 24))
    seated = crown.shape.points(theta.ravel(), s.ravel()) + die.T_true_die_crown[:3, 3]
    assert -0.1 < die.gap_um(seated).min() < 0.5


@pytest.mark.parametrize("extension_um", [-120.0, 0.0, 100.0])
def test_the_finish_line_lies_where_it_was_asked_for(crown, extension_um):
    """Across the line: gap square to the prepared surface, extension along it."""
    shape = DieShape(crown.shape, extension_um=extension_um)
    theta = np.linspace(0.0, 2.0 * np.pi, 2000, endpoint=False)
    _, _, along = crown.shape.tangents(theta, np.full(2000, -crown.shape.rim_reach_mm))
    outward = along / np.linalg.norm(along, axis=1, keepdims=True)
    over = np.einsum("nk,nk->n", crown.margin_line_mm - finish_line(shape), outward)
    assert 1e3 * over == pytest.approx(extension_um, abs=0.5)


def test_a_ring_of_vertices_lies_on_the_finish_line(die):
    ring = die.s == 0.0
    assert np.count_nonzero(ring) > 80
    apart = cKDTree(die.finish_line_mm).query(die.mesh.vertices[ring])[0]
    assert apart.max() < 0.01  # half a step between the line's points


@pytest.mark.parametrize(
    "wrong", [{"cement_um": -1.0}, {"margin_um": 400.0}, {"extension_um": 900.0}, {"edge_mm": 3.0}]
)
def test_what_cannot_be_made_is_refused(crown, wrong):
    with pytest.raises(SettingError, match=next(iter(wrong)).split("_")[0]):
        demo_die(crown, **wrong)
