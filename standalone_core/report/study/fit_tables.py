"""The fit of a study's crowns as tables, and as plain data for its document."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ...readable import readable
from ...records import plain
from ...study.measuring.crown_fit import CrownFit
from ...study.measuring.results import StudyRun
from ..tables.column import unit_of
from ..tables.table import Table, table

FIT_COLUMNS = (
    *("crown", "group", "die", "fit_verdict", "stop", "by_triple_scan"),
    *("area", "measure", "value", "unit"),
)
GAP_COLUMNS = ("crown", "group", "angle_deg", "gap_um", "absolute_um", "extension_um")
NOT_FITTED_COLUMNS = ("crown", "group", "reason", "remedy")


def fit_tables(run: StudyRun) -> dict[str, Table]:
    """Return tables of what was measured of the crowns' fit; none if it was not asked for.

    ``fit``: crown × measure of fit × area, µm. ``marginal_gap``: crown × place around the margin.
    ``not_fitted``: crowns whose fit could not be judged.
    """
    if run.plan.fit is None:
        return {}
    lost = ((one.crown, one.group, one.reason, one.remedy) for one in run.not_fitted)
    return {
        "fit": table(FIT_COLUMNS, _values(run)),
        "marginal_gap": table(GAP_COLUMNS, _gaps(run)),
        "not_fitted": table(NOT_FITTED_COLUMNS, lost),
    }


def fit_record(fit: CrownFit) -> dict[str, Any]:
    """Return a crown's fit as JSON can hold it; the places around its margin are in the table."""
    return {
        "die": readable(fit.die.name),
        "verdict": fit.headline.verdict,
        "headline": fit.headline.title,
        "stop": fit.stop,
        "by_triple_scan": fit.by_triple_scan,
        "judged": plain(fit.judged),
        "values": plain(fit.values),
        "sentences": list(fit.sentences),
        "missing": dict(fit.missing),
        "warnings": list(fit.warnings),
        "T_die_crown": plain(fit.T_die_crown),
    }


def _values(run: StudyRun) -> Iterator[tuple[object, ...]]:
    for crown in run.crowns:
        fit = crown.fit
        for one in fit.values if fit is not None else ():
            assert fit is not None
            about = (crown.name, crown.group, readable(fit.die.name), fit.headline.verdict)
            value = (one.area, one.measure, one.value, unit_of(one.measure))
            yield *about, fit.stop, fit.by_triple_scan, *value


def _gaps(run: StudyRun) -> Iterator[tuple[object, ...]]:
    for crown in run.crowns:
        margin = None if crown.fit is None else crown.fit.margin
        if margin is not None:
            arrays = (getattr(margin, name).tolist() for name in GAP_COLUMNS[2:])
            for row in zip(*arrays, strict=True):
                yield crown.name, crown.group, *row
