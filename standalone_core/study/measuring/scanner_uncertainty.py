"""How far the scanner alone moves an area's mean absolute deviation, from repeated scans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ...deviation.tolerances import JUDGED_BY
from .results import RepeatScan

LEAST_FREEDOM = 4
"""Fewer repeats than five of one crown (or as many of several) show too little. Ours, no source."""


def scanner_uncertainty_um(repeats: Sequence[RepeatScan]) -> Mapping[str, float]:
    """Return the scanner's standard uncertainty per area, µm.

    The standard deviation of an area's mean absolute deviation between scans of the same crown,
    pooled over crowns, operators taken together: u² = Σ (x − mean of its crown)² / Σ (n − 1).

    Parameters
    ----------
    repeats : sequence of RepeatScan

    Returns
    -------
    mapping of area name to float
        Without the areas for which fewer than four degrees of freedom are left.
    """
    by_area: dict[str, dict[str, list[float]]] = {}
    for scan in repeats:
        for row in scan.scan.measures:
            if row.direction == "design_to_scan" and np.isfinite(getattr(row, JUDGED_BY)):
                crowns = by_area.setdefault(row.area, {})
                crowns.setdefault(scan.crown, []).append(getattr(row, JUDGED_BY))
    found = {}
    for area, crowns in by_area.items():
        freedom = sum(len(values) - 1 for values in crowns.values())
        if freedom >= LEAST_FREEDOM:
            squares = sum(float(np.var(values) * len(values)) for values in crowns.values())
            found[area] = float(np.sqrt(squares / freedom))
    return found
