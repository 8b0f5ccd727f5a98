"""The tests of two groups as plain data: the names that files have for them, once."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from ...statistics.two_groups import TwoGroups

Record: TypeAlias = dict[str, Any]


def named(result: object | None, **names: str) -> Record:
    """Return some attributes of a result by other names; NaN where there is no result."""
    return {key: np.nan if result is None else getattr(result, name) for key, name in names.items()}


_OF_MEANS = {
    "difference": "difference",
    "low": "ci_low",
    "high": "ci_high",
    "t": "t",
    "df": "df",
    "p_value": "p",
}


def welch_record(result: TwoGroups) -> Record:
    """Return Welch's test."""
    return {**named(result.welch, **_OF_MEANS), "reason": str(result.welch.reason)}


def trimmed_record(result: TwoGroups) -> Record:
    """Return Yuen's test of trimmed means."""
    return {**named(result.trimmed, **_OF_MEANS), "reason": str(result.trimmed.reason)}


def ranks_record(result: TwoGroups) -> Record:
    """Return the test of ranks, with the shift."""
    test, shift = result.mann_whitney, result.shift
    reasons = dict.fromkeys(str(reason) for reason in (test.reason, shift.reason) if reason)
    return {
        "u": test.u,
        "p_value": test.p,
        "method": test.method,
        "shift": shift.estimate,
        "low": shift.ci_low,
        "high": shift.ci_high,
        "reason": " ".join(reasons),
    }


def effects_record(result: TwoGroups) -> Record:
    """Return the sizes of the effect."""
    g, delta = result.hedges_g, result.cliff_delta
    return {
        **named(g, hedges_g="g", hedges_low="ci_low", hedges_high="ci_high"),
        **named(delta, cliff_delta="delta", cliff_low="ci_low", cliff_high="ci_high"),
    }
