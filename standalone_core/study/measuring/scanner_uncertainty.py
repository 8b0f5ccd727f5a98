"""How far the scanner alone moves an area's mean absolute deviation, from repeated scans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ...arrays import FloatArray
from ...deviation.direction import DESIGN_TO_SCAN, Direction
from ...deviation.tolerances import JUDGED_BY
from .results import RepeatScan

LEAST_FREEDOM = 4
"""Fewer repeats than five of one crown (or as many of several) show too little. Ours, no source."""


def scanner_uncertainty_um(
    repeats: Sequence[RepeatScan], direction: Direction = DESIGN_TO_SCAN
) -> Mapping[str, float]:
    """Return the scanner's standard uncertainty per area, µm.

    The standard deviation of an area's mean absolute deviation between scans of the same crown,
    pooled over crowns, operators taken together: u² = Σ (x − mean of its crown)² / Σ (n − 1).

    Parameters
    ----------
    repeats : sequence of RepeatScan
    direction : {"design_to_scan", "scan_to_design"}
        That of the deviations; a verdict takes the uncertainty for the other one too.

    Returns
    -------
    mapping of area name to float
        Without the areas for which fewer than four degrees of freedom are left.
    """
    by_area: dict[str, dict[str, list[float]]] = {}
    for scan in repeats:
        for row in scan.scan.measures:
            if row.direction == direction and np.isfinite(getattr(row, JUDGED_BY)):
                crowns = by_area.setdefault(row.area, {})
                crowns.setdefault(scan.crown, []).append(getattr(row, JUDGED_BY))
    found = {}
    for area, crowns in by_area.items():
        freedom = sum(len(values) - 1 for values in crowns.values())
        if freedom >= LEAST_FREEDOM:
            squares = sum(float(np.var(values) * len(values)) for values in crowns.values())
            found[area] = float(np.sqrt(squares / freedom))
    return found


def repeatability_um(cells: Mapping[str, Sequence[FloatArray]], cell_mm2: FloatArray) -> float:
    """Return the scanner's repeatability over the surface, µm: root mean square over the area.

    Of each cell the standard deviation between scans of the same crown, pooled over crowns.

    Parameters
    ----------
    cells : mapping of str to sequence of (c,) float
        Per crown, the mean deviations over the design's cells in each of its scans, mm; NaN where
        not measured.
    cell_mm2 : (c,) float
        Areas.

    Returns
    -------
    float
        NaN with fewer than four degrees of freedom.
    """
    squares, freedom = np.zeros(len(cell_mm2)), np.zeros(len(cell_mm2))
    for scans in cells.values():
        values = np.stack(scans)
        there = np.isfinite(values)
        count = there.sum(axis=0)
        mean = np.where(there, values, 0.0).sum(axis=0) / np.maximum(count, 1)
        squares += np.where(there, (values - mean) ** 2, 0.0).sum(axis=0)
        freedom += np.maximum(count - 1, 0)
    enough = freedom >= LEAST_FREEDOM
    if not enough.any():
        return float("nan")
    variance = squares[enough] / freedom[enough]
    return 1e3 * float(np.sqrt(np.average(variance, weights=cell_mm2[enough])))
