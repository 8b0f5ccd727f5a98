"""There is one way from surfaces to deviations, and areas of one's own go along it."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path
from threading import Event

import cuspwise
import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.check import CheckSettings, check_meshes_steps
from cuspwise.standalone_core.checked_mesh import checked_surface
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.measure import area_steps
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.progress import Progress, Steps, run
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings

ADDON = Path(cuspwise.__path__[0]) / "addon"
# What a second pipeline would be made of; Blender asks ``measure`` and ``check`` for all of it.
PARTS = {
    "repair_mesh",
    "SurfaceIndex",
    "find_areas_steps",
    "superimpose_steps",
    "measure_deviation_steps",
    "mutual_steps",
    "with_unmatched",
    "measure_marks",
    "doubt_about",
}
IN_PLACE = SuperimposeSettings(start="in_place", refine=False, look_for_rivals=False)
SETTINGS = CheckSettings(
    superimpose=IN_PLACE, spacing_mm=0.4, tolerances=Tolerances({"whole": 25.0})
)


def upper_half_steps(evaluation: EvaluationMesh) -> Steps[AreaSet]:
    """One area, which no rule finds."""
    yield Progress("Dividing", 0.5)
    heights = evaluation.points[:, 2]
    upper = Area("upper", heights > np.median(heights), origin="user")
    whole = Area("whole", np.ones(len(heights), dtype=bool))
    return AreaSet(evaluation, {"whole": whole, "upper": upper})


def test_areas_of_ones_own_take_the_place_of_the_rules() -> None:
    design = checked_surface(demo_crown(0.4).mesh)
    found = run(area_steps(design, SETTINGS, upper_half_steps))
    assert list(found.areas) == ["whole", "upper"]
    points = evaluation_mesh(design.mesh, SETTINGS.spacing_mm).points
    assert np.array_equal(found.evaluation.points, points)


def test_a_check_measures_areas_of_ones_own() -> None:
    """A scan 10 µm above the design along z: as much in the upper half as it is inclined."""
    mesh = demo_crown(0.4).mesh
    lifted = mesh.moved(
        np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0.01], [0, 0, 0, 1]], float)
    )
    result = run(check_meshes_steps(mesh, lifted, SETTINGS, find_areas=upper_half_steps))
    assert {row.area for row in result.measures} == {"whole", "upper"}
    inside = result.area_set["upper"].points & result.design_to_scan.counted
    weights = result.design_to_scan.weights_mm2[inside]
    mean_um = 1e3 * np.average(result.design_to_scan.deviation_mm[inside], weights=weights)
    assert result.measures_of("upper").mean_um == pytest.approx(mean_um, rel=1e-9)
    assert result.measures_of("upper").mean_um > result.measures_of("whole").mean_um


def test_steps_of_a_finder_are_those_of_the_check() -> None:
    """A finder that is slower than the fit beside it is told of; progress never goes back."""
    mesh = demo_crown(0.4).mesh
    superimposed = Event()

    def slow_steps(evaluation: EvaluationMesh) -> Steps[AreaSet]:
        yield Progress("Dividing slowly", 0.5)
        assert superimposed.wait(60.0)
        return (yield from upper_half_steps(evaluation))

    told = []
    for progress in check_meshes_steps(mesh, mesh, SETTINGS, find_areas=slow_steps):
        told.append(progress)
        if progress.label.startswith("Dividing"):
            superimposed.set()
    assert "Dividing slowly" in [progress.label for progress in told]
    fractions = [progress.fraction for progress in told]
    assert fractions == sorted(fractions)


def test_areas_that_the_fit_asks_for_come_before_it() -> None:
    mesh = demo_crown(0.4).mesh
    settings = replace(SETTINGS, fit_areas=("upper",))
    told = list(check_meshes_steps(mesh, mesh, settings, find_areas=upper_half_steps))
    labels = [progress.label for progress in told]
    assert labels.index("Dividing") < labels.index("Best fit")


def test_the_addon_has_no_pipeline_of_its_own() -> None:
    for path in ADDON.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                assert not PARTS & {alias.name for alias in node.names}, path
