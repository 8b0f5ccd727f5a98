"""A study's numbers as tidy tables: one value a row, no times, the same bytes on every run."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np

from ...causes.document import correction_record
from ...csv_text import cell_text, csv_text
from ...deviation.margin_summary import MARGIN_MEASURES
from ...deviation.measures import AreaMeasures
from ...readable import readable
from ...records import plain
from ...study.analysis.document import analysis_document
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.document_file import SCHEMA
from ...study.measuring.measured_on import measured_on
from ...study.measuring.results import Crown, CrownCauses, StudyRun
from ...study.plan import MEASURES
from ...study.plan_document import plan_document
from .cause_tables import cause_rows
from .crown_facts import crown_facts
from .fit_tables import fit_record, fit_tables

MARK_MEASURES = ("height_um", "surroundings_um", "area_mm2", "volume_mm3")
"""What is measured of a support mark; the stub's height, or negative the gouge's depth, first."""

MARK_COLUMNS = "crown,group,mark,kind,verdict,measure,value,coverage"

VERDICT_COLUMNS = (
    "area",
    "verdict",
    "mean_abs_um",
    "back_mean_abs_um",
    "tolerance_um",
    "scanner_um",
    "unmatched_mm2",
    "unmatched_um",
    "coverage",
    "direction",
    "reason",
)

UNMATCHED = ("unmatched_mm2", "unmatched_um")
MARGIN_COLUMNS = "crown,group,measure,value"

_DIGITS, _FINE_DIGITS = 3, 5


def study_tables(run: StudyRun) -> dict[str, str]:
    """Return every table's text by name, as CSV.

    ``trueness``: crown × direction × area × measure. ``pairs``: two crowns laid on each other ×
    area × measure. ``parts``: group × area. ``verdicts``: crown × area. ``marks``, where the
    design has support marks: crown × mark × measure. ``margin``, where the design has a margin
    line: crown × measure of its margin profile. ``fit``, ``marginal_gap``, ``not_fitted``, where
    crowns were seated on dies: see :func:`~.fit_tables`. ``left_out``: scans that could not be
    used. Lengths in µm, shares from 0 to 1.
    """
    return {
        "trueness": _table("crown,group,direction,area,measure,value,coverage", _trueness(run)),
        "pairs": _table("group,first,second,area,measure,value,coverage", _pairs(run)),
        "parts": _table(
            "group,area,crowns,total_rms_um,systematic_um,random_um",
            (
                [p.group, p.area, p.n, p.total_rms_um, p.systematic_um, p.random_um]
                for p in run.parts
            ),
        ),
        "verdicts": _table(
            ",".join(("crown", "group", *VERDICT_COLUMNS)),
            (
                [crown.name, crown.group, *(getattr(found, name) for name in VERDICT_COLUMNS)]
                for crown in run.crowns
                for found in crown.verdicts
            ),
        ),
        **({"marks": _table(MARK_COLUMNS, _marks(run))} if _has_marks(run) else {}),
        **({"margin": _table(MARGIN_COLUMNS, _margin(run))} if _has_margin(run) else {}),
        **fit_tables(run),
        **_listed_crowns(run),
        "left_out": _table(
            "name,group,file,reason,remedy",
            ([s.name, s.group, readable(s.path.name), s.reason, s.remedy] for s in run.left_out),
        ),
    }


def study_document(run: StudyRun, analysis: StudyAnalysis) -> dict[str, Any]:
    """Return all numbers of a study and what they were made with, as JSON can hold them."""
    design = run.design
    return {
        "schema": SCHEMA,
        "direction": run.plan.check.direction,
        "plan": plan_document(run.plan),
        "versions": dict(run.versions),
        "design": {
            "name": design.mesh.name,
            "sha256": design.file.sha256 if design.file is not None else None,
            "triangles": len(design.mesh),
        },
        "evaluation_points": len(run.area_set.evaluation.points),
        "measured_on": measured_on(run.area_set),
        "areas": {name: round(run.area_set.area_mm2(name), 6) for name in run.area_set.areas},
        "missing_areas": dict(run.area_set.missing),
        "crowns": [_crown(crown) for crown in run.crowns],
        "left_out": [
            {"name": s.name, "group": s.group, "reason": s.reason, "remedy": s.remedy}
            for s in run.left_out
        ],
        "pairs": plain(run.pairs),
        "parts": plain(run.parts),
        "repeats": [
            {"crown": r.crown, "operator": r.operator, "trial": r.trial, **_crown(r.scan)}
            for r in run.repeats
        ],
        "warnings": list(run.warnings),
        **_causes(run, analysis),
        **({} if run.plan.fit is None else {"not_fitted": plain(run.not_fitted)}),
        "analysis": analysis_document(analysis),
    }


def _causes(run: StudyRun, analysis: StudyAnalysis) -> dict[str, Any]:
    """Return every cause, of groups and of single crowns, and each group's next factors."""
    if analysis.causes is None:
        return {}
    groups = analysis.causes.groups
    return {
        "causes": [plain(row) for row in cause_rows(run, analysis)],
        "correction": {group.group: correction_record(group.corrections) for group in groups},
    }


def _listed_crowns(run: StudyRun) -> dict[str, str]:
    """Return the table of the crowns' facts, if the study lists its crowns."""
    known = crown_facts(run.plan)
    if known is None:
        return {}
    return {"crown_facts": csv_text([("crown", "group", "file", *known.names), *known.rows])}


def _crown(crown: Crown) -> dict[str, Any]:
    fit = crown.superimposition
    return {
        "name": crown.name,
        "group": crown.group,
        "file": readable(crown.path.name),
        "sha256": crown.sha256,
        "triangles": crown.triangles,
        "T_design_scan": plain(fit.T_design_scan),
        "superimposition": {
            "verdict": fit.verdict,
            "reason": fit.reason,
            "rms_um": 1e3 * fit.rms_mm,
            "converged": fit.converged,
            "share_used": fit.share_used,
        },
        "measures": plain(crown.measures),
        "verdicts": plain(crown.verdicts),
        "unmatched": plain(crown.evidence.unmatched),
        "is_design": crown.evidence.is_design,
        "marks": plain(crown.marks),
        "margin_profile": plain(crown.margin),
        "warnings": list(crown.warnings),
        **({} if crown.causes is None else {"why": _why(crown.causes)}),
        **({} if crown.fit is None else {"fit": fit_record(crown.fit)}),
    }


def _why(causes: CrownCauses) -> dict[str, Any]:
    """Return what one crown alone says of its causes, beside the rows in ``causes``."""
    return {
        "sentences": list(causes.sentences),
        "notes": list(causes.notes),
        "remaining": plain(causes.remaining),
        "share_together": plain(causes.share_together),
        "correction": correction_record(causes.corrections),
    }


def _trueness(run: StudyRun) -> Iterator[list[object]]:
    for crown in run.crowns:
        for row in crown.measures:
            for measure, value in _values(row):
                yield [
                    crown.name,
                    crown.group,
                    row.direction,
                    row.area,
                    measure,
                    value,
                    row.coverage,
                ]


def _pairs(run: StudyRun) -> Iterator[list[object]]:
    for pair in run.pairs:
        for row in pair.superimposed:
            for measure, value in _values(row):
                names = [pair.group, pair.first, pair.second, row.area]
                yield [*names, measure, value, row.coverage]


def _has_marks(run: StudyRun) -> bool:
    return any(crown.marks for crown in run.crowns)


def _marks(run: StudyRun) -> Iterator[list[object]]:
    for crown in run.crowns:
        for found in crown.marks:
            about = [crown.name, crown.group, found.name, found.kind, found.verdict]
            for measure in MARK_MEASURES:
                yield [*about, measure, float(getattr(found, measure)), found.coverage]


def _has_margin(run: StudyRun) -> bool:
    return any(crown.margin is not None for crown in run.crowns)


def _margin(run: StudyRun) -> Iterator[list[object]]:
    for crown in run.crowns:
        for measure in MARGIN_MEASURES if crown.margin is not None else ():
            yield [crown.name, crown.group, measure, float(getattr(crown.margin, measure))]


def _values(row: AreaMeasures) -> Iterator[tuple[str, float]]:
    """Yield a row's measures; not those that ask for a tolerance or for both directions."""
    for name in MEASURES:
        value = getattr(row, name)
        if name == "within_tolerance" and math.isnan(row.tolerance_um):
            continue
        if name == "hausdorff_both_um" and math.isnan(value):
            continue
        yield name, value
    yield from ((name, getattr(row, name)) for name in UNMATCHED if np.isfinite(getattr(row, name)))


def _table(columns: str, rows: Iterable[Sequence[object]]) -> str:
    names = columns.split(",")
    place = names.index("measure") if "measure" in names else None
    return csv_text(
        [
            names,
            *(
                [
                    _text(name, value, "" if place is None else str(row[place]))
                    for name, value in zip(names, row, strict=True)
                ]
                for row in rows
            ),
        ]
    )


def _text(column: str, value: object, measure: str) -> str:
    fine = column == "coverage" or (column == "value" and not measure.endswith("_um"))
    return cell_text(value, _FINE_DIGITS if fine else _DIGITS)
