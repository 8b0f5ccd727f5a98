"""The causes of a study as plain data, by the names that files have for them."""

from __future__ import annotations

import numpy as np

from ...causes.document import cause_record, correction_record
from .results.causes import MEAN, CauseComparison, GroupWhy, SharedCause
from .tests_document import Record, effects_record, ranks_record, trimmed_record, welch_record


def shared_cause_record(row: SharedCause) -> Record:
    """Return a group's cause as the rows of single crowns have it, and what crowns add."""
    size, low, high = row.without_odd or (np.nan, np.nan, np.nan)
    return {
        "group": row.group,
        "crown": MEAN,
        **cause_record(row.cause),
        "sd_between": row.sd_between,
        "n": row.n,
        "without_odd": size,
        "without_odd_low": low,
        "without_odd_high": high,
    }


def group_why_record(row: GroupWhy) -> Record:
    """Return why a group's crowns deviate."""
    names = ("group", "title", "crowns", "sentences", "notes", "predicted", "remaining", "reason")
    sizes = ("total_um", "causes_um", "shared_um", "between_um", "share_together")
    return {
        **{name: getattr(row, name) for name in (*names, *sizes)},
        "left_out": dict(row.left_out),
        "causes": row.causes,
        "sizes": [
            {
                "cause": one.cause.cause,
                "family": one.cause.family,
                "unit": one.cause.unit,
                "values": dict(zip(row.crowns, one.values, strict=True)),
            }
            for one in row.stated
        ],
        "correction": correction_record(row.corrections),
    }


def cause_comparison_record(row: CauseComparison) -> Record:
    """Return two groups compared by a cause."""
    tests = row.tests
    names = ("cause", "family", "unit", "first", "second")
    return {
        **{name: getattr(row, name) for name in names},
        "n_first": tests.n_b,
        "n_second": tests.n_a,
        "mean_first": tests.mean_b,
        "mean_second": tests.mean_a,
        "difference": row.difference,
        "low": row.low,
        "high": row.high,
        "lead": row.lead,
        "p_value": row.p_value,
        "p_adjusted": row.adjusted.p,
        "family_size": row.adjusted.family,
        "welch": welch_record(tests),
        "trimmed": trimmed_record(tests),
        "ranks": ranks_record(tests),
        "effects": effects_record(tests),
        "outcome": row.outcome,
        "sentence": row.sentence,
        "reason": row.reason,
    }
