"""A study's statistics as tidy tables: one row per description, test or crown, no times."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import is_dataclass
from typing import Any

from ...readable import readable
from ...records import fields_of
from ...study.analysis.document import WRITERS
from ...study.analysis.results.analysis import Findings, StudyAnalysis
from ...study.analysis.results.fit import FitFindings
from ...study.measuring.results import StudyRun
from ...study.plan import MEASURES
from ..tables.table import Row, Table
from .analysis_names import named_table
from .cause_tables import cause_tables
from .margin_profiles import profile_rows

DIRECTED = frozenset(
    ("descriptions", "assumptions", "comparisons", "overall", "post_hoc", "scanner", "repeats")
)
"""Tables of deviations from the design, which say in their last column in which direction."""

WITH_ALL, WITHOUT_ODD = "all", "without_odd"


def analysis_tables(run: StudyRun, analysis: StudyAnalysis) -> dict[str, Table]:
    """Return every table of the statistics by name; empty ones are left out.

    Columns are the names that ``study.json`` has for the same, those of parts with the part's
    name before them (``welch_t``), and the names of :data:`~.analysis_names.NAMES` where such a
    name would mean another thing in another table. In ``crowns_included`` stands whether all
    crowns are in (``all``) or only those that are not odd (``without_odd``). Differences are
    second minus first. ``precision_crowns``: crown × area × measure, all crowns in.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    """
    found: dict[str, list[Row]] = {
        "verdict": flat_rows(analysis.verdict),
        "odd_crowns": flat_rows(analysis.odd_crowns),
        "odd_effects": flat_rows(analysis.odd_effects),
        "difference_shares": flat_rows(analysis.difference_shares),
        "scanner": flat_rows(analysis.scanner),
        "mark_groups": flat_rows(analysis.marks),
        "repeats": _repeat_rows(run),
        "precision_crowns": _precision_crowns(analysis.findings),
        "margin_profile": list(profile_rows(run, analysis)),
        "fit_limits": [] if analysis.fit is None else flat_rows(analysis.fit.limits),
    }
    for crowns, findings in ((WITH_ALL, analysis.findings), (WITHOUT_ODD, analysis.without_odd)):
        if findings is not None:
            for name, rows in _finding_rows(findings).items():
                marked = [{"crowns_included": crowns, **row} for row in rows]
                found.setdefault(name, []).extend(marked)
    if analysis.earlier is not None:
        found["earlier_study"] = flat_rows(analysis.earlier.rows)
        found["earlier_tolerances"] = flat_rows(analysis.earlier.tolerances)
    if analysis.examiners is not None:
        found |= _examiner_rows(analysis)
    if analysis.causes is not None:
        found["cause_comparisons"] = flat_rows(analysis.causes.comparisons)
    way = {"direction": run.plan.check.direction}
    for name in DIRECTED & found.keys():
        found[name] = [{**row, **way} for row in found[name]]
    tables = {name: named_table(name, rows) for name, rows in found.items() if rows}
    return {**tables, **cause_tables(run, analysis)}


def _finding_rows(findings: Findings) -> dict[str, list[Row]]:
    return {
        "descriptions": flat_rows(findings.trueness),
        "precision_descriptions": flat_rows(findings.precision),
        "pair_descriptions": flat_rows(findings.pairs),
        "tolerances": flat_rows(findings.tolerances),
        "assumptions": _spread_out(findings.assumptions, "normality"),
        "comparisons": flat_rows(findings.comparisons),
        "precision_comparisons": flat_rows(findings.precision_comparisons),
        "overall": flat_rows(findings.overall),
        "post_hoc": _only(findings.overall, ("area", "measure"), "post_hoc"),
        **({} if findings.fit is None else _fit_rows(findings.fit)),
    }


def _precision_crowns(findings: Findings) -> list[Row]:
    """Return how far every crown lies from its group's middle."""
    return [
        {
            "crown": crown,
            "group": row.group,
            "area": row.area,
            "measure": row.measure,
            "distance_um": distance,
        }
        for row in findings.precision
        for crown, distance in zip(row.crowns, row.summary.values, strict=True)
    ]


def _fit_rows(fit: FitFindings) -> dict[str, list[Row]]:
    return {
        "fit_groups": flat_rows(fit.described),
        "fit_assumptions": _spread_out(fit.assumptions, "normality"),
        "fit_comparisons": flat_rows(fit.comparisons),
        "fit_overall": flat_rows(fit.overall),
        "fit_post_hoc": _only(fit.overall, ("area", "measure"), "post_hoc"),
    }


def _examiner_rows(analysis: StudyAnalysis) -> dict[str, list[Row]]:
    found = analysis.examiners
    assert found is not None
    scores: list[Row] = [
        {
            "crown": crown.crown,
            "group": crown.group,
            "item": crown.item,
            "area": crown.area,
            "measure": crown.measure,
            "examiner": examiner,
            "score": score,
            "median": crown.median,
            "measured": crown.measured,
        }
        for crown in found.crowns
        for examiner, score in crown.scores
    ]
    return {
        "examiners": scores,
        "examiner_agreement": flat_rows(found.agreement),
        "examiner_groups": flat_rows(found.groups),
        "examiner_comparisons": flat_rows(found.comparisons),
        "examiner_correlations": flat_rows(found.correlations),
    }


def _repeat_rows(run: StudyRun) -> list[Row]:
    return [
        {
            "crown": repeat.crown,
            "operator": repeat.operator,
            "trial": repeat.trial,
            "file": readable(repeat.scan.path.name),
            "area": row.area,
            "measure": measure,
            "value": float(getattr(row, measure)),
            "coverage": row.coverage,
        }
        for repeat in run.repeats
        for row in repeat.scan.measures
        if row.direction == run.plan.check.direction
        for measure in MEASURES
        if math.isfinite(getattr(row, measure))
    ]


def flat_rows(rows: Iterable[Any]) -> list[Row]:
    """Turn result objects into rows of plain fields.

    A part that is a result object itself gives a column per field, with the part's name before
    it; a tuple of words or whole numbers is joined by semicolons; other tuples are passed over,
    since they have tables of their own.
    """
    return [dict(_flat("", row)) for row in rows]


def _flat(before: str, value: Any) -> Iterable[tuple[str, object]]:
    for part, held in _record(value).items():
        name = f"{before}{part}"
        if is_dataclass(held) or isinstance(held, Mapping):
            yield from _flat(f"{name}_", held)
        elif isinstance(held, tuple):
            if all(isinstance(item, str | int) for item in held):
                yield name, "; ".join(str(item) for item in held)
        else:
            yield name, held


def _record(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else fields_of(value, WRITERS)


def _spread_out(rows: Iterable[Any], part: str) -> list[Row]:
    """Return a row per item of a part, with the fields of its owner before it."""
    return [
        {**{k: v for k, v in _flat("", row) if k != part}, **dict(_flat(f"{part}_", item))}
        for row in rows
        for item in _record(row)[part]
    ]


def _only(rows: Iterable[Any], keys: Sequence[str], part: str) -> list[Row]:
    """Return a row per item of a part, with some fields of its owner before it."""
    return [
        {**{key: getattr(row, key) for key in keys}, **dict(_flat("", item))}
        for row in rows
        for item in _record(row)[part]
    ]
