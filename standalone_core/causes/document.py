"""Causes and corrections as files hold them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..records import plain
from .result import Cause, CausesResult, Correction

CAUSE_COLUMNS = (
    "cause",
    "family",
    "stated",
    "probability",
    "estimate",
    "unit",
    "low",
    "high",
    "rms_um",
    "share_alone",
    "direction",
    "sentence",
    "instead",
    "change",
)
"""The columns of ``causes.csv``, and the keys of each cause in JSON."""


def cause_record(cause: Cause) -> dict[str, Any]:
    """Return a cause as plain data."""
    return {name: plain(getattr(cause, name)) for name in CAUSE_COLUMNS}


def correction_record(corrections: Sequence[Correction]) -> dict[str, Any] | None:
    """Return the next enlargement factors by axis; None where none follows."""
    if not corrections:
        return None
    return {
        one.axis: {
            "factor_used": one.factor_used,
            "factor_next": one.factor_next,
            "low": one.low,
            "high": one.high,
            "direction": plain(one.direction),
            "condition": one.condition,
        }
        for one in corrections
    }


def causes_document(result: CausesResult) -> Mapping[str, Any]:
    """Return all that is told of a crown's causes, as JSON holds it.

    Parameters
    ----------
    result : CausesResult

    Returns
    -------
    mapping
        ``causes``: a list of :data:`CAUSE_COLUMNS`; ``correction``: by axis ``factor_used``,
        ``factor_next``, ``low``, ``high``, or None; and what goes with them.
    """
    return {
        "causes": [cause_record(cause) for cause in result.causes],
        "correction": correction_record(result.corrections),
        "sentences": list(result.sentences),
        "notes": list(result.notes),
        "share_together": plain(result.share_together),
        "remaining": plain(result.remaining),
        "predicted": [{**plain(row), "would_meet": row.would_meet} for row in result.predicted],
        "places": [
            {
                "deepest_um": place.deepest_um,
                "place_mm": list(place.place_mm),
                "area_mm2": place.area_mm2,
                "volume_mm3": place.volume_mm3,
            }
            for place in result.filled
        ],
        "marks": plain(result.marks),
        "layers": plain(result.layers),
        "build_direction": plain(result.build_direction),
        "production": plain(result.facts),
        "settings": plain(result.settings),
    }
