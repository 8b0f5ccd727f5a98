"""Sound crowns, of many kinds of scan: neither contradictions nor unmatched surface in any."""

from __future__ import annotations

import os

import numpy as np
import pytest
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import (
    Cut,
    Hole,
    ProductionErrors,
    ScannerNoise,
    Wave,
)
from made.scans import design

CASES = int(os.environ.get("CUSPWISE_CASES", "6"))


def sound_errors(rng: np.random.Generator) -> ProductionErrors:
    """Form errors of 2 to 6 µm, scanner noise of 0 to 5 µm, any pose; some miss 20 %."""
    waves = tuple(
        Wave(
            tuple(rng.normal(size=3).tolist()),
            float(rng.uniform(3.0, 12.0)),
            float(rng.uniform(1.0, 3.0)),
            float(rng.uniform(0.0, 360.0)),
        )
        for _ in range(3)
    )
    noise = ScannerNoise(float(rng.uniform(0.0, 5.0)), correlated_um=float(rng.uniform(0.0, 1.5)))
    missing = rng.integers(3)
    return ProductionErrors(
        waves=waves,
        offset_um=float(rng.uniform(-3.0, 3.0)),
        noise=noise,
        cut=Cut(tuple(rng.normal(size=3).tolist()), 0.2) if missing == 1 else None,
        holes=(Hole(float(rng.uniform(0.0, 360.0)), 3.0, 0.5),) if missing == 2 else (),
    )


@pytest.mark.parametrize("seed", range(CASES))
def test_a_sound_crown_raises_no_alarm(seed: int) -> None:
    rng = np.random.default_rng([8, seed])
    errors = sound_errors(rng)
    edge_mm = float(rng.choice([0.12, 0.2, 0.3]))
    scan = produce(design(), errors, edge_mm=edge_mm, rng=rng).mesh
    result = check_meshes(design().mesh, scan, CheckSettings(spacing_mm=0.2))
    judged = [v for v in result.verdicts if np.isfinite(v.tolerance_um)]
    assert not any(v.contradiction for v in judged), [v.reason for v in judged]
    assert not any(v.verdict == "outside" for v in judged), [v.reason for v in judged]
    assert max((piece.height_um for piece in result.unmatched), default=0.0) < 100.0
    assert not result.scan.repair.layers
    assert result.superimposition.verdict == "good"
    if errors.cut is None:
        assert all(v.verdict == "within" for v in judged), [v.reason for v in judged]
