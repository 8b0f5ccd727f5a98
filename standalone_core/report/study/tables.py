"""A study's numbers as tidy tables: one value a row, no times, the same bytes on every run."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from ...causes.document import correction_record
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
from ..tables.column import unit_of
from ..tables.table import Table, table
from .cause_tables import cause_rows
from .crown_facts import crown_facts
from .fit_tables import fit_record, fit_tables

MARK_MEASURES = ("height_um", "surroundings_um", "area_mm2", "volume_mm3")
"""What is measured of a support mark; the stub's height, or negative the gouge's depth, first."""

VERDICTS = (
    *("area", "verdict", "mean_abs_um", "back_mean_abs_um", "tolerance_um", "scanner_um"),
    *("unmatched_mm2", "unmatched_um", "direction", "coverage", "reason"),
)
"""What is written of a verdict; the last two by names of their own."""

UNMATCHED = ("unmatched_mm2", "unmatched_um")

_MEASURED = ("measure", "value", "unit")
_WHERE = ("crown", "group")


def study_tables(run: StudyRun) -> dict[str, Table]:
    """Return every table of what was measured, by name.

    ``trueness``: crown × direction × area × measure. ``pairs``: two crowns laid on each other ×
    area × measure. ``parts``: group × area. ``verdicts``: crown × area. ``marks``, where the
    design has support marks: crown × mark × measure. ``margin``, where the design has a margin
    line: crown × measure of its margin profile. ``fit``, ``marginal_gap``, ``not_fitted``, where
    crowns were seated on dies: see :func:`~.fit_tables`. ``left_out``: scans that could not be
    used. What the columns mean is declared in :mod:`~..tables.dictionary`.
    """
    measured = (*_MEASURED, "coverage_share")
    pair = ("group", "first_crown", "second_crown", "area")
    return {
        "trueness": table((*_WHERE, "direction", "area", *measured), _trueness(run)),
        "pairs": table((*pair, *measured), _pairs(run)),
        "parts": table(
            ("group", "area", "n_crowns", "total_rms_um", "systematic_um", "random_um"),
            (
                (p.group, p.area, p.n, p.total_rms_um, p.systematic_um, p.random_um)
                for p in run.parts
            ),
        ),
        "verdicts": table(
            (*_WHERE, *VERDICTS[:-2], "coverage_share", "verdict_reason"),
            (
                (crown.name, crown.group, *(getattr(found, name) for name in VERDICTS))
                for crown in run.crowns
                for found in crown.verdicts
            ),
        ),
        **_mark_table(run),
        **_margin_table(run),
        **fit_tables(run),
        **_listed_crowns(run),
        "left_out": table(
            (*_WHERE, "file", "reason", "remedy"),
            ((s.name, s.group, readable(s.path.name), s.reason, s.remedy) for s in run.left_out),
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


def _listed_crowns(run: StudyRun) -> dict[str, Table]:
    """Return the table of the crowns' facts, one a row, if the study lists its crowns."""
    known = crown_facts(run.plan)
    if known is None:
        return {}
    rows = [
        (crown, group, file, fact, value)
        for crown, group, file, *values in known.rows
        for fact, value in zip(known.names, values, strict=True)
        if value
    ]
    return {"crown_facts": table((*_WHERE, "file", "fact", "fact_value"), rows)} if rows else {}


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


def _trueness(run: StudyRun) -> Iterator[tuple[object, ...]]:
    for crown in run.crowns:
        for row in crown.measures:
            for cells in _values(row):
                yield crown.name, crown.group, row.direction, row.area, *cells


def _pairs(run: StudyRun) -> Iterator[tuple[object, ...]]:
    for pair in run.pairs:
        for row in pair.superimposed:
            for cells in _values(row):
                yield pair.group, pair.first, pair.second, row.area, *cells


def _mark_table(run: StudyRun) -> dict[str, Table]:
    rows = [
        (
            *(crown.name, crown.group, found.name, found.kind, found.verdict),
            *(measure, getattr(found, measure), unit_of(measure), found.coverage),
        )
        for crown in run.crowns
        for found in crown.marks
        for measure in MARK_MEASURES
    ]
    about = ("mark", "mark_kind", "verdict")
    columns = (*_WHERE, *about, *_MEASURED, "coverage_share")
    return {"marks": table(columns, rows)} if rows else {}


def _margin_table(run: StudyRun) -> dict[str, Table]:
    rows = [
        (crown.name, crown.group, measure, getattr(crown.margin, measure), unit_of(measure))
        for crown in run.crowns
        for measure in (MARGIN_MEASURES if crown.margin is not None else ())
    ]
    return {"margin": table((*_WHERE, *_MEASURED), rows)} if rows else {}


def _values(row: AreaMeasures) -> Iterator[tuple[str, float, str, float]]:
    """Yield measure, value, unit and coverage; not what asks for a tolerance or both directions."""
    names = [name for name in MEASURES if _has(row, name)]
    names += [name for name in UNMATCHED if np.isfinite(getattr(row, name))]
    for name in names:
        yield name, getattr(row, name), unit_of(name), row.coverage


def _has(row: AreaMeasures, name: str) -> bool:
    if name == "within_tolerance":
        return not math.isnan(row.tolerance_um)
    return name != "hausdorff_both_um" or not math.isnan(row.hausdorff_both_um)
