"""The fit of a study's crowns as plain data, by the names that files have for it."""

from __future__ import annotations

from ..measuring.crown_fit import CrownFit
from .results.fit import FitLimitRow
from .tests_document import Record


def limit_record(row: FitLimitRow) -> Record:
    """Return a group's crowns against one limit, as rows of tolerances have it."""
    names = ("group", "part", "measure", "area", "title", "limit")
    return {
        **{name: getattr(row, name) for name in names},
        "n": row.share.n,
        "within": row.share.within,
        "undecided": row.undecided,
        "share": row.share.share,
        "share_low": row.share.ci_low,
        "share_high": row.share.ci_high,
        "confidence": row.share.confidence,
        "sentence": row.sentence,
    }


def crown_fit_record(fit: CrownFit) -> Record:
    """Return how one crown fits; what has a value for every place of the margin has a table."""
    names = ("judged", "values", "stop", "by_triple_scan", "sentences", "missing", "warnings")
    return {
        "die": fit.die,
        "verdict": fit.headline.verdict,
        "title": fit.headline.title,
        **{name: getattr(fit, name) for name in names},
        "T_die_crown": fit.T_die_crown,
    }
