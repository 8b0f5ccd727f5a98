"""What a reader is told beside the causes."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.causes.correction import factor_question
from cuspwise.standalone_core.causes.notes import about_sag
from cuspwise.standalone_core.causes.settings import ProductionFacts
from cuspwise.standalone_core.causes.words import COARSE_CLAUSE, percent_range, um_range
from cuspwise.standalone_core.check import check_meshes
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import BallFill, ProductionErrors
from cuspwise.standalone_core.explain import explain


def test_facet_sag_is_told_from_the_size_on_that_a_cause_is_stated_from():
    weights = np.array([1.0, 3.0])
    # Root mean square √((4² + 3 · 2²) / 4) = 2.6 µm, weighted by area.
    (told,) = about_sag(np.array([4e-3, -2e-3]), weights, 0.25)
    assert "(0.25 mm edges)" in told
    assert "2.6 µm RMS of worn cusps" in told
    assert not about_sag(np.array([1e-3, 1e-3]), weights, 0.1)


@pytest.mark.parametrize(
    ("factor", "told"),
    [
        (25.0, "Larger by 25 % is 1.2500; against a shrinkage by 25 % it takes 1.3333."),
        (20.0, "against a shrinkage by 20 % it takes 1.2500."),
        (0.8, "An enlargement factor of 0.8 is hardly meant"),
    ],
)
def test_a_factor_that_is_hardly_meant_is_questioned(factor: float, told: str):
    """1 / (1 − s): 20 % → 1.25, 25 % → 1.3333 (arithmetic)."""
    question = factor_question(ProductionFacts(enlargement=factor))
    assert told in question
    assert "No next factor is given." in question


@pytest.mark.parametrize("factor", [1.0, 1.245, 1.5])
def test_a_usual_factor_is_not(factor: float):
    assert not factor_question(ProductionFacts(enlargement=factor))


def test_sizes_are_written_with_their_interval():
    assert percent_range(4.2, 3.6, 4.8) == "+0.42 % (0.36 to 0.48)"
    assert um_range(15.2, 13.9, 16.5) == "15 µm (14 to 16)"
    assert um_range(3.25, 2.5, 4.0) == "3.2 µm (2.5 to 4.0)"


@pytest.mark.slow
@pytest.mark.parametrize(("edge_mm", "coarse"), [(0.12, False), (0.3, True)])
def test_filled_fossae_may_be_a_coarse_scanner(edge_mm: float, coarse: bool):
    """Where the scan's edges in the fossae exceed a quarter of the ball's radius of 0.9 mm."""
    design = demo_crown(edge_mm=0.15)
    errors = ProductionErrors(fills=(BallFill(0.9, 0.4),), any_pose=False)
    scan = produce(design, errors, edge_mm=edge_mm, rng=np.random.default_rng(3))
    settings = CheckSettings(spacing_mm=0.15, production=ProductionFacts(way="printed"))
    row = explain(check_meshes(design.mesh, scan.mesh, settings)).of_family("fossae")
    assert row is not None
    assert (COARSE_CLAUSE in row.sentence) == coarse
