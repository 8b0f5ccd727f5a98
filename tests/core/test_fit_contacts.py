"""Contacts: spheres against planes and spheres, libigl's distances, classes, and the design."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.errors import MeshError
from cuspwise.standalone_core.fit.contacts.measuring import Tooth, measure_contacts_steps
from cuspwise.standalone_core.fit.contacts.mesial import mesial_direction
from cuspwise.standalone_core.fit.contacts.partial import part_below_zero
from cuspwise.standalone_core.fit.contacts.result import Contacts, ToothContact
from cuspwise.standalone_core.fit.contacts.words import strength_of
from cuspwise.standalone_core.fit.crown import FitCrown
from cuspwise.standalone_core.fit.settings import ContactSettings
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from made.hollow_bodies import box, hollow, inner_radius, joined, sphere
from made.tiers import slow

RADIUS = 4.5


@cache
def outside() -> TriangleMesh:
    return sphere(RADIUS, 5)


@cache
def fine_crown() -> FitCrown:
    return hollow(outside(), sphere(3.5, 2), spacing_mm=1.0)


@cache
def crown() -> FitCrown:
    return hollow(sphere(RADIUS, 3), sphere(3.5, 1), spacing_mm=0.4)


def sag() -> float:
    return RADIUS - inner_radius(outside())


def shift(x: float, y: float = 0.0, z: float = 0.0) -> FloatArray:
    pose = np.eye(4)
    pose[:3, 3] = x, y, z
    return pose


def plate(overlap_mm: float, kind: str = "proximal") -> Tooth:
    """A thick plate into which the sphere reaches, mesially or on top; two triangles a side."""
    if kind == "proximal":
        middle = (RADIUS - overlap_mm + 2.0, 0.0, 0.0)
        return "second premolar.stl", box((4.0, 30.0, 30.0), middle), "proximal"
    return "antagonist.stl", box((30.0, 30.0, 4.0), (0, 0, RADIUS - overlap_mm + 2.0)), "occlusal"


def contacts(*teeth: Tooth, pose: FloatArray | None = None, **given: object) -> Contacts:
    return run(measure_contacts_steps(crown(), pose, teeth, **given))


def only(*teeth: Tooth, **given: object) -> ToothContact:
    (row,) = contacts(*teeth, **given).rows
    return row


def cut_disc_mm2(x: float) -> float:
    """Area of the facetted sphere's section at x, by trimesh: triangles about its middle."""
    body = trimesh.Trimesh(outside().vertices, outside().faces, process=False)
    pieces = trimesh.intersections.mesh_plane(body, [1.0, 0, 0], [x, 0, 0]) - [x, 0, 0]
    return float(0.5 * np.linalg.norm(np.cross(pieces[:, 0], pieces[:, 1]), axis=1).sum())


@pytest.mark.parametrize("overlap_um", [15.0, 40.0, slow(120.0)])
def test_a_sphere_in_a_plane_has_its_depth_and_the_disc_of_the_rim(overlap_um: float) -> None:
    delta = 1e-3 * overlap_um
    (row,) = run(measure_contacts_steps(fine_crown(), None, [plate(delta)])).rows
    # A vertex of the sphere lies on the x axis: the deepest place is exact.
    assert row.gap_um == pytest.approx(-overlap_um, abs=1e-6)
    # Facets lie between the spheres of R − sag and R: so does the rim's disc.
    h = RADIUS - delta
    disc = math.pi * (2 * RADIUS * delta - delta**2)
    assert math.pi * (inner_radius(outside()) ** 2 - h**2) <= row.area_mm2 <= disc
    assert disc - row.area_mm2 <= 2 * math.pi * RADIUS * sag()
    assert row.area_mm2 == pytest.approx(cut_disc_mm2(h), rel=1e-9)
    assert np.linalg.norm(row.place_mm - [RADIUS, 0, 0]) < 0.01
    assert (row.tooth, row.kind, row.side) == ("second premolar.stl", "proximal", "mesial")
    assert row.strength == ("firm" if overlap_um < 30 else "tight")
    assert math.isnan(row.change_um)
    assert f"overlap of {overlap_um:.0f} µm" in row.sentence


@pytest.mark.parametrize(
    ("gap_um", "strength"),
    [(9.0, "light"), (450.0, "open"), slow(0.5, "light"), slow(12.0, "open")],
)
def test_a_gap_is_positive_at_the_nearest_place(gap_um: float, strength: str) -> None:
    row = only(plate(-1e-3 * gap_um))
    assert row.gap_um == pytest.approx(gap_um, abs=1e-6)
    assert row.area_mm2 == 0.0
    assert row.strength == strength
    assert np.linalg.norm(row.place_mm - [RADIUS, 0, 0]) < 1e-6
    assert f"gap of {round(gap_um)} µm" in row.sentence


def test_nothing_near_is_none() -> None:
    found = contacts(plate(-0.6))
    (row,) = found.rows
    assert row.strength == "none"
    assert math.isnan(row.gap_um)
    assert math.isnan(row.place_mm[0])
    assert row.side == "mesial"
    assert row.sentence == "Mesial contact: nothing within 0.5 mm."
    assert np.isnan(found.gap_um).all()
    assert not found.warnings


@pytest.mark.parametrize("subdivisions", [4, slow(5)])
def test_two_spheres_share_a_lens(subdivisions: int) -> None:
    delta = 0.08
    d = RADIUS + 3.0 - delta
    tooth: Tooth = ("molar.stl", sphere(3.0, subdivisions, (-d, 0.0, 0.0)), "proximal")
    (row,) = run(measure_contacts_steps(fine_crown(), None, [tooth])).rows
    # Vertex on vertex: below a vertex whose facets fall by τ, a place is as deep times cos τ.
    assert -80.0 <= row.gap_um <= -80.0 * inner_radius(outside()) / RADIUS
    assert row.side == "distal"
    x = (d**2 + RADIUS**2 - 3.0**2) / (2 * d)
    disc = math.pi * (RADIUS**2 - x**2)
    # Each sphere's facets fall short by its sag, which shifts the overlap by as much; the disc
    # grows by 2π R₁ R₂ / (R₁ + R₂) for each mm of overlap.
    missing = sag() + 3.0 - inner_radius(sphere(3.0, subdivisions))
    assert -1e-3 * disc <= disc - row.area_mm2 <= 2 * math.pi * RADIUS * 3.0 / 7.5 * missing
    assert np.linalg.norm(row.place_mm - [-RADIUS, 0, 0]) < 0.02


@pytest.mark.slow
def test_pose_and_frame_do_not_matter() -> None:
    turn = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))[0]
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = turn * np.linalg.det(turn), (20.0, 5.0, -3.0)
    name, mesh, kind = plate(0.04)
    row, moved = only(plate(0.04)), only((name, mesh.moved(pose), kind), pose=pose)
    assert moved.gap_um == pytest.approx(row.gap_um, abs=1e-6)
    assert moved.area_mm2 == pytest.approx(row.area_mm2, rel=1e-6)
    # Which of the equally near facets around the vertex holds the place is left to rounding.
    assert np.allclose(moved.place_mm, pose[:3, :3] @ row.place_mm + pose[:3, 3], atol=0.01)
    assert moved.side == row.side == "mesial"


def cone(tip: tuple, below_mm: float = 3.0, half_angle_deg: float = 30.0) -> TriangleMesh:
    """A pointed cusp that hangs down to its tip."""
    turn = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
    radius = below_mm * math.tan(math.radians(half_angle_deg))
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn + below_mm], axis=1)
    points = np.vstack([ring, [[0, 0, 0], [0, 0, below_mm]]]) + tip
    k = np.arange(24)
    after = (k + 1) % 24
    side = np.stack([np.full(24, 24), after, k], axis=1)
    top = np.stack([np.full(24, 25), k, after], axis=1)
    made = TriangleMesh(points, np.vstack([side, top]), "cusps.stl")
    assert made.volume_mm3 > 0.0
    return made


def test_a_pointed_cusp_between_the_crowns_points_is_as_deep_as_its_tip() -> None:
    block = hollow(box((9.0, 9.0, 8.0)), box((6.0, 6.0, 5.0)), spacing_mm=0.5)
    tooth: Tooth = ("cusps.stl", cone((0.237, 0.113, 3.94)), "occlusal")
    (row,) = run(measure_contacts_steps(block, None, [tooth])).rows
    # Crown's points inside the cusp lie at most 0.06 sin 30° from its flank, its tip 0.06 deep.
    assert row.gap_um == pytest.approx(-60.0, abs=1e-6)
    # The cusp's section at the surface: a 24-gon of circumradius 0.06 tan 30°.
    polygon = 12 * math.sin(math.radians(15.0)) * (0.06 * math.tan(math.radians(30.0))) ** 2
    assert row.area_mm2 == pytest.approx(polygon, rel=0.2)
    assert np.linalg.norm(row.place_mm - [0.237, 0.113, 4.0]) < 0.01


def test_each_occlusal_contact_is_a_row_the_deepest_first() -> None:
    block = hollow(box((9.0, 9.0, 8.0)), box((6.0, 6.0, 5.0)), spacing_mm=0.5)
    depths = {(-2.5, 2.0): 0.02, (2.0, 2.5): 0.05, (0.5, -2.5): 0.004}
    cusps = [sphere(1.5, 4, (x, y, 4.0 + 1.5 - depth)) for (x, y), depth in depths.items()]
    found = run(measure_contacts_steps(block, None, [("lower.stl", joined(*cusps), "occlusal")]))
    assert len(found.rows) == 3
    assert [row.side for row in found.rows] == ["mesiobuccal", "distobuccal", "lingual"]
    for row, (place, depth) in zip(
        found.rows, sorted(depths.items(), key=lambda item: -item[1]), strict=True
    ):
        assert row.gap_um == pytest.approx(-1e3 * depth, abs=1.0)
        disc = math.pi * (2 * 1.5 * depth - depth**2)
        # Facets of edges e fall short by e²/8R at most 1.5 times; that much less deep, at 2πR.
        assert disc - 2 * math.pi * 1.5 * 2.1e-3 < row.area_mm2 < disc * 1.01
        assert np.linalg.norm(row.place_mm - [*place, 4.0]) < 0.02
    assert found.rows[0].sentence == "Occlusal contact (mesiobuccal) tight: overlap of 50 µm."


def test_lighter_tighter_and_as_designed() -> None:
    design, tooth = crown(), plate(0.02)
    lighter = only(tooth, design=design, pose=shift(-0.035))
    assert lighter.sentence == "Mesial contact 35 µm lighter than designed."
    assert lighter.change_um == pytest.approx(35.0, abs=1e-6)
    assert (lighter.gap_um, lighter.designed_gap_um) == pytest.approx((15.0, -20.0), abs=1e-6)
    assert lighter.area_mm2 == 0.0 < lighter.designed_area_mm2
    (tighter,) = contacts(tooth, design=design, pose=shift(0.025)).rows
    assert tighter.sentence == "Mesial contact 25 µm tighter than designed."
    assert only(tooth, design=design, pose=shift(0.004)).sentence == "Mesial contact as designed."


@pytest.mark.slow
def test_a_lost_contact_is_a_row_with_the_gap_that_is_left() -> None:
    block = hollow(box((9.0, 9.0, 8.0)), box((6.0, 6.0, 5.0)), spacing_mm=0.5)
    worn = block.evaluation.mesh.vertices.copy()
    low = (worn[:, 2] == 4.0) & (worn[:, 0] > 1.0)
    worn[low, 2] -= 0.07
    ground = hollow(
        TriangleMesh(worn[: len(worn)], block.evaluation.mesh.faces).kept(
            ~block.intaglio[block.evaluation.mesh.faces].any(axis=1)
        ),
        box((6.0, 6.0, 5.0)),
        spacing_mm=0.5,
    )
    cusps = joined(sphere(1.5, 4, (-2.5, 0.0, 5.48)), sphere(1.5, 4, (2.5, 0.0, 5.48)))
    tooth: Tooth = ("lower.stl", cusps, "occlusal")
    found = run(measure_contacts_steps(ground, None, [tooth], design=block))
    kept, lost = found.rows
    assert (kept.side, kept.strength) == ("distal", "firm")
    assert "as designed" in kept.sentence
    assert (lost.side, lost.strength) == ("mesial", "open")
    assert lost.gap_um == pytest.approx(50.0, abs=1.5)
    assert lost.area_mm2 == 0.0
    assert lost.designed_gap_um == pytest.approx(-20.0, abs=1.5)
    assert lost.sentence == "Occlusal contact (mesial) 70 µm lighter than designed."


@pytest.mark.parametrize(
    ("gap_um", "strength"),
    [(math.nan, "none"), (10, "open"), (9.9, "light"), (0, "light"), (-0.1, "firm"),
     (-29.9, "firm"), (-30, "tight")],
)  # fmt: skip
def test_classes(gap_um: float, strength: str) -> None:
    assert strength_of(gap_um, ContactSettings()) == strength


def test_limits_are_settings() -> None:
    tight = only(plate(0.0201), settings=ContactSettings(tight_um=20.0))
    assert tight.strength == "tight"
    closed = only(plate(-0.02), settings=ContactSettings(open_um=25.0))
    assert closed.strength == "light"
    assert only(plate(-0.02), settings=ContactSettings(search_mm=0.05)).strength == "open"


def test_signed_distances_are_libigls() -> None:
    igl = pytest.importorskip("igl", reason="libigl is the reference here")
    tooth = sphere(3.0, 4, (RADIUS + 3.0 - 0.08, 0.1, 0.0))
    found = run(measure_contacts_steps(fine_crown(), None, [("premolar.stl", tooth, "proximal")]))
    known = np.isfinite(found.gap_um)
    points = fine_crown().evaluation.points
    theirs = 1e3 * igl.signed_distance(points, tooth.vertices, tooth.faces)[0]
    assert known.sum() > 30
    assert np.allclose(found.gap_um[known], theirs[known], atol=1e-6)
    external = ~fine_crown().intaglio
    assert np.array_equal(known & external, external & (theirs <= 500.0))
    assert not known[~external].any()


def test_open_scans_of_teeth_do_as_well_and_their_borders_say_nothing() -> None:
    name, mesh, kind = plate(0.04)
    sheet = mesh.kept(mesh.face_normals[:, 0] < -0.5)
    row = only((name, sheet, kind))
    assert row.gap_um == pytest.approx(-40.0, abs=1e-6)
    half = sheet.vertices.copy()
    half[:, 1] = np.clip(half[:, 1], 1.0, None)  # ends beside the contact
    beside = only((name, TriangleMesh(half, sheet.faces), kind))
    # The sphere meets the plane's end, 1 mm aside, √(R² − 1) away from its middle.
    true = RADIUS - 0.04 - math.sqrt(RADIUS**2 - 1.0)
    assert beside.gap_um == pytest.approx(1e3 * true, abs=30.0)
    assert beside.gap_um > 0


def test_a_tooth_in_another_frame_is_warned_of() -> None:
    (said,) = contacts(plate(0.6)).warnings
    assert "second premolar.stl" in said
    assert "0.60 mm deep" in said
    assert "frame" in said
    name, mesh, kind = plate(-40.0)
    found = contacts((name, mesh, kind), plate(0.02))
    assert "40.0 mm away" in found.warnings[0]
    assert len(found.warnings) == 1
    assert [row.strength for row in found.rows] == ["none", "firm"]


@pytest.mark.slow
def test_a_tooth_that_passes_through_the_crown_is_warned_of() -> None:
    through = box((1.5, 12.0, 1.5))
    crossing = contacts(("bar.stl", through, "proximal"))
    assert "bar.stl: It overlaps the crown" in crossing.warnings[0]


def test_without_directions_a_side_is_an_angle() -> None:
    unknown = replace(crown(), area_set=replace(crown().area_set, settings=AreaSettings()))
    (row,) = run(measure_contacts_steps(unknown, None, [plate(0.02)])).rows
    assert row.side == "at 0° from the x axis"
    assert row.sentence == "Contact at 0° from the x axis firm: overlap of 20 µm."


def test_an_outer_surface_alone_has_contacts_too() -> None:
    areas = replace(crown().area_set, areas={}, margin_line=None, insertion=None)
    (row,) = run(measure_contacts_steps(replace(crown(), area_set=areas), None, [plate(0.02)])).rows
    assert row.gap_um == pytest.approx(-20.0, abs=1e-6)
    assert row.side == ""
    assert row.sentence == "Contact firm: overlap of 20 µm."


def test_an_empty_tooth_is_refused() -> None:
    with pytest.raises(MeshError, match="no triangles"):
        contacts(("empty.stl", TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3))), "proximal"))


def test_triangles_are_cut_where_the_value_is_zero() -> None:
    rng = np.random.default_rng(0)
    corners = rng.normal(size=(40, 3, 3))
    values = rng.normal(size=(40, 3))
    values[0], values[1] = (-1, -2, -3), (1, 2, 3)
    share, middle = part_below_zero(values, corners)
    weights = rng.dirichlet((1.0, 1.0, 1.0), 40_000)
    for k in range(40):
        below = weights @ values[k] < 0.0
        assert share[k] == pytest.approx(below.mean(), abs=0.015)
        if share[k] > 0.05:
            there = (weights[below] @ corners[k]).mean(axis=0)
            assert np.allclose(middle[k], there, atol=0.15)


def test_mesial_is_where_the_named_neighbours_say():
    """Towards the mesial one, away from the distal one, halfway where the arch bends."""
    cube = trimesh.creation.box()
    crown, mesial, distal = (
        TriangleMesh(cube.vertices + at, cube.faces) for at in ((0, 0, 0), (9, 0, 0), (0, -7, 0))
    )
    assert mesial_direction(crown, [(mesial, "mesial")]) == pytest.approx((1, 0, 0))
    assert mesial_direction(crown, [(distal, "distal")]) == pytest.approx((0, 1, 0))
    both = mesial_direction(crown, [(mesial, "mesial"), (distal, "distal")])
    assert both == pytest.approx((0.5**0.5, 0.5**0.5, 0))
    assert mesial_direction(crown, [(mesial, "unknown")]) is None
    assert mesial_direction(crown, [(mesial, "mesial"), (mesial, "distal")]) is None
