"""Automatic areas against the demo crown's formula and against closed forms.

Takes about half a minute: the numbers are promised for designs of 400,000 triangles too.
"""

from __future__ import annotations

import io
from functools import cache

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import AREA_NAMES, AreaSet, AreaSettings
from cuspwise.standalone_core.areas.find import find_areas, find_areas_steps
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.errors import AreaError, SettingError
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.report.check.terminal import areas_table
from rich.console import Console
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

MESIAL = AreaSettings(mesial_direction=(1.0, 0.0, 0.0))

DESIGNS = [
    pytest.param(0.05, True, id="fine"),
    pytest.param(0.05, False, id="fine, edges across the margin"),
    pytest.param(0.3, True, id="coarse"),
    pytest.param(0.3, False, id="coarse, edges across the margin"),
]
"""Edge lengths that the project promises its numbers for, in mm."""


@cache
def design(edge_mm: float, margin_edges: bool) -> DemoCrown:
    return demo_crown(edge_mm, margin_edges=margin_edges)


@cache
def found(edge_mm: float, margin_edges: bool) -> AreaSet:
    return find_areas(evaluation_mesh(design(edge_mm, margin_edges).mesh), MESIAL)


@cache
def parameters(edge_mm: float, margin_edges: bool) -> tuple[np.ndarray, np.ndarray]:
    """Surface parameters (theta, s) of the evaluation points."""
    crown, evaluation = design(edge_mm, margin_edges), found(edge_mm, margin_edges).evaluation
    on_vertices = np.column_stack([np.cos(crown.theta), np.sin(crown.theta), crown.s])
    x, y, s = evaluation.interpolate(on_vertices).T
    return np.arctan2(y, x) % (2 * np.pi), s


def overlap(weights: np.ndarray, one: np.ndarray, other: np.ndarray) -> float:
    """Intersection over union, weighted by area."""
    return float(weights[one & other].sum() / weights[one | other].sum())


def along(points: np.ndarray, step_mm: float = 0.005) -> np.ndarray:
    """A closed polyline as dense points."""
    following = np.roll(points, -1, axis=0)
    count = int(np.linalg.norm(following - points, axis=1).max() / step_mm) + 2
    share = np.arange(count)[None, :, None] / count
    return (points[:, None] + share * (following - points)[:, None]).reshape(-1, 3)


def line_errors_um(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Distances between two closed polylines, both ways, µm."""
    first, second = along(one), along(other)
    there = cKDTree(second).query(first)[0]
    back = cKDTree(first).query(second)[0]
    return 1000.0 * np.concatenate([there, back])


@pytest.mark.parametrize(("edge_mm", "margin_edges"), DESIGNS)
def test_margin_line_is_within_30_and_150_um(edge_mm: float, margin_edges: bool) -> None:
    area_set, crown = found(edge_mm, margin_edges), design(edge_mm, margin_edges)
    assert area_set.margin_line is not None
    assert area_set.margin_line.closed
    errors = line_errors_um(area_set.margin_line.points_mm, crown.margin_line_mm)
    assert errors.mean() <= 30.0
    assert errors.max() <= 150.0
    true_length = np.linalg.norm(
        np.roll(crown.margin_line_mm, -1, axis=0) - crown.margin_line_mm, axis=1
    ).sum()
    assert area_set.margin_line.length_mm == pytest.approx(true_length, rel=0.01)


@pytest.mark.parametrize(("edge_mm", "margin_edges"), DESIGNS)
@pytest.mark.parametrize("name", AREA_NAMES)
def test_areas_overlap_the_true_ones(edge_mm: float, margin_edges: bool, name: str) -> None:
    area_set, true_areas = found(edge_mm, margin_edges), design(edge_mm, margin_edges).true_areas
    true = true_areas.contains(name, *parameters(edge_mm, margin_edges))
    share = overlap(area_set.evaluation.weights_mm2, area_set[name].points, true)
    assert share >= 0.95


def test_row_of_edges_on_the_crest_is_followed_exactly() -> None:
    area_set = found(0.3, True)
    assert area_set.margin_line is not None
    vertices = design(0.3, True).mesh.vertices
    assert np.isin(area_set.margin_line.points_mm, vertices).all()


@pytest.mark.parametrize("seed", range(3))
def test_any_orientation_gives_the_same_areas(seed: int) -> None:
    upright = found(0.3, True)
    motion = np.eye(4)
    motion[:3, :3] = Rotation.random(random_state=seed).as_matrix()
    motion[:3, 3] = [40.0, -30.0, 20.0]
    mesh = design(0.3, True).mesh.moved(motion)
    mesial = tuple(motion[:3, 0])
    turned = find_areas(evaluation_mesh(mesh), AreaSettings(mesial_direction=mesial))
    assert upright.insertion is not None
    assert turned.insertion is not None
    assert turned.insertion == pytest.approx(motion[:3, :3] @ upright.insertion, abs=1e-3)
    assert turned.margin_line is not None
    assert upright.margin_line is not None
    moved = upright.margin_line.points_mm @ motion[:3, :3].T + motion[:3, 3]
    assert line_errors_um(turned.margin_line.points_mm, moved).max() < 0.01
    assert list(turned.areas) == list(upright.areas)
    for name in turned.areas:
        weights = upright.evaluation.weights_mm2
        assert overlap(weights, turned[name].points, upright[name].points) > 0.98


def test_path_of_insertion_is_the_die_axis() -> None:
    for edge_mm, margin_edges in ((0.3, True), (0.3, False)):
        insertion = found(edge_mm, margin_edges).insertion
        assert insertion is not None
        assert np.degrees(np.arccos(insertion[2])) < 2.0


def revolved(profile: list[tuple[float, float]], around: int = 360) -> TriangleMesh:
    """Closed surface of revolution about z; the profile (r, z) starts and ends on the axis."""
    points = np.array(profile)
    angle = np.arange(around) * 2 * np.pi / around
    rings = [
        np.column_stack([r * np.cos(angle), r * np.sin(angle), np.full(around, z)])
        for r, z in points[1:-1]
    ]
    bottom, top = [0.0, 0.0, points[0, 1]], [0.0, 0.0, points[-1, 1]]
    vertices = np.vstack([*rings, [bottom, top]])
    here, beside = np.arange(around), (np.arange(around) + 1) % around
    count = len(rings) * around
    faces = [np.column_stack([beside, here, np.full(around, count)])]
    for k in range(len(rings) - 1):
        low, high = here + k * around, here + (k + 1) * around
        low_next, high_next = beside + k * around, beside + (k + 1) * around
        faces += [np.column_stack([low, low_next, high])]
        faces += [np.column_stack([low_next, high_next, high])]
    last = (len(rings) - 1) * around
    faces += [np.column_stack([here + last, beside + last, np.full(around, count + 1)])]
    mesh = TriangleMesh(vertices, np.vstack(faces), "thimble")
    return mesh if mesh.volume_mm3 > 0 else mesh.flipped()


def line(start: tuple[float, float], end: tuple[float, float], parts: int) -> list:
    share = np.arange(1, parts + 1)[:, None] / parts
    return [tuple(p) for p in np.array(start) + share * (np.array(end) - start)]


R_OUT, R_IN, HEIGHT, DEPTH, DIMPLE, BOWL = 5.0, 4.6, 7.0, 5.0, 0.6, 0.8


def thimble(dimple: bool = False) -> TriangleMesh:
    """A cylinder with a cylindrical cavity and a flat rim, 0.4 mm wide, at z = 0."""
    profile = [(0.0, DEPTH)]
    profile += line((0.0, DEPTH), (R_IN, DEPTH), 40)
    profile += line((R_IN, DEPTH), (R_IN, 0.0), 50)
    profile += line((R_IN, 0.0), (R_OUT, 0.0), 4)
    profile += line((R_OUT, 0.0), (R_OUT, HEIGHT), 70)
    if dimple:  # part of a sphere of radius BOWL, its border of radius DIMPLE on the flat top
        profile += line((R_OUT, HEIGHT), (DIMPLE, HEIGHT), 40)
        edge = np.arcsin(DIMPLE / BOWL)
        centre = HEIGHT + BOWL * np.cos(edge)
        for a in np.linspace(edge, 0.0, 16)[1:]:
            profile.append((BOWL * np.sin(a), centre - BOWL * np.cos(a)))
    else:
        profile += line((R_OUT, HEIGHT), (0.0, HEIGHT), 50)
    return revolved(profile)


def test_thimble_of_cylinders_has_its_areas_by_formula() -> None:
    """Closed forms: cylinders and rings."""
    area_set = find_areas(evaluation_mesh(thimble()))
    assert area_set.insertion == pytest.approx([0, 0, 1], abs=1e-6)
    assert area_set.margin_line is not None
    radius = np.linalg.norm(area_set.margin_line.points_mm[:, :2], axis=1)
    assert radius == pytest.approx(R_OUT, abs=1e-9)
    assert area_set.margin_line.points_mm[:, 2] == pytest.approx(0.0, abs=1e-9)
    assert area_set.margin_line.length_mm == pytest.approx(2 * np.pi * R_OUT, rel=1e-4)
    top, wall = np.pi * R_OUT**2, 2 * np.pi * R_OUT * HEIGHT
    rim = np.pi * (R_OUT**2 - R_IN**2)
    inside = np.pi * R_IN**2 + 2 * np.pi * R_IN * DEPTH + rim
    band = 2 * np.pi * R_OUT * 1.0 + rim + 2 * np.pi * R_IN * (1.0 - (R_OUT - R_IN))
    # A row of points 0.1 mm wide along each border belongs to one side or the other.
    tolerance = 0.06 * 2 * np.pi * R_OUT
    for name, true in {
        "external": top + wall,
        "intaglio": inside,
        "occlusal": top,
        "axial": wall,
        "margin": band,
    }.items():
        assert area_set.area_mm2(name) == pytest.approx(true, abs=2 * tolerance), name
    assert "touches the whole occlusal surface" in area_set.missing["fossae"]


def test_dimple_is_a_fossa_by_formula() -> None:
    """A ball of 1.5 mm rests on a round dimple's border; closed form of the gap under it."""
    area_set = find_areas(evaluation_mesh(thimble(dimple=True)))
    rho = np.linspace(0, DIMPLE, 6001)
    under_ball = np.sqrt(1.5**2 - DIMPLE**2) - np.sqrt(1.5**2 - rho**2)
    floor = np.sqrt(BOWL**2 - DIMPLE**2) - np.sqrt(BOWL**2 - rho**2)
    widest = rho[under_ball - floor > 0.03].max()
    cap = 2 * np.pi * BOWL * (BOWL - np.sqrt(BOWL**2 - widest**2))
    assert area_set.area_mm2("fossae") == pytest.approx(cap, rel=0.1)
    points = area_set.evaluation.points[area_set["fossae"].points]
    assert np.linalg.norm(points[:, :2], axis=1).max() < widest + 0.08


def test_open_shell_takes_its_border_for_the_margin_line() -> None:
    mesh = thimble()
    outer = np.linalg.norm(mesh.triangles.mean(axis=1)[:, :2], axis=1) > R_OUT - 0.01
    shell = mesh.kept(outer | (mesh.triangles.mean(axis=1)[:, 2] > HEIGHT - 0.01))
    area_set = find_areas(evaluation_mesh(shell))
    assert area_set.margin_line is not None
    assert area_set.margin_line.length_mm == pytest.approx(2 * np.pi * R_OUT, rel=1e-4)
    assert area_set.insertion == pytest.approx([0, 0, 1], abs=1e-9)
    assert "open shell that faces outward" in area_set.missing["intaglio"]
    assert area_set["external"].points.all()
    one_side = 2 * np.pi * R_OUT * 1.0
    assert area_set.area_mm2("margin") == pytest.approx(one_side, rel=0.06)


def test_inner_shell_has_an_intaglio_and_no_external_surface() -> None:
    mesh = thimble()
    middle = mesh.triangles.mean(axis=1)
    inner = (np.linalg.norm(middle[:, :2], axis=1) < R_IN + 0.01) & (middle[:, 2] < DEPTH + 0.01)
    area_set = find_areas(evaluation_mesh(mesh.kept(inner)))
    assert area_set["intaglio"].points.all()
    assert area_set.insertion == pytest.approx([0, 0, 1], abs=1e-9)
    for name in ("external", "occlusal", "axial", "fossae"):
        assert name not in area_set.areas
        assert "faces inward" in area_set.missing[name]


def test_solid_without_a_cavity_is_said_to_have_none() -> None:
    solid = revolved([(0.0, 0.0), *line((0, 0), (4, 0), 40), *line((4, 0), (4, 6), 60),
                      *line((4, 6), (0, 6), 40)])  # fmt: skip
    area_set = find_areas(evaluation_mesh(solid))
    assert list(area_set.areas) == ["whole", "external"]
    assert area_set.margin_line is None
    assert area_set.insertion is None
    assert "no cavity" in area_set.missing["intaglio"]
    assert "no cavity" in area_set.missing["margin"]
    assert "cavity it cannot be found" in area_set.missing["occlusal"]
    with pytest.raises(AreaError, match="no cavity"):
        area_set["intaglio"]


def test_solid_gets_an_occlusal_surface_from_a_given_path_of_insertion() -> None:
    solid = revolved([(0.0, 0.0), *line((0, 0), (4, 0), 40), *line((4, 0), (4, 6), 60),
                      *line((4, 6), (0, 6), 40)])  # fmt: skip
    area_set = find_areas(evaluation_mesh(solid), AreaSettings(insertion=(0, 0, 2)))
    assert area_set.insertion == pytest.approx([0, 0, 1])
    assert area_set.area_mm2("occlusal") == pytest.approx(np.pi * 16, rel=0.05)


def test_shallow_dish_is_no_cavity() -> None:
    """A hollow as flat as an occlusal surface must not be taken for an intaglio."""
    dish = [(0.0, 2.0), *line((0, 2.0), (4.5, 0.0), 60), *line((4.5, 0), (4.5, 6), 60),
            *line((4.5, 6), (0, 6), 40)]  # fmt: skip
    area_set = find_areas(evaluation_mesh(revolved(dish)))
    assert "intaglio" not in area_set.areas
    assert "times its opening" in area_set.missing["intaglio"]


def test_debris_and_a_small_hole_change_nothing() -> None:
    crown = design(0.3, True)
    mesh = crown.mesh
    hole = np.ones(len(mesh), dtype=bool)
    hole[np.flatnonzero(crown.s[mesh.faces].min(axis=1) > 7.0)[:6]] = False
    speck = np.array([[0.3, 0.2, 1.5], [0.5, 0.2, 1.5], [0.3, 0.4, 1.5], [0.3, 0.2, 1.7]])
    count = len(mesh.vertices)
    dirty = TriangleMesh(
        np.vstack([mesh.vertices, speck]),
        np.vstack([mesh.faces[hole], count + np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3]])]),
    )
    area_set = find_areas(evaluation_mesh(dirty))
    clean = found(0.3, True)
    assert area_set.margin_line is not None
    assert clean.margin_line is not None
    errors = line_errors_um(area_set.margin_line.points_mm, clean.margin_line.points_mm)
    assert errors.max() < 0.01
    assert area_set.area_mm2("intaglio") == pytest.approx(clean.area_mm2("intaglio"), rel=1e-6)
    assert not area_set["external"].points[count : count + 4].any()
    assert any("smaller pieces" in text for text in area_set.warnings)
    assert any("open borders" in text for text in area_set.warnings)


def test_wider_band_is_wider() -> None:
    evaluation = found(0.3, True).evaluation
    half = find_areas(evaluation, AreaSettings(margin_band_mm=0.5))
    ratio = half.area_mm2("margin") / found(0.3, True).area_mm2("margin")
    assert 0.45 < ratio < 0.53


def test_contact_areas_need_a_direction() -> None:
    area_set = find_areas(found(0.3, True).evaluation)
    assert "mesial direction is not given" in area_set.missing["contact_mesial"]
    with pytest.raises(AreaError, match="runs along the path of insertion"):
        find_areas(found(0.3, True).evaluation, AreaSettings(mesial_direction=(0.0, 0.0, 1.0)))


@pytest.mark.parametrize(
    "change",
    [
        {"margin_band_mm": 0.0},
        {"margin_band_mm": float("nan")},
        {"fossa_gap_mm": -1.0},
        {"insertion": (0.0, 0.0, 0.0)},
        {"mesial_direction": (1.0, 2.0)},
        {"mesial_direction": (1.0, 2.0, float("inf"))},
    ],
)
def test_settings_that_make_no_sense_are_refused(change: dict) -> None:
    with pytest.raises(SettingError, match=next(iter(change))):
        AreaSettings(**change)


def test_design_without_faces_is_refused() -> None:
    empty = TriangleMesh(np.zeros((3, 3)), np.zeros((0, 3), dtype=int), "empty.stl")
    evaluation = EvaluationMesh(
        empty, empty, np.zeros(0, int), np.full(3, -1), np.zeros((3, 3)), 0.1
    )
    with pytest.raises(AreaError, match=r"empty\.stl"):
        find_areas(evaluation)


def test_progress_never_falls_and_ends_at_one() -> None:
    fractions = [step.fraction for step in find_areas_steps(found(0.3, True).evaluation)]
    assert fractions == sorted(fractions)
    assert fractions[-1] == 1.0
    assert len(fractions) >= 6


def test_reasons_name_no_option_of_any_one_program() -> None:
    """They are read on the command line, in reports and in Blender alike."""
    solid = revolved([(0.0, 0.0), *line((0, 0), (4, 0), 40), *line((4, 0), (4, 6), 60),
                      *line((4, 6), (0, 6), 40)])  # fmt: skip
    for area_set in (find_areas(found(0.3, True).evaluation), find_areas(evaluation_mesh(solid))):
        said = [*area_set.missing.values(), *area_set.warnings]
        assert said
        assert not [text for text in said if "--" in text or "_" in text]


def test_the_terminal_names_the_option_that_helps() -> None:
    console = Console(width=200, file=io.StringIO(), record=True)
    console.print(areas_table(find_areas(found(0.3, True).evaluation)))
    said = console.export_text()
    assert "No mesial contact: The mesial direction is not given. Give it with --mesial." in said
