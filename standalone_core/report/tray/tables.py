"""``tray.csv``: an area of a crown per row."""

from __future__ import annotations

from collections.abc import Iterator

from ...areas.support_marks import mark_of
from ...deviation.support_marks import GOUGE, NOT_MEASURED, STUB
from ...tray.result import TrayCrown, TrayResult
from ..tables.table import Table, table
from .words import cause_short

TRAY_COLUMNS = (
    "crown",
    "design",
    "scan",
    "crown_verdict",
    "area",
    "verdict",
    "mean_abs_um",
    "back_mean_abs_um",
    "tolerance_um",
    "coverage_share",
    "unmatched_mm2",
    "unmatched_um",
    "verdict_reason",
    "n_marks",
    "n_marks_stub",
    "n_marks_gouge",
    "n_marks_not_measured",
    "stated_causes",
    "reason",
    "remedy",
)
_OF_AREA = TRAY_COLUMNS.index("n_marks") - TRAY_COLUMNS.index("area")


def tray_csv(result: TrayResult) -> str:
    """Write a tray as CSV; columns :data:`TRAY_COLUMNS`."""
    return tray_table(result).text


def tray_table(result: TrayResult) -> Table:
    """Return one row per crown and area, and one for each crown that could not be checked.

    What is known of a crown as a whole (support marks, causes) stands in each of its rows.
    """
    return table(TRAY_COLUMNS, (row for crown in result.crowns for row in _rows(crown)))


def _rows(crown: TrayCrown) -> Iterator[tuple[object, ...]]:
    head = (crown.name, crown.design, crown.scan, crown.verdict)
    tail = (*_marks(crown), _causes(crown))
    if crown.error is not None:
        reason = crown.error.reason, crown.error.remedy
        yield (*head, *[None] * _OF_AREA, *[None] * len(tail), *reason)
    for found in crown.verdicts:
        if not mark_of(found.area):
            yield (
                *(*head, found.area, found.verdict, found.mean_abs_um, found.back_mean_abs_um),
                *(found.tolerance_um, found.coverage, found.unmatched_mm2, found.unmatched_um),
                *(found.reason, *tail, None, None),
            )


def _marks(crown: TrayCrown) -> tuple[int, ...]:
    kinds = [mark.verdict for mark in crown.marks]
    return len(kinds), *(kinds.count(verdict) for verdict in (STUB, GOUGE, NOT_MEASURED))


def _causes(crown: TrayCrown) -> str | None:
    if crown.causes is None:
        return None
    return "; ".join(cause_short(cause) for cause in crown.causes)
