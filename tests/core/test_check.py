"""The whole check, from files or meshes to verdicts."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.check import CheckSettings, check, check_meshes, check_meshes_steps
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.demo.crown import DemoCrown
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.errors import AreaError, FileError, SettingError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.progress import Progress, run
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.crowns import demo_crown

IN_PLACE = SuperimposeSettings(start="in_place", refine=False, look_for_rivals=False)
FIXED = CheckSettings(superimpose=IN_PLACE, spacing_mm=0.3)
EXCESS_MM = 0.012


@lru_cache(maxsize=1)
def design() -> DemoCrown:
    return demo_crown(0.3)


@lru_cache(maxsize=1)
def scan() -> TriangleMesh:
    """The design with 12 µm more material all over, in place."""
    crown = design()
    return TriangleMesh(
        crown.mesh.vertices + EXCESS_MM * crown.vertex_normals, crown.mesh.faces, "scan"
    )


@lru_cache(maxsize=1)
def fixed_result() -> CheckResult:
    return check_meshes(design().mesh, scan(), FIXED)


def somewhere() -> np.ndarray:
    motion = trimesh.transformations.rotation_matrix(2.0, [1.0, -2.0, 0.5])
    motion[:3, 3] = [30.0, -12.0, 7.0]
    return motion


def test_an_even_excess_is_found_in_every_area_and_both_directions() -> None:
    result = fixed_result()
    assert {row.area for row in result.measures} == set(result.area_set.areas)
    assert len(result.measures) == 2 * len(result.area_set.areas)
    for area in ("whole", "external", "occlusal", "intaglio"):
        row = result.measures_of(area, "scan_to_design")
        assert row.coverage > 0.99
        # Points offset along the exact normal are this far from the surface, whose chords lie
        # up to 0.3²/8R below it (9 µm at R = 1.25 mm) where it is curved.
        assert row.median_um == pytest.approx(12.0, abs=1.5), area
    assert result.superimposition.T_design_scan == pytest.approx(np.eye(4))


def test_result_holds_together() -> None:
    result = fixed_result()
    n, m = len(design().mesh.vertices), len(scan().vertices)
    np.testing.assert_array_equal(result.evaluation.points[:n], result.design.mesh.vertices)
    np.testing.assert_allclose(result.scan_in_place.points[:m], scan().vertices, atol=1e-12)
    assert len(result.design_to_scan) == len(result.evaluation.points)
    assert len(result.scan_to_design) == len(result.scan_in_place.points)
    assert [found.area for found in result.verdicts] == list(result.area_set.areas)
    for row in result.measures:
        judged = next(found for found in result.verdicts if found.area == row.area)
        expected = judged.verdict if row.direction == "design_to_scan" else ""
        assert row.verdict == expected
        both = [other.hausdorff_um for other in result.measures if other.area == row.area]
        assert row.hausdorff_both_um == max(both)
    stages = {name: spent for name, spent in result.seconds.items() if name != "total"}
    assert set(stages) == {"make ready", "index", "superimpose", "measure", "judge"}
    assert result.seconds["total"] == pytest.approx(sum(stages.values()))
    assert set(result.versions) == {"cuspwise", "numpy", "scipy", "python"}
    assert result.settings == FIXED


def test_progress_only_rises() -> None:
    seen: list[Progress] = []
    run(check_meshes_steps(design().mesh, scan(), FIXED), seen.append)
    fractions = [progress.fraction for progress in seen]
    assert fractions == sorted(fractions)
    assert 0 <= fractions[0] < 0.05
    assert 0.9 < fractions[-1] <= 1.0


def test_the_same_input_gives_the_same_numbers() -> None:
    again = check_meshes(design().mesh, scan(), FIXED)
    np.testing.assert_equal(again.measures, fixed_result().measures)
    assert again.patches == fixed_result().patches


def test_files_give_what_meshes_give(tmp_path: Path) -> None:
    paths = tmp_path / "design.stl", tmp_path / "scan.stl"
    write_mesh(paths[0], design().mesh)
    write_mesh(paths[1], scan())
    before = [path.read_bytes() for path in paths]
    result = check(*paths, FIXED)
    assert [path.read_bytes() for path in paths] == before
    assert result.design.file is not None
    assert result.design.file.path == paths[0]
    assert result.seconds["make ready"] > 0.0
    for area in ("whole", "occlusal"):
        ours, other = result.measures_of(area), fixed_result().measures_of(area)
        # STL holds float32: 0.0005 µm at 10 mm.
        assert ours.mean_abs_um == pytest.approx(other.mean_abs_um, abs=0.001)
        assert ours.area_mm2 == pytest.approx(other.area_mm2, rel=1e-6)


def test_the_pose_of_the_scan_does_not_matter() -> None:
    settings = CheckSettings(spacing_mm=0.3)
    still = check_meshes(design().mesh, scan(), settings)
    moved = check_meshes(design().mesh, scan().moved(somewhere()), settings)
    np.testing.assert_allclose(
        moved.superimposition.T_design_scan @ somewhere(),
        still.superimposition.T_design_scan,
        atol=1e-4,
    )
    for row, other in zip(moved.measures, still.measures, strict=True):
        assert row.rms_um == pytest.approx(other.rms_um, abs=0.02), row.area
        assert row.mean_um == pytest.approx(other.mean_um, abs=0.02), row.area


def test_verdicts_follow_the_tolerances() -> None:
    tolerances = Tolerances({"whole": 11.0, "occlusal": 14.0})
    result = check_meshes(design().mesh, scan(), replace(FIXED, tolerances=tolerances))
    verdicts = {found.area: found.verdict for found in result.verdicts}
    assert verdicts["whole"] == "outside"
    assert verdicts["occlusal"] == "within"
    assert verdicts["intaglio"] == "no_tolerance"
    # Nearly everything is beyond 11 µm, on one side; at the rim chords cut it in two.
    assert {patch.kind for patch in result.patches} == {"excess"}
    row = result.measures_of("whole")
    exceeding = sum(patch.area_mm2 for patch in result.patches)
    assert exceeding == pytest.approx(row.above_mm2, rel=0.01)
    assert exceeding > 0.9 * row.area_mm2


def test_half_a_scan_is_not_decidable() -> None:
    half = scan().kept(scan().triangles[:, :, 0].mean(axis=1) > 0)
    result = check_meshes(design().mesh, half, FIXED)
    row = result.measures_of("whole")
    assert row.coverage == pytest.approx(0.5, abs=0.1)
    verdict = next(found for found in result.verdicts if found.area == "whole")
    assert verdict.verdict == "not_decidable"
    assert "%" in verdict.reason
    assert any(text.startswith("Coverage: only") for text in result.warnings)
    # What counts is still right: the border does not leak in.
    assert row.median_um == pytest.approx(fixed_result().measures_of("whole").median_um, abs=0.5)


def test_a_ball_is_not_decidable() -> None:
    """Turning a sphere cannot be seen, so no verdict on places on it can be given."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    mesh = TriangleMesh(ball.vertices, ball.faces, "ball")
    result = check_meshes(mesh, mesh.moved(somewhere()), CheckSettings(spacing_mm=1.0))
    assert result.superimposition.verdict == "ambiguous"
    judged = [found for found in result.verdicts if found.verdict != "no_tolerance"]
    assert judged
    assert {found.verdict for found in judged} == {"not_decidable"}
    assert any(result.superimposition.reason in text for text in result.warnings)


def test_the_fit_can_run_on_chosen_areas() -> None:
    """With the occlusal surface raised, a fit on the intaglio leaves the intaglio at zero."""
    crown = design()
    raised = crown.mesh.vertices.copy()
    top = crown.s > 6.5
    raised[top] += [0.0, 0.0, 0.1]
    settings = CheckSettings(
        spacing_mm=0.3, superimpose=SuperimposeSettings(start="in_place"), fit_areas=("intaglio",)
    )
    lifted = TriangleMesh(raised, crown.mesh.faces)
    on_all = check_meshes(crown.mesh, lifted, replace(settings, fit_areas=()))
    on_part = check_meshes(crown.mesh, lifted, settings)
    inside = crown.mesh.vertices[~top]
    still = on_part.superimposition.T_design_scan
    moved_um = 1e3 * np.abs(inside @ still[:3, :3].T + still[:3, 3] - inside).max()
    assert moved_um < 1.0
    assert on_part.measures_of("intaglio").rms_um < 0.2 * on_all.measures_of("intaglio").rms_um


def test_unknown_areas_are_refused_or_said() -> None:
    with pytest.raises(AreaError, match="roof"):
        check_meshes(design().mesh, scan(), replace(FIXED, fit_areas=("roof",)))
    tolerances = Tolerances().changed({"roof": 10.0})
    with pytest.raises(AreaError, match="roof"):
        check_meshes(design().mesh, scan(), replace(FIXED, tolerances=tolerances))
    # The mesial contact is known, but not found without its direction.
    tolerances = Tolerances().changed({"contact_mesial": 10.0})
    result = check_meshes(design().mesh, scan(), replace(FIXED, tolerances=tolerances))
    assert any("tolerance of contact_mesial" in text for text in result.warnings)
    with pytest.raises(AreaError, match="roof"):
        result.measures_of("roof")


def test_unweighted_measures_on_request() -> None:
    plain = check_meshes(design().mesh, scan(), replace(FIXED, weighted=False))
    assert {row.percentiles for row in plain.measures} == {"linear"}
    d = 1e3 * plain.design_to_scan.deviation_mm
    row = plain.measures_of("whole")
    assert row.mean_um == pytest.approx(np.nanmean(d), rel=1e-12)
    assert row.p90_um == pytest.approx(np.nanpercentile(d, 90), rel=1e-12)


def test_wrong_input_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="absent"):
        check(tmp_path / "absent.stl", tmp_path / "absent.stl")
    with pytest.raises(SettingError, match="spacing_mm"):
        CheckSettings(spacing_mm=0.0)
