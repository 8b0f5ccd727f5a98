"""Scan surface without a counterpart on a flat design: what is told of it, in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.areas.support_marks import SUPPORTS
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.deviation.field import DeviationField, measure_deviation
from cuspwise.standalone_core.deviation.unmatched import (
    UnmatchedPiece,
    unmatched_pieces,
    with_unmatched,
)
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.scans import joined

STEP = 0.1
SIDE = 6.0


def sheet(height: FloatArray | float = 0.0, x: FloatArray | None = None) -> TriangleMesh:
    """A square in the plane z = 0 that faces up, with a height over each of its points.

    ``x`` gives the columns of points; two of them close together make a wall.
    """
    x = np.arange(0.0, SIDE + STEP / 2, STEP) if x is None else x
    y = np.arange(0.0, SIDE + STEP / 2, STEP)
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    z = np.broadcast_to(np.asarray(height), (len(x), len(y))).reshape(-1)
    i, j = np.meshgrid(np.arange(len(x) - 1), np.arange(len(y) - 1), indexing="ij")
    corner = (i * len(y) + j).reshape(-1)
    a, b, c, d = corner, corner + len(y), corner + len(y) + 1, corner + 1
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return TriangleMesh(np.column_stack([grid, z]), faces)


def ridge(height_mm: float, width_mm: float) -> TriangleMesh:
    """A wall across the sheet, flat on top, with sides 1 µm from upright."""
    left, right = 3.0 - width_mm / 2, 3.0 + width_mm / 2
    flat = np.arange(0.0, SIDE + STEP / 2, STEP)
    top = np.linspace(left, right, max(2, round(width_mm / STEP) + 1))
    x = np.concatenate(
        [flat[flat < left - 0.02], [left - 0.001], top, [right + 0.001], flat[flat > right + 0.02]]
    )
    raised = (x >= left) & (x <= right)
    return sheet(np.where(raised, height_mm, 0.0)[:, None], x)


def wide_sheet() -> TriangleMesh:
    """A flat sheet that reaches 1 mm past all ends of the others."""
    flat = sheet()
    return TriangleMesh(flat.vertices * (SIDE + 2.0) / SIDE - [1.0, 1.0, 0.0], flat.faces)


def measured(
    scan: TriangleMesh, flat: TriangleMesh | None = None
) -> tuple[DeviationField, EvaluationMesh]:
    design = evaluation_mesh(flat or sheet(), STEP * 1.5)
    index = SurfaceIndex(design.mesh)
    there = measure_deviation(design.mesh, SurfaceIndex(scan), "design_to_scan")
    points = evaluation_mesh(scan, STEP * 1.5).mesh
    back = measure_deviation(points, index, "scan_to_design")
    return with_unmatched(back, there, index), design


def pieces(
    scan: TriangleMesh, marks: FloatArray | None = None, flat: TriangleMesh | None = None
) -> tuple[UnmatchedPiece, ...]:
    back, design = measured(scan, flat)
    everything = Area("whole", np.ones(len(design.points), dtype=bool))
    half = Area("near half", design.points[:, 1] < SIDE / 2)
    areas = {"whole": everything, "near half": half}
    if marks is not None:
        inside = np.linalg.norm(design.points[:, :2] - marks[:2], axis=1) < marks[2]
        areas[SUPPORTS] = Area(SUPPORTS, inside)
    return unmatched_pieces(back, AreaSet(design, areas), least_um=100.0)


def test_a_fin_is_unmatched_with_its_height_and_both_its_sides() -> None:
    (fin,) = pieces(ridge(0.4, 0.02))
    assert fin.height_um == pytest.approx(400.0, abs=0.01)
    # both sides above 30 µm, and the top; at the foot, a step of the points is open
    assert fin.area_mm2 == pytest.approx(2 * SIDE * 0.37 + SIDE * 0.02, abs=2 * SIDE * STEP)
    assert fin.peak_mm[2] == pytest.approx(0.4, abs=1e-9)
    assert abs(fin.peak_mm[0] - 3.0) < 0.02
    assert (fin.loose, fin.beyond_search) == (False, False)
    assert fin.areas == ("near half",)


@pytest.mark.parametrize("height_mm", [0.05, 0.1, 0.3])
def test_a_ridge_wider_than_three_times_its_height_is_seen_from_the_design(
    height_mm: float,
) -> None:
    assert pieces(ridge(height_mm, 1.2)) == ()


@pytest.mark.parametrize("apart_um", [35.0, 80.0, 300.0, 900.0])
def test_a_second_sheet_above_is_a_loose_piece(apart_um: float) -> None:
    (layer,) = pieces(joined(sheet(), sheet(1e-3 * apart_um)))
    assert layer.height_um == pytest.approx(apart_um, abs=1e-6)
    assert layer.mean_um == pytest.approx(apart_um, abs=1e-6)
    assert layer.loose
    # points over the design's open border count nowhere
    assert SIDE * SIDE - 4 * SIDE * STEP <= layer.area_mm2 <= SIDE * SIDE


def test_what_lies_below_the_design_is_missing_and_never_unmatched() -> None:
    assert pieces(joined(sheet(), sheet(-0.3))) == ()
    assert pieces(ridge(-0.4, 0.02)) == ()


def test_what_reaches_beyond_the_search_distance_is_at_least_that_high() -> None:
    (fin,) = pieces(ridge(1.7, 0.02), flat=wide_sheet())
    assert fin.beyond_search
    assert fin.height_um == pytest.approx(1000.0, abs=1e-9)
    assert fin.area_mm2 > 2 * SIDE * 1.5


def test_a_piece_far_above_stands_beside_nothing_and_is_not_told() -> None:
    assert pieces(joined(sheet(), sheet(2.0))) == ()


def test_surface_inside_a_support_mark_is_the_marks_alone() -> None:
    (fin,) = pieces(ridge(0.4, 0.02), marks=np.array([3.0, 3.0, 1.0]))[:1]
    assert len(pieces(ridge(0.4, 0.02), marks=np.array([3.0, 3.0, 1.0]))) == 2
    assert fin.area_mm2 == pytest.approx((SIDE - 2.0) / 2 * 2 * 0.37, rel=0.3)
    assert pieces(ridge(0.4, 0.02), marks=np.array([3.0, 3.0, 9.0])) == ()


def test_what_goes_on_past_an_open_designs_end_is_not_unmatched() -> None:
    """A scan that bends up beyond the design's border: the design says nothing of it."""
    wide = np.arange(-1.5, SIDE + 1.55, STEP)
    bent = np.where(wide < -0.05, -1.2 * wide, 0.0)
    assert pieces(sheet(bent[:, None], wide)) == ()


def test_a_single_point_is_no_surface() -> None:
    """A spike of 0.15 mm beside points 0.1 mm away; two of them hang together and are told."""
    lone, pair = np.zeros((61, 61)), np.zeros((61, 61))
    lone[30, 30] = 0.15
    pair[30, 30:32] = 0.15
    assert pieces(sheet(lone)) == ()
    (found,) = pieces(sheet(pair))
    assert found.height_um == pytest.approx(150.0)


@pytest.mark.parametrize("noise_um", [2.0, 5.0])
def test_noise_is_not_unmatched(noise_um: float) -> None:
    rng = np.random.default_rng(4)
    scan = sheet(1e-3 * rng.normal(0.0, noise_um, (61, 61)))
    assert pieces(scan) == ()
