"""What came of the scans of a study: crowns, judged from what is kept of them."""

from __future__ import annotations

from dataclasses import replace

from ...check_settings import CheckSettings
from ...deviation.judgement import scan_warnings
from ...deviation.measures import AreaMeasures
from ...deviation.support_marks import MarkResult
from ...deviation.verdict import ScanEvidence, evidence_from, judge, with_verdicts
from ...records import with_tuples
from ...superimpose.result import Superimposition
from .fit_record import fit_from
from .result_store import ResultStore, still_kept
from .results import Crown, LeftOut
from .scan_job import MARGIN_UM, ScanJob

_USELESS = ("wrong_part", "mirrored")
"""Superimpositions that say that the scan does not show this crown."""


def crown_from(job: ScanJob, store: ResultStore) -> Crown | LeftOut:
    """Return what is kept of a measured scan, judged.

    Returns
    -------
    Crown or LeftOut
        ``LeftOut`` for a scan that does not show this crown.

    Raises
    ------
    StudyError
        What was kept is gone.
    """
    scan, _ = still_kept(store.load(job.key, ()))
    fit = fit_from(scan["superimposition"], job.settings.superimpose)
    if fit.verdict in _USELESS:
        remedy = "Check that the file shows a crown made from this design; look at it with 'check'."
        return LeftOut(job.name, job.group, job.scan, fit.reason, remedy)
    record, arrays = still_kept(store.load(job.rows_key))
    rows = tuple(AreaMeasures(**with_tuples(row)) for row in record["measures"])
    evidence = evidence_from(
        scan["is_design"],
        record["layers"],
        record["margin"],
        record["unmatched"],
        record["facet_sag"],
    )
    crown = Crown(
        name=job.name,
        group=job.group,
        path=job.scan,
        sha256=job.sha256,
        triangles=scan["triangles"],
        superimposition=fit,
        measures=rows,
        verdicts=(),
        warnings=_warnings(scan["notes"], fit, rows, evidence, job.settings),
        key=job.key,
        marks=tuple(MarkResult(**with_tuples(row)) for row in record["marks"]),
        evidence=evidence,
        margin=evidence.margin,
        margin_um=arrays.get(MARGIN_UM),
    )
    return judged(crown, job.settings)


def judged(crown: Crown, settings: CheckSettings) -> Crown:
    """Return a crown judged by the tolerances and in the direction of the settings."""
    verdicts = judge(
        crown.measures,
        crown.superimposition,
        settings.tolerances,
        crown.evidence,
        settings.direction,
    )
    return replace(crown, measures=with_verdicts(crown.measures, verdicts), verdicts=verdicts)


def _warnings(
    notes: list[str],
    fit: Superimposition,
    rows: tuple[AreaMeasures, ...],
    evidence: ScanEvidence,
    settings: CheckSettings,
) -> tuple[str, ...]:
    """Return what the reader must know about a crown, each once."""
    warnings = [f"Scan: {text}" for text in notes]
    if fit.verdict != "good":
        warnings.append(f"Superimposition: {fit.reason}")
    warnings += [f"Superimposition: {text}" for text in fit.warnings]
    warnings += scan_warnings(rows, evidence, settings.tolerances, settings.direction)
    return tuple(dict.fromkeys(warnings))
