"""One crown's fit as it is kept: plain numbers and words, and back."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arrays import FloatArray
from ...errors import CuspwiseError
from ...fit.gap.result import MarginalGap
from ...fit.judged import Judged, fit_headline, judged
from ...fit.result import FitResult
from ...fit.sentences import all_warnings, answer_lines, contact_lines
from ...records import with_tuples
from ...superimpose.rigid import inverse
from ...words.headline import Headline
from .crown_fit import CrownFit, FitValue, MarginGaps, NotFitted
from .fit_job import FitJob
from .fit_values import fit_values
from .result_store import ResultStore

_AROUND = ("angle_deg", "gap_um", "absolute_um", "extension_um")
"""What is kept of each place of the margin."""


def save_fit(
    store: ResultStore,
    job: FitJob,
    result: FitResult,
    T_design_crown: FloatArray,
    told: Collection[str],
) -> None:
    """Keep what a study needs of a fit.

    Parameters
    ----------
    store : ResultStore
    job : FitJob
    result : FitResult
    T_design_crown : (4, 4) float
        How the crown that was seated lies on the design.
    told : collection of str
        Warnings that stand elsewhere.
    """
    headline = fit_headline(result)
    contacts = () if result.contacts is None else contact_lines(result.contacts)
    record = {
        "headline": asdict(headline),
        "judged": [asdict(one) for one in judged(result)],
        "values": [asdict(one) for one in fit_values(result)],
        "stop": "" if result.seat is None else result.seat.stop,
        "by_triple_scan": result.triple_scan is not None,
        "sentences": [*answer_lines(result), *contacts],
        "missing": dict(result.missing),
        "warnings": [text for text in all_warnings(result) if text not in told],
    }
    arrays: dict[str, NDArray[Any]] = {}
    if result.T_die_crown is not None:
        arrays["T_die_crown"] = result.T_die_crown @ inverse(T_design_crown)
    if result.margin is not None:
        arrays["margin"] = _around(result.margin)
    store.save(job.key, record, arrays)


def _around(margin: MarginalGap) -> NDArray[np.float32]:
    """Angle, gap, absolute discrepancy and extension, (4, p); to a few nm."""
    rows = np.stack([getattr(margin, name) for name in _AROUND])
    rows[1:, ~margin.measured] = np.nan
    return rows.astype(np.float32)


def save_refusal(store: ResultStore, job: FitJob, problem: CuspwiseError) -> None:
    """Keep why a crown's fit cannot be judged."""
    store.save(job.key, {"reason": problem.reason, "remedy": problem.remedy}, {})


def load_fit(store: ResultStore, job: FitJob) -> CrownFit | NotFitted | None:
    """Return what is kept of a crown's fit, or why there is none; None if nothing is kept."""
    entry = store.load(job.key)
    if entry is None:
        return None
    record, arrays = entry
    if "reason" in record:
        return NotFitted(job.scan.name, job.scan.group, record["reason"], record["remedy"])
    return _fit_from(job, record, arrays)


def _fit_from(
    job: FitJob, record: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]
) -> CrownFit:
    margin = None
    if "margin" in arrays:
        margin = MarginGaps(*arrays["margin"].astype(np.float64))
    return CrownFit(
        die=job.die.path,
        headline=Headline(**with_tuples(record["headline"])),
        judged=tuple(Judged(**row) for row in record["judged"]),
        values=tuple(FitValue(**row) for row in record["values"]),
        stop=record["stop"],
        by_triple_scan=record["by_triple_scan"],
        sentences=tuple(record["sentences"]),
        missing=record["missing"],
        warnings=tuple(record["warnings"]),
        T_die_crown=arrays.get("T_die_crown"),
        margin=margin,
    )
