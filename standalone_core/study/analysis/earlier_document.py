"""A study against an earlier one as plain data: the names that files have for it, once."""

from __future__ import annotations

from .results.earlier import CrownCount, EarlierRow, EarlierTolerance
from .tests_document import Record, named


def earlier_row_record(row: EarlierRow) -> Record:
    """Return a group in one area by one measure, earlier and now; now minus earlier."""
    return {
        "group": row.group,
        "area": row.area,
        "measure": row.measure,
        **named(row.earlier, n_earlier="n", mean_earlier="mean", sd_earlier="sd"),
        **named(row.now, n_now="n", mean_now="mean", sd_now="sd"),
        **named(row.test, difference="difference", low="ci_low", high="ci_high"),
        **named(row.test, confidence="confidence", t="t", df="df", p_unadjusted="p"),
        "sentence": row.sentence,
        "reason": row.reason,
    }


def earlier_tolerance_record(row: EarlierTolerance) -> Record:
    """Return a group's crowns against the tolerance of one area, earlier and now."""
    return {
        "group": row.group,
        "area": row.area,
        **_count(row.earlier, "earlier"),
        **_count(row.now, "now"),
    }


def _count(count: CrownCount, when: str) -> Record:
    return {
        f"tolerance_{when}_um": count.tolerance_um,
        f"within_{when}": count.within,
        f"outside_{when}": count.outside,
        f"undecided_{when}": count.undecided,
    }
