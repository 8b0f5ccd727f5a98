"""The statistics of a study as plain data for JSON."""

from __future__ import annotations

from typing import Any

from ...report.check.document import plain
from .results.analysis import StudyAnalysis

ANALYSIS_SCHEMA_VERSION = 2


def analysis_document(analysis: StudyAnalysis) -> dict[str, Any]:
    """Return an analysis as plain data, ready for ``json.dumps(…, allow_nan=False)``.

    Keys are the names of the fields of :class:`~.analysis_results.StudyAnalysis` and of the rows
    in it; numbers that do not exist are None. Differences are ``second`` minus ``first``.
    """
    return {
        "schema": "cuspwise study analysis",
        "schema_version": ANALYSIS_SCHEMA_VERSION,
        **plain(analysis),
    }
