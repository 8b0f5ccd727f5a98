"""What a study of the demo's crowns must find: true trueness per crown, and per group."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from cuspwise.standalone_core.demo.study_groups import NOISE_UM
from cuspwise.standalone_core.demo.study_scenario import DemoScan, StudyCase
from oracle.true_measures import NoiseModel, TrueMeasures
from oracle.truth import truth_of


@dataclass(frozen=True)
class TrueTrueness:
    """The true measures of one scan against the design.

    Attributes
    ----------
    scan : DemoScan
        Which scan.
    measures : tuple of TrueMeasures
        Per area, from design to scan, best-fitted, with the scanner's noise.
    """

    scan: DemoScan
    measures: tuple[TrueMeasures, ...]

    def value(self, area: str, measure: str) -> float:
        """Return one number, µm."""
        return float(next(getattr(row, measure) for row in self.measures if row.area == area))


def true_trueness(
    case: StudyCase, scans: Iterable[DemoScan] | None = None, *, spacing_mm: float = 0.1
) -> tuple[TrueTrueness, ...]:
    """Work out the true measures of scans from the formulae.

    Parameters
    ----------
    case : StudyCase
        The demo study.
    scans : iterable of DemoScan, optional
        Which; all crowns by default.
    spacing_mm : float
        Spacing of the points. A crown takes about 13 s at 0.1 mm and a third of that at 0.2.
    """
    noise = NoiseModel(NOISE_UM)
    return tuple(
        TrueTrueness(
            scan,
            truth_of(case.surface(scan), spacing_mm=spacing_mm).measures(
                "best_fit", noise=noise, directions=("design_to_scan",)
            ),
        )
        for scan in (case.scans if scans is None else scans)
    )


def group_means(rows: Iterable[TrueTrueness], area: str, measure: str) -> dict[str, float]:
    """Return the mean of one measure over the crowns of each group."""
    values: dict[str, list[float]] = {}
    for row in rows:
        values.setdefault(row.scan.group, []).append(row.value(area, measure))
    return {group: float(np.mean(found)) for group, found in values.items()}
