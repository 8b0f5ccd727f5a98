"""The causes of a study's crowns as tables."""

from __future__ import annotations

from typing import Any

from ...causes.document import CAUSE_COLUMNS, cause_record
from ...records import fields_of
from ...study.analysis.causes_document import shared_cause_record
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.causes import CausesAnalysis
from ...study.measuring.results import StudyRun
from ..tables.cause_row import cause_row
from ..tables.table import Row, Table, table_of

_OF_GROUPS = ("sd_between", "n", "without_odd", "without_odd_low", "without_odd_high")
_OWN = ("group", "crown", *CAUSE_COLUMNS, *_OF_GROUPS)
"""What is known of a cause, in the order of its columns."""

PREDICTION_NAMES = {
    "without": "without_cause",
    "limit_um": "tolerance_um",
    "n": "n_judged",
    "within": "n_within",
    "would_be_within": "n_within_predicted",
    "mean_abs_um": "group_mean_abs_um",
    "predicted_um": "predicted_mean_abs_um",
}


def cause_rows(run: StudyRun, analysis: StudyAnalysis) -> list[dict[str, Any]]:
    """Return every cause of a study as plain data: of each group's mean, then of each crown.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis

    Returns
    -------
    list of dict
        What only groups have is left out for a crown, whose sizes and intervals come from its own
        surface.
    """
    if analysis.causes is None:
        return []
    rows = [shared_cause_record(row) for group in analysis.causes.groups for row in group.causes]
    rows += [
        {"group": crown.group, "crown": crown.name, **cause_record(cause)}
        for crown in run.crowns
        if crown.causes is not None
        for cause in crown.causes.causes
    ]
    return rows


def cause_tables(run: StudyRun, analysis: StudyAnalysis) -> dict[str, Table]:
    """Return the tables of causes by name; none without a row.

    ``causes``: group's mean or crown × cause. ``cause_sizes``: crown × cause that its group's
    mean bears. ``cause_predictions``: group × cause left out × area.
    """
    found = analysis.causes
    if found is None:
        return {}
    causes = [
        cause_row({name: row.get(name) for name in _OWN}) for row in cause_rows(run, analysis)
    ]
    predicted = [fields_of(row) for group in found.groups for row in group.predicted]
    tables = {
        "causes": table_of(causes),
        "cause_sizes": table_of(_sizes(found)),
        "cause_predictions": table_of(predicted, PREDICTION_NAMES),
    }
    return {name: made for name, made in tables.items() if made.rows}


def _sizes(found: CausesAnalysis) -> list[Row]:
    return [
        {
            "group": group.group,
            "crown": crown,
            "cause": row.cause.cause,
            "family": row.cause.family,
            "size": size,
            "unit": row.cause.unit,
        }
        for group in found.groups
        for row in group.stated
        for crown, size in zip(group.crowns, row.values, strict=True)
    ]
