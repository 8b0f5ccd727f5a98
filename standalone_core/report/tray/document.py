"""A tray as plain data for JSON: strict, without NaN, with a schema version."""

from __future__ import annotations

from typing import Any

from ...causes.document import cause_record
from ...records import plain
from ...tray.result import TrayCrown, TrayResult

TRAY_SCHEMA_VERSION = 1


def tray_document(result: TrayResult) -> dict[str, Any]:
    """Return a tray as plain data, ready for ``json.dumps(…, allow_nan=False)``."""
    return {
        "schema": "cuspwise tray",
        "schema_version": TRAY_SCHEMA_VERSION,
        "versions": dict(result.versions),
        "passed": result.passed,
        "areas": list(result.areas),
        "crowns": [_crown(crown) for crown in result.crowns],
    }


def _crown(crown: TrayCrown) -> dict[str, Any]:
    causes, error = crown.causes, crown.error
    return {
        "name": crown.name,
        "design": crown.design,
        "scan": crown.scan,
        "verdict": crown.verdict,
        "passed": crown.passed,
        "verdicts": plain(crown.verdicts),
        "marks": plain(crown.marks),
        "causes": None if causes is None else [plain(cause_record(cause)) for cause in causes],
        "superimposition": crown.superimposition,
        "warnings": list(crown.warnings),
        "seconds": plain(crown.seconds),
        "error": None
        if error is None
        else {"subject": error.subject, "reason": error.reason, "remedy": error.remedy},
    }
