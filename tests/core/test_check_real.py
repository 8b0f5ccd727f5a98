"""The check on real surfaces whose deviation is known or published."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.check import CheckSettings, check, check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.deviation.field import COUNTED, DeviationSettings
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from scipy.spatial import cKDTree


@dataclass(frozen=True)
class Clipped:
    """A check of the whole surface against the clipped one, and what became of its vertices."""

    result: CheckResult
    removed: np.ndarray
    kept: np.ndarray


@pytest.fixture(scope="module", params=[0.05, 1.0], ids=["near", "far"])
def clipped(request: pytest.FixtureRequest, shared_meshes: Path) -> Clipped:
    """Dentine of a real third molar (micro-CT), and the same less what its authors clipped off.

    Source: worn_pair of the shared meshes (MIT). Their mask says which vertices were removed;
    those still found at the very same place, off the clipped mesh's border, are kept. The few
    along the cut that the authors moved are neither.
    """
    folder = shared_meshes / "worn_pair"
    settings = CheckSettings(
        superimpose=SuperimposeSettings(start="in_place", refine=False, look_for_rivals=False),
        deviation=DeviationSettings(search_mm=request.param),
        tolerances=Tolerances({"whole": 1.0}),
        spacing_mm=0.5,
    )
    result = check(folder / "dentine_original.ply", folder / "dentine_clipped.ply", settings)
    removed = np.load(folder / "removed_mask.npy")
    scan = result.scan.mesh
    distance, nearest = cKDTree(scan.vertices).query(result.design.mesh.vertices)
    kept = ~removed & (distance == 0.0) & ~scan.graph.border_vertices[nearest]
    return Clipped(result, removed, kept)


def test_what_was_kept_is_exact(clipped: Clipped) -> None:
    field = clipped.result.design_to_scan
    assert len(field) == len(clipped.removed)  # no edge is longer than the spacing
    assert clipped.kept.mean() > 0.93
    assert (field.status[clipped.kept] == COUNTED).all()
    assert np.abs(field.deviation_mm[clipped.kept]).max() < 1e-12


def test_what_was_removed_does_not_count(clipped: Clipped) -> None:
    """None of it next to the cut; 1 mm away, a few points of the rim, which curls back."""
    field, removed = clipped.result.design_to_scan, clipped.removed
    counted = field.weights_mm2[removed & field.counted].sum() / field.weights_mm2[removed].sum()
    assert counted == 0 if field.settings.search_mm < 0.1 else 0 < counted < 0.01


def test_coverage_is_what_was_left(clipped: Clipped) -> None:
    weights = clipped.result.evaluation.weights_mm2
    row = clipped.result.measures_of("whole")
    assert row.coverage == pytest.approx(weights[clipped.kept].sum() / weights.sum(), abs=0.005)
    (verdict,) = (found for found in clipped.result.verdicts if found.area == "whole")
    # The authors clipped the mesh itself: what is left of it are the design's own vertices.
    assert verdict.verdict == "not_decidable"
    assert "The scan is the design itself (or a copy of it)" in verdict.reason
    backward = clipped.result.measures_of("whole", "scan_to_design")
    assert backward.coverage > 0.99
    assert backward.median_um == pytest.approx(0.0, abs=1e-9)


def _pooled_um(scan: TriangleMesh, design: TriangleMesh) -> tuple[float, float]:
    """RMS and mean distance over the vertices of both surfaces together, µm, after a fit."""
    fit = SuperimposeSettings(
        start="in_place", max_distance_mm=5.0, tolerance_mm=1e-3, look_for_rivals=False
    )
    settings = CheckSettings(
        superimpose=fit,
        deviation=DeviationSettings(search_mm=5.0, max_normal_angle_deg=180.0),
        spacing_mm=5.0,
        weighted=False,
    )
    result = check_meshes(design, scan, settings)
    rows = [result.measures_of("whole", field.direction) for field in result.fields]
    assert all(row.coverage > 0.999 for row in rows)
    count = sum(row.n for row in rows)
    square = sum(row.n * row.rms_um**2 for row in rows)
    return np.sqrt(square / count), sum(row.n * row.mean_abs_um for row in rows) / count


@pytest.mark.slow  # two fits of 63 mm, from half a millimetre off
def test_a_tooth_row_against_its_published_deviation(shared_meshes: Path) -> None:
    """A row of teeth rebuilt from photographs against the scan of it; the authors' own log.

    Source: arch_pairs/case0 of the shared meshes (MIT): RMSD 0.5061, ASSD 0.4375 mm. Theirs
    follow an expectation–maximisation registration *with a scale* and pool the vertices of both
    surfaces, unweighted. A rigid fit, as here, must leave more than that, for the rebuilt row
    is about 4 % small; once it is scaled to the spread of the other, the least squares fit must
    leave less.
    """
    folder = shared_meshes / "arch_pairs"
    log = (folder / "case0_published_result.log").read_text()
    rmsd, assd = (
        1e3 * float(re.search(rf"\[{name}\].*: ([\d.]+)", log)[1]) for name in ("RMSD", "ASSD")
    )
    design = read_mesh(folder / "case0_upper_reference.obj").mesh
    scan = read_mesh(folder / "case0_upper_test.obj").mesh
    rigid_rms, rigid_mean = _pooled_um(scan, design)
    assert rigid_rms > rmsd
    assert rigid_mean > assd
    arms = scan.vertices - scan.vertices.mean(axis=0)
    spread = np.linalg.norm(design.vertices - design.vertices.mean(axis=0)) / np.linalg.norm(arms)
    scale = spread * np.sqrt(len(arms) / len(design.vertices))
    assert 1.02 < scale < 1.06
    scaled = TriangleMesh(scan.vertices + (scale - 1) * arms, scan.faces)
    scaled_rms, scaled_mean = _pooled_um(scaled, design)
    assert scaled_rms < rmsd
    assert scaled_mean < assd
    # Both fit the same surfaces, so they cannot be far apart either.
    assert scaled_rms == pytest.approx(rmsd, rel=0.2)
