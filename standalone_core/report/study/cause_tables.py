"""The causes of a study's crowns as tables."""

from __future__ import annotations

from typing import Any, TypeAlias

from ...causes.document import CAUSE_COLUMNS, cause_record
from ...study.analysis.causes_document import shared_cause_record
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.causes import CausesAnalysis
from ...study.measuring.results import StudyRun

Row: TypeAlias = dict[str, object]

CAUSES_COLUMNS = (
    "group",
    "crown",
    *CAUSE_COLUMNS,
    "sd_between",
    "n",
    "without_odd",
    "without_odd_low",
    "without_odd_high",
)
"""The columns of a study's ``causes.csv``."""


def cause_rows(run: StudyRun, analysis: StudyAnalysis) -> list[dict[str, Any]]:
    """Return every cause of a study as plain data: of each group's mean, then of each crown.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis

    Returns
    -------
    list of dict
        With :data:`CAUSES_COLUMNS`; those of groups alone are left out for a crown, whose sizes
        and intervals come from its own surface.
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


def cause_tables(run: StudyRun, analysis: StudyAnalysis) -> dict[str, list[Row]]:
    """Return the tables of causes by name; their rows without what does not exist.

    ``causes``: group's mean or crown × cause. ``cause_sizes``: crown × cause that its group's
    mean bears. ``cause_predictions``: group × cause left out × area.
    """
    found = analysis.causes
    if found is None:
        return {}
    rows = cause_rows(run, analysis)
    return {
        "causes": [{name: _cell(row.get(name)) for name in CAUSES_COLUMNS} for row in rows],
        "cause_sizes": _sizes(found),
        "cause_predictions": [
            {name: getattr(row, name) for name in row.__dataclass_fields__}
            for group in found.groups
            for row in group.predicted
        ],
    }


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


def _cell(value: object) -> object:
    """Write a direction in brackets, as in JSON; leave the rest as it is."""
    if isinstance(value, list | tuple):
        return f"[{', '.join(f'{part:.4f}' for part in value)}]"
    return "" if value is None else value
