"""Cavities that no crown has are doubted; whatever is a crown keeps its areas.

Sizes are by formula, so that what the reason says can be checked: see ``cavity_shapes``.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.areas.area_set import AreaSet, AreaSettings
from cuspwise.standalone_core.areas.find import find_areas
from cuspwise.standalone_core.areas.plausible import cavity_of
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.cavities import APEX_MM, ONE_ROOT, Crown, roots, spike, tooth

NEVER = {"intaglio", "margin", "occlusal", "axial", "fossae"}

CROWNS = {
    "lower incisor, wall 0.5": Crown(2.2, 2.6, 8.0, 0.5, 1.2, y_by_x=1.2),
    "small, wall 0.5": Crown(1.8, 2.1, 5.0, 0.5, 1.0),
    "premolar, wall 2.2": Crown(3.3, 3.6, 7.5, 2.2, 1.5, taper=0.02),
    "premolar, wall 2.5": Crown(3.5, 3.8, 7.5, 2.5, 1.5, taper=0.0),
    "premolar, 4 mm of occlusal": Crown(3.2, 3.6, 8.0, 0.8, 4.0),
    "molar, 5 mm of occlusal": Crown(4.4, 5.3, 8.0, 0.8, 5.0),
    "large molar": Crown(5.2, 6.2, 8.0, 0.7, 1.5),
    "molar on an implant": Crown(2.6, 5.2, 9.0, 0.6, 3.5, channel=1.1),
    "incisor on an implant": Crown(2.2, 2.6, 12.0, 0.5, 2.5, channel=0.8, y_by_x=1.15),
    "very thin": Crown(4.4, 5.3, 7.0, 0.35, 0.4),
}
CANAL = spike((0.3, 0.2, APEX_MM - 1.0), (0.25, 0.15, APEX_MM + 14.0), 1.56, 0.96)


def access(radius: float, depth_mm: float) -> Callable[[np.ndarray], np.ndarray]:
    return spike((0.0, 0.0, 7.5), (0.0, 0.0, 6.3 - depth_mm), 1.2 * radius, 0.8 * radius)


OTHERS = {
    "root canal": (lambda: tooth([ONE_ROOT], hollow=CANAL, cut_mm=APEX_MM + 1.0), "so deep"),
    "access cavity": (lambda: tooth([ONE_ROOT], hollow=access(1.5, 4.0)), "goes on for"),
    "wide access cavity": (lambda: tooth([ONE_ROOT], hollow=access(2.0, 5.0)), "goes on for"),
    "cavity in the neck": (
        lambda: tooth([ONE_ROOT], hollow=spike((5, 0, 0), (1, 0, 0), 1.6, 1.2)),
        "opens so narrowly",
    ),
    "between two roots": (lambda: tooth(roots(2), half=(5.2, 4.8, 3.8)), "between the roots"),
    "between three roots": (lambda: tooth(roots(3), half=(5.2, 4.8, 3.8)), "between the roots"),
}
"""Parts that had a margin and an intaglio, and why they have none."""


def areas_of(mesh: TriangleMesh) -> AreaSet:
    return find_areas(evaluation_mesh(mesh, 0.2))


@pytest.mark.parametrize("name", CROWNS)
def test_crowns_keep_their_areas(name: str) -> None:
    """The margin lies at z = 0, where it is cut straight, and is as long as the formula's."""
    crown = CROWNS[name]
    area_set = areas_of(crown.mesh())
    assert {"external", "intaglio", "margin", "axial"} <= set(area_set.areas)
    assert area_set.margin_line is not None
    assert np.abs(area_set.margin_line.points_mm[:, 2]).max() < 0.25
    half = np.ptp(area_set.margin_line.points_mm[:, :2], axis=0) / 2
    true = crown.margin * np.array([1.0, crown.y_by_x])
    # Between the outer edge of the rim and its inner one, where the flat rim is wide.
    assert (half <= true + 0.15).all()
    assert (half >= true - crown.wall - 0.15).all()


@pytest.mark.parametrize("cusps", [4, 5])
def test_demo_crowns_are_far_from_every_limit(cusps: int) -> None:
    crown = demo_crown(0.3, CrownShape(cusp_count=cusps))
    area_set = areas_of(crown.mesh)
    assert area_set.margin_line is not None
    assert area_set.insertion is not None
    cavity = cavity_of(
        area_set.evaluation,
        area_set["external"].points,
        area_set["intaglio"].points,
        area_set.margin_line.points_mm,
        area_set.insertion,
    )
    assert cavity.doubt == ""
    assert cavity.opening_mm > 0.8 * cavity.width_mm
    assert cavity.closed > 0.8
    assert cavity.below_share == 0.0


@pytest.mark.parametrize("name", OTHERS)
def test_cavities_that_no_crown_has_make_no_areas(name: str) -> None:
    make, words = OTHERS[name]
    area_set = areas_of(make())
    assert not NEVER & set(area_set.areas)
    assert area_set.margin_line is None
    assert area_set.insertion is None
    for area in ("intaglio", "margin"):
        assert words in area_set.missing[area]
        assert area_set.missing[area] in area_set.warnings
    assert "cavity it cannot be found" in area_set.missing["axial"]


def test_numbers_of_a_cavity_are_those_of_the_formula() -> None:
    """A tooth 19.3 mm long and √(8.4 × 7.6) = 7.99 mm across, with a cavity 5 mm deep."""
    reason = areas_of(OTHERS["wide access cavity"][0]()).missing["intaglio"]
    numbers = [float(n) for n in re.findall(r"(\d+\.\d) mm", reason)]
    opening, depth, across, length, beyond = numbers
    assert across == pytest.approx(np.sqrt(8.4 * 7.6), abs=0.15)
    assert depth + beyond == pytest.approx(length, abs=0.2)
    # The cavity is a rod with a round end of 1.6 mm at z = 1.3; the apex lies at −13.6.
    assert beyond == pytest.approx(1.3 - 1.6 - APEX_MM, abs=0.3)
    assert 2 * 2.0 < opening < 2 * 1.2 * 2.0


def test_an_outside_that_hangs_below_the_rim_is_no_crowns() -> None:
    """A box of 4 × 8 × 10 mm beside a crown, its top at the margin: 9 mm of it count as below."""
    crown = CROWNS["large molar"].mesh()
    box = trimesh.creation.box((4.0, 8.0, 10.0)).apply_translation([9.0, 0.0, -5.0])
    both = TriangleMesh(
        np.vstack([crown.vertices, box.vertices]),
        np.vstack([crown.faces, box.faces + len(crown.vertices)]),
    )
    evaluation = evaluation_mesh(both, 0.2)
    of_crown = areas_of(crown)
    assert of_crown.margin_line is not None
    intaglio = np.zeros(len(both.vertices))
    count = len(crown.vertices)
    intaglio[:count] = of_crown["intaglio"].points[:count]
    inside = evaluation.interpolate(intaglio) > 0.5
    rim = of_crown.margin_line.points_mm
    cavity = cavity_of(evaluation, ~inside, inside, rim, np.array([0.0, 0.0, 1.0]))
    below = 4.0 * 8.0 + 2 * (4.0 + 8.0) * 9.0
    assert cavity.below_share == pytest.approx(
        below / evaluation.weights_mm2[~inside].sum(), rel=0.03
    )
    assert "lie below its rim" in cavity.doubt


def test_a_check_of_a_tooth_judges_no_margin() -> None:
    mesh = tooth([ONE_ROOT], hollow=CANAL, cut_mm=APEX_MM + 1.0)
    in_place = SuperimposeSettings(start="in_place", refine=False, look_for_rivals=False)
    rng = np.random.default_rng(0)
    scan = TriangleMesh(
        mesh.vertices + 0.02 * rng.standard_normal((len(mesh.vertices), 1)) * mesh.vertex_normals,
        mesh.faces,
    )
    result = check_meshes(mesh, scan, CheckSettings(superimpose=in_place, spacing_mm=0.2))
    assert not NEVER & {row.area for row in result.measures}
    assert not NEVER & {patch for found in result.patches for patch in found.areas}
    assert not NEVER & {verdict.area for verdict in result.verdicts}
    said = f"The tolerance of margin was not used: {result.area_set.missing['margin']}"
    assert any(said in text for text in result.warnings)


def test_a_path_of_insertion_that_is_given_still_parts_the_outside() -> None:
    mesh = OTHERS["root canal"][0]()
    area_set = find_areas(evaluation_mesh(mesh, 0.3), AreaSettings(insertion=(0.0, 0.0, 1.0)))
    assert {"occlusal", "axial"} <= set(area_set.areas)
    assert not {"intaglio", "margin"} & set(area_set.areas)
