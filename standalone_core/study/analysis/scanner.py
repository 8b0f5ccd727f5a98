"""What the scanner can show, from crowns that were scanned again and again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...errors import SettingError
from ...statistics.gauge import GaugeStudy, gauge_study
from ...statistics.intraclass import intraclass_of
from ...words.text import listed
from ..cannot_show import DISTANCES
from ..measuring.results import RepeatScan
from .cohort import Cohort, measured
from .results.scores import ScannerRow


@dataclass(frozen=True)
class _Repeated:
    """One value of one repeated scan."""

    crown: str
    operator: str
    trial: str
    value: float


def scanner_rows(cohort: Cohort, repeats: Sequence[RepeatScan]) -> tuple[ScannerRow, ...]:
    """Study the scanner per area and measure; nothing without repeated scans.

    Crowns that some operator scanned less often than others, or without a number for the area,
    are left out of a row, which says so.
    """
    if not repeats:
        return ()
    return tuple(
        _row(cohort, repeats, area, measure) for area in cohort.areas for measure in cohort.measures
    )


def _row(cohort: Cohort, repeats: Sequence[RepeatScan], area: str, measure: str) -> ScannerRow:
    values = [cohort.value_of(r.scan, area, measure) for r in repeats]
    gauge, notes = _gauge(cohort, repeats, values)
    distance = None
    if measure in DISTANCES:
        values = [measured(r.from_others, area, measure) for r in repeats]
        distance, _ = _gauge(cohort, repeats, values)
    intraclass = None if gauge is None else intraclass_of(gauge)
    return ScannerRow(area, measure, gauge, distance, intraclass, notes)


def _gauge(
    cohort: Cohort, repeats: Sequence[RepeatScan], values: Sequence[float]
) -> tuple[GaugeStudy | None, tuple[str, ...]]:
    """Study one value per repeated scan; None, or without some crowns, with the reasons."""
    rows = [
        _Repeated(r.crown, r.operator, r.trial, value)
        for r, value in zip(repeats, values, strict=True)
    ]
    rows.sort(key=lambda row: (row.crown, row.operator, row.trial))
    kept = _complete(rows)
    left = sorted({row.crown for row in rows} - {row.crown for row in kept})
    try:
        found = gauge_study(
            [row.value for row in kept],
            [row.crown for row in kept],
            [row.operator for row in kept],
            confidence=cohort.plan.analysis.confidence,
        )
    except SettingError as problem:
        return None, (problem.reason,)
    notes = [f"Without complete repeated scans of {listed(left)}."] if left else []
    return found, (*notes, *map(str, found.notes))


def _complete(rows: Sequence[_Repeated]) -> list[_Repeated]:
    """Return the scans of crowns that every operator scanned as often as any crown; else all."""
    operators = {row.operator for row in rows}
    counts = Counter((row.crown, row.operator) for row in rows if not np.isnan(row.value))
    most = max(counts.values(), default=0)
    whole = {
        row.crown for row in rows if all(counts[row.crown, name] == most for name in operators)
    }
    kept = [row for row in rows if row.crown in whole and not np.isnan(row.value)]
    return kept or list(rows)
