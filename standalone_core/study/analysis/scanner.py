"""What the scanner can show, from crowns that were scanned again and again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...errors import SettingError
from ...statistics.gauge import gauge_study
from ...statistics.intraclass import intraclass_of
from ...words.text import listed
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
    rows = [
        _Repeated(r.crown, r.operator, r.trial, measured(r.scan.measures, area, measure))
        for r in repeats
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
        return ScannerRow(area, measure, None, notes=(problem.reason,))
    notes = [f"Without complete repeated scans of {listed(left)}."] if left else []
    notes += map(str, found.notes)
    return ScannerRow(area, measure, found, intraclass_of(found), tuple(notes))


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
