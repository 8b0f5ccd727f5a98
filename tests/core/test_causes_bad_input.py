"""Odd crowns, facts and settings: what cannot be done is said, the rest is done, nothing breaks."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.causes.design_fields import CauseFields, cause_fields
from cuspwise.standalone_core.causes.find import CrownToExplain, find_causes
from cuspwise.standalone_core.causes.result import CausesResult
from cuspwise.standalone_core.causes.settings import CausesSettings, ProductionFacts
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.explain import explain
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.caused import first_order, scan_of
from made.caused_form import form_error
from made.caused_shapes import CausedDesign, caused_design
from made.caused_truths import scaled
from made.tiers import slow

NO_FACTS = ProductionFacts()
TOO_LITTLE = "Causes were not looked for: too little of the surface was measured"


@pytest.fixture(scope="module")
def molar() -> CausedDesign:
    return caused_design("molar", 0.3)


@pytest.fixture(scope="module")
def deviation(molar: CausedDesign) -> np.ndarray:
    """Of a crown that is 2 ‰ too large."""
    rng = np.random.default_rng(1)
    return first_order(molar, scaled(2.0).make(molar), form_error(rng, 1.0), rng=rng)


def fields_of(area_set: AreaSet, settings=None, facts=NO_FACTS) -> CauseFields:
    return cause_fields(area_set, SurfaceIndex(area_set.evaluation.mesh), settings, (facts,))


@cache
def plain_fields() -> CauseFields:
    return fields_of(caused_design("molar", 0.3).ready.area_set)


def told(deviation_mm: np.ndarray, fields: CauseFields | None = None, **known) -> CausesResult:
    found = find_causes(fields or plain_fields(), CrownToExplain(deviation_mm, **known))
    hold_together(found)
    return found


def hold_together(found: CausesResult) -> None:
    """Numbers are numbers, intervals hold their estimates, sentences end."""
    assert found.sentences
    for cause in found.causes:
        assert cause.low <= cause.estimate <= cause.high
        assert 0.0 <= cause.probability <= 1.0
        assert math.isfinite(cause.high - cause.low)
    for text in (*found.sentences, *found.notes):
        assert text.endswith(".")
        assert "nan" not in text.split()
        assert "inf" not in text.split()


def is_scale_of_two(found: CausesResult) -> bool:
    """By coarse normals 3 % are missing."""
    scale = found.of_family("scale")
    return scale is not None and scale.cause == "scale" and abs(scale.estimate - 2.0) < 0.15


def noted(found: CausesResult, words: str) -> bool:
    return any(words in note for note in found.notes)


def test_without_an_intaglio(molar, deviation):
    """The rest of what the outside bears is still told; scale is not told from growth."""
    found = told(np.where(molar.external, deviation, np.nan))
    assert noted(found, "Without the intaglio, scale and growth of the outside look alike")
    assert found.of_family("scale").instead == "growth"
    assert found.of_family("growth").instead == "scale"
    whole = told(deviation)
    assert not noted(whole, "Without the intaglio")


def test_without_the_external_surface(molar, deviation):
    found = told(np.where(molar.external, np.nan, deviation))
    assert noted(found, "Without the external surface, scale and growth of the inside look alike")
    assert found.of_family("scale").instead == "growth"


@pytest.mark.parametrize("spared", [{"margin_line": None}, {"insertion": None}])
def test_without_a_margin_line_or_a_path_of_insertion(molar, deviation, spared):
    found = told(deviation, fields_of(replace(molar.ready.area_set, **spared)))
    assert noted(found, "no deformation of the margin is looked for")
    assert is_scale_of_two(found)
    assert not any(cause.family == "margin" for cause in found.causes)


def test_without_any_area(molar, deviation):
    """A closed surface is one; scale is told from uniform growth by its inside all the same."""
    bare = replace(molar.ready.area_set, areas={}, margin_line=None, insertion=None)
    found = told(deviation, fields_of(bare))
    assert is_scale_of_two(found)
    assert noted(found, "no deformation of the margin is looked for")


def test_without_a_build_direction(deviation):
    assert noted(told(deviation), "Without a build direction, layer steps are not looked for")
    facts = ProductionFacts(build_direction=(0.0, 0.0, 1e-6))
    along = told(deviation, facts=facts)
    assert not noted(along, "Without a build direction")
    assert is_scale_of_two(along)
    with pytest.raises(SettingError, match="build_direction"):
        ProductionFacts(build_direction=(0.0, 0.0, 0.0))


@pytest.mark.parametrize("how", ["one side", "anywhere"])
def test_with_a_fifth_of_the_scan_missing(molar, deviation, how):
    x = molar.points[:, 0]
    side = x > np.quantile(x, 0.8)
    lost = side if how == "one side" else np.random.default_rng(2).random(len(x)) < 0.2
    found = told(np.where(lost, np.nan, deviation))
    assert is_scale_of_two(found)
    assert noted(found, "of the surface was not measured") == (how == "one side")


@pytest.mark.parametrize(
    "facts",
    [
        ProductionFacts(bur_radius_mm=4.0),
        ProductionFacts(bur_radius_mm=4.0, way="milled", enlargement=1.25),
        ProductionFacts(bur_radius_mm=1e9, way="milled"),
    ],
)
def test_with_a_bur_larger_than_any_corner(molar, deviation, facts):
    """4/1.25 = 3.2 mm is more than a quarter of 11 mm, too: its radius is searched instead."""
    found = told(deviation, fields_of(molar.ready.area_set, None, facts), facts=facts)
    assert noted(found, "is too large for a crown of 11.0 mm: its radius is searched instead")
    assert is_scale_of_two(found)


def test_a_bur_that_fits_once_it_shrank_is_taken(molar, deviation):
    """3.3/1.25 = 2.64 mm is less than a quarter of 11 mm."""
    facts = ProductionFacts(bur_radius_mm=3.3, way="milled", enlargement=1.25)
    found = told(deviation, fields_of(molar.ready.area_set, None, facts), facts=facts)
    assert not noted(found, "too large")


@pytest.mark.parametrize(("factor", "question"), [(25.0, "percentage"), (0.8, "hardly meant")])
@pytest.mark.parametrize("along", [False, True])
def test_with_a_factor_that_is_hardly_meant(deviation, factor, question, along):
    given = {"enlargement": 1.25, "enlargement_along_build": factor}
    found = told(deviation, facts=ProductionFacts(**(given if along else {"enlargement": factor})))
    assert noted(found, question)
    assert noted(found, "No next factor is given.")
    assert found.corrections == ()
    assert is_scale_of_two(found)


def test_too_little_is_said_with_numbers(molar, deviation):
    x = molar.points[:, 0]
    few = told(np.where(x > np.quantile(x, 0.1), np.nan, deviation))
    assert few.sentences[0].startswith(TOO_LITTLE)
    assert "it takes 60" in few.sentences[0]
    nothing = told(np.full(len(x), np.nan), facts=ProductionFacts(enlargement=25.0))
    assert "0 cells of 1 mm" in nothing.sentences[0]
    assert noted(nothing, "100 % of the surface was not measured")
    assert noted(nothing, "percentage")
    assert nothing.causes == ()
    assert np.isnan(nothing.left_mm).all()
    large = told(deviation, fields_of(molar.ready.area_set, CausesSettings(cell_mm=5.0)))
    assert "cells of 5 mm" in large.sentences[0]


@pytest.mark.parametrize("factor", [0.0, 1e-9, 1e-3, 100.0])
def test_deviations_of_any_size(deviation, factor):
    found = told(factor * deviation)
    assert (found.of_family("scale") is not None) == (factor == 100.0)


def test_the_same_deviation_everywhere_is_uniform_growth(deviation):
    (growth,) = told(np.full(len(deviation), 0.05)).stated
    assert growth.cause == "growth_uniform"
    assert growth.estimate == pytest.approx(50.0, abs=1e-6)


def test_a_scanner_that_repeats_badly_hides_what_is_smaller(deviation):
    found = told(deviation, repeatability_um=100.0)
    assert found.stated == ()
    assert found.sentences[0].startswith("Nothing systematic above 100 µm")
    assert is_scale_of_two(told(deviation, repeatability_um=0.0))


@pytest.mark.parametrize(
    "settings",
    [
        {"cell_mm": 2.0},
        {"rim_mm": 3.0},
        {"rim_mm": 0.0},
        slow({"fossa_ball_mm": 5.0}),
        slow({"fossa_ball_mm": 0.1}),
        slow({"warp_reach_mm": 0.3}),
        slow({"warp_reach_mm": 10.0}),
        slow({"probability": 0.51, "least_um": 0.0}),
        slow({"scanner_scale_permille": -50.0}),
    ],
)
def test_settings_at_their_ends(molar, deviation, settings):
    found = told(deviation, fields_of(molar.ready.area_set, CausesSettings(**settings)))
    scale = found.of_family("scale")
    assert scale.estimate == pytest.approx(
        2.0 - settings.get("scanner_scale_permille", 0.0), rel=0.1
    )


def checked(
    design: TriangleMesh, scan: TriangleMesh, spacing_mm: float = 0.3, **more
) -> CheckResult:
    settings = CheckSettings(
        design_unit="mm",
        scan_unit="mm",
        spacing_mm=spacing_mm,
        superimpose=SuperimposeSettings(look_for_rivals=False),
        **more,
    )
    return check_meshes(design, scan, settings)


def scaled_copy(mesh: TriangleMesh, factor: float, by=(1.0, 1.0, 1.0)) -> TriangleMesh:
    return TriangleMesh(factor * mesh.vertices * np.asarray(by), mesh.faces)


@pytest.fixture(scope="module")
def scan(molar: CausedDesign) -> TriangleMesh:
    rng = np.random.default_rng(5)
    return scan_of(molar, scaled(2.0).make(molar), rng=rng, edge_mm=0.3, any_pose=False)


def test_the_design_as_scan_has_no_causes(molar):
    turned = np.array([[0.0, -1, 0, 3], [1, 0, 0, 2], [0, 0, 1, 1], [0, 0, 0, 1]])
    for copy in (molar.mesh, molar.mesh.moved(turned)):
        found = explain(checked(molar.mesh, copy))
        assert found.causes == ()
        assert "the design's own surface" in found.sentences[0]


@pytest.mark.slow
def test_a_mirrored_scan_has_no_causes(molar, scan):
    mirrored = TriangleMesh(scan.vertices * [-1.0, 1.0, 1.0], scan.faces[:, ::-1])
    found = explain(checked(molar.mesh, mirrored))
    assert found.causes == ()
    assert found.corrections == ()
    assert "the superimposition is not to be trusted" in found.sentences[0]


@pytest.mark.slow
@pytest.mark.parametrize(("size", "spacing_mm"), [(0.3, 0.1), slow(0.05, 0.05)])
def test_a_tiny_crown(molar, scan, size, spacing_mm):
    found = explain(checked(scaled_copy(molar.mesh, size), scaled_copy(scan, size), spacing_mm))
    hold_together(found)
    assert found.sentences[0].startswith(TOO_LITTLE)


@pytest.mark.slow
def test_a_giant_takes_larger_cells(molar, scan):
    found = explain(checked(scaled_copy(molar.mesh, 5.0), scaled_copy(scan, 5.0), 1.0))
    hold_together(found)
    assert noted(found, "The surface is so large")


@pytest.mark.slow
@pytest.mark.parametrize("edge_mm", [0.5, slow(0.8)])
def test_a_coarse_design(edge_mm):
    design = caused_design("molar", edge_mm)
    scan = scan_of(design, rng=np.random.default_rng(1), edge_mm=0.5, any_pose=False)
    hold_together(explain(checked(design.mesh, scan, edge_mm)))


@pytest.mark.parametrize("kept", [0.8, slow(0.4)])
def test_a_scan_that_lacks_a_part(molar, scan, kept):
    there = scan.vertices[:, 0] < np.quantile(scan.vertices[:, 0], kept)
    found = explain(checked(molar.mesh, scan.kept(there[scan.faces].all(axis=1))))
    hold_together(found)
    assert noted(found, "of the surface was not measured")


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["ball", "box", "sheet", "wrong size"])
def test_things_that_are_no_crowns(kind, molar, scan):
    """Where the pose hangs in the air nothing is told; else what is told holds together."""
    if kind == "wrong size":
        design, copy = molar.mesh, scaled_copy(scan, 1.25)
    elif kind == "sheet":
        x = np.linspace(0.0, 10.0, 40)
        plane = np.stack(np.meshgrid(x, x, indexing="ij"), axis=-1).reshape(-1, 2)
        at = np.arange(1600).reshape(40, 40)[:-1, :-1].ravel()
        faces = [[k, k + 40, k + 1] for k in at] + [[k + 1, k + 40, k + 41] for k in at]
        design = TriangleMesh(np.column_stack([plane, np.sin(plane).sum(axis=1)]), faces)
        copy = scaled_copy(design, 1.003)
    else:
        made = (
            trimesh.creation.icosphere(subdivisions=4, radius=5.0)
            if kind == "ball"
            else trimesh.creation.box((8, 8, 8)).subdivide().subdivide().subdivide()
        )
        design = TriangleMesh(made.vertices, made.faces)
        copy = scaled_copy(design, 1.003)
    result = checked(design, copy)
    found = explain(result)
    hold_together(found)
    if result.superimposition.verdict != "good":
        assert found.causes == ()
        assert "not to be trusted" in found.sentences[0]
    assert found.corrections == ()


def told_as_numbers(found: CausesResult) -> list[tuple[float, ...]]:
    return [(one.estimate, one.low, one.high, one.rms_um) for one in found.causes]


def test_the_order_of_faces_changes_nothing(molar, deviation):
    """Same crown, faces and their corners in another order."""
    rng = np.random.default_rng(3)
    mesh = molar.mesh
    faces = np.roll(mesh.faces[rng.permutation(len(mesh.faces))], 1, axis=1)
    evaluation = replace(molar.ready.evaluation, mesh=TriangleMesh(mesh.vertices, faces, mesh.name))
    shuffled = told(deviation, fields_of(replace(molar.ready.area_set, evaluation=evaluation)))
    plain = told(deviation)
    np.testing.assert_allclose(told_as_numbers(shuffled), told_as_numbers(plain), rtol=1e-6)
    assert shuffled.sentences == plain.sentences


@pytest.mark.slow
def test_the_count_of_threads_changes_nothing(molar, deviation):
    """The index asks its tree in one thread or in two; so do linear algebra's libraries."""
    threadpoolctl = pytest.importorskip("threadpoolctl")
    found = []
    for threads in (1, 2):
        with threadpoolctl.threadpool_limits(threads):
            found.append(told(deviation, fields_of(molar.ready.area_set)))
    one, two = map(told_as_numbers, found)
    np.testing.assert_allclose(one, two, rtol=1e-6, atol=1e-9)
    assert found[0].sentences == found[1].sentences
