"""The causes of one crown's deviations, found from what is kept of its scan, and kept."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from ...causes.corner_fields import usable_bur_mm
from ...causes.design_fields import CauseFields
from ...causes.find import CrownToExplain, find_causes_steps, no_causes
from ...causes.result import Cause, CausesResult, Correction, Remaining
from ...causes.settings import CausesSettings, ProductionFacts
from ...deviation.tolerances import Tolerances
from ...explain import why_not_explained
from ...measure import ReadyDesign
from ...progress import Progress, Steps, run
from ...records import with_tuples
from ..plan import StudyPlan
from .kept_fields import kept_fields_steps
from .result_store import ResultStore, key_of, still_kept
from .results import Crown, CrownCauses
from .scan_job import ScanJob, load_deviations, load_surface

_NO_TOLERANCES = Tolerances(tolerances_um={})
"""A crown's own causes are kept whatever the tolerances are; predictions are the group's."""


@dataclass(frozen=True)
class CausesJob:
    """One measured scan of a study whose causes are to be found.

    Attributes
    ----------
    scan : ScanJob
        Kept already.
    facts : ProductionFacts
        Of its group.
    searched : tuple of ProductionFacts
        What the design's corners were looked at for; see :func:`searched_productions`.
    repeatability_um : float
        The scanner's; NaN if it is not known.
    why_not : str
        Why causes are not looked for, as the end of a sentence; empty if they are.
    """

    scan: ScanJob
    facts: ProductionFacts
    searched: tuple[ProductionFacts, ...]
    repeatability_um: float
    why_not: str

    @cached_property
    def key(self) -> str:
        """Under which the causes are kept: all that they depend on."""
        study = self.scan.study
        return key_of(
            "causes",
            self.scan.key,
            study.areas,
            study.settings.causes,
            self.facts,
            list(self.searched),
            self.repeatability_um,
            self.why_not,
        )


def causes_job(
    plan: StudyPlan,
    scan: ScanJob,
    crown: Crown,
    searched: tuple[ProductionFacts, ...],
    repeatability_um: float,
) -> CausesJob:
    """Return what is to be done to find a crown's causes."""
    why = why_not_explained(crown.evidence.is_design, crown.superimposition.verdict)
    return CausesJob(scan, plan.group(crown.group).production, searched, repeatability_um, why)


def searched_productions(plan: StudyPlan, ready: ReadyDesign) -> tuple[ProductionFacts, ...]:
    """Return what corners of the design are looked at for: each way with its bur, once.

    Burs are as they show on the crowns, so that a factor that changes nothing there is none of
    what the design's fields depend on.
    """
    evaluation = ready.evaluation
    found = {(g.production.way, usable_bur_mm(g.production, evaluation)) for g in plan.groups}
    return tuple(
        ProductionFacts(way=way, bur_radius_mm=bur)
        for way, bur in sorted(found, key=lambda one: (one[0], one[1] or 0.0))
    )


def find_and_keep(job: CausesJob) -> None:
    """Find one crown's causes in a worker process and keep them."""
    study = job.scan.study
    ready = study.workers_design()
    settings = study.settings.causes
    fields = _workers_fields(ready, study.folder, study.areas, settings, job.searched)
    run(find_and_keep_steps(job, ready, fields))


@lru_cache(maxsize=1)
def _workers_fields(
    ready: ReadyDesign,
    folder: Path,
    areas: str,
    settings: CausesSettings,
    searched: tuple[ProductionFacts, ...],
) -> CauseFields:
    """Return what every cause would do to a worker's design, as the main process has kept it."""
    return run(kept_fields_steps(ResultStore(folder), areas, ready, settings, searched))


def find_and_keep_steps(job: CausesJob, ready: ReadyDesign, fields: CauseFields) -> Steps[None]:
    """Do as :func:`find_and_keep` does, step by step, with fields that are ready already."""
    store, scan = ResultStore(job.scan.study.folder), job.scan
    yield Progress("Reading the deviations", 0.0)
    settings = scan.settings
    if job.why_not:
        points = len(ready.evaluation.points)
        result = no_causes(points, job.facts, settings.causes, job.why_not)
    else:
        field = still_kept(load_deviations(store, scan.key, ready.evaluation, settings))
        crown = CrownToExplain(
            deviation_mm=field.deviation_mm,
            scan=load_surface(store, scan),
            facts=job.facts,
            tolerances=_NO_TOLERANCES,
            repeatability_um=job.repeatability_um,
        )
        result = yield from find_causes_steps(fields, crown)
    cells = np.full(len(fields.cell_points), np.nan) if result.cells is None else result.cells
    store.save(job.key, _record(result), {"cells": cells.astype(np.float32)})


def _record(result: CausesResult) -> dict[str, Any]:
    return {
        "causes": [asdict(cause) for cause in result.causes],
        "corrections": [asdict(one) for one in result.corrections],
        "sentences": list(result.sentences),
        "notes": list(result.notes),
        "remaining": asdict(result.remaining),
        "share_together": result.share_together,
    }


def load_causes(store: ResultStore, job: CausesJob) -> CrownCauses | None:
    """Return a crown's kept causes; None if there are none."""
    entry = store.load(job.key)
    if entry is None:
        return None
    record, arrays = entry
    return CrownCauses(
        causes=tuple(Cause(**with_tuples(row)) for row in record["causes"]),
        corrections=tuple(Correction(**with_tuples(row)) for row in record["corrections"]),
        sentences=tuple(record["sentences"]),
        notes=tuple(record["notes"]),
        remaining=Remaining(**record["remaining"]),
        share_together=float(record["share_together"]),
        why_not=job.why_not,
        cells=arrays["cells"].astype(np.float64),
    )
