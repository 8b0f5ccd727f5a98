"""One crown of a study as a check shows it: from what the study keeps, without measuring anew."""

from __future__ import annotations

from pathlib import Path

from ...check import judge_scan
from ...check_result import CheckResult
from ...checked_mesh import read_scan
from ...errors import StudyError
from ...measure import ReadyDesign
from ...progress import Progress, Steps
from ...superimpose.prepared import PreparedDesign
from ...surface.closest import SurfaceIndex
from .result_store import KEPT, ResultStore
from .results import Crown, StudyRun
from .scan_job import load_measured


def study_design(run: StudyRun) -> ReadyDesign:
    """Return the design that a study was measured on, ready for more."""
    index = SurfaceIndex(run.area_set.evaluation.mesh)
    return ReadyDesign(run.design, run.area_set, PreparedDesign(index))


def crown_check_steps(
    run: StudyRun, ready: ReadyDesign, crown: Crown, out: Path
) -> Steps[CheckResult]:
    """Return what a check of a study's crown finds.

    The scan is read again, as its faults are not kept; deviations, both ways, are those of the
    study, judged as a check judges them.

    Parameters
    ----------
    run : StudyRun
    ready : ReadyDesign
        Of :func:`study_design`.
    crown : Crown
        One of the run's.
    out : pathlib.Path
        Folder of the study's results.

    Raises
    ------
    CuspwiseError
        The scan's file or what was kept of it is gone.
    """
    settings = run.plan.check
    yield Progress("Reading the scan", 0.0)
    scan = read_scan(crown.path, settings)
    yield Progress("Reading what was measured", 0.4)
    measured = load_measured(ResultStore(out / KEPT), crown.key, crown.path.name, ready, settings)
    if measured is None:
        raise StudyError(
            "What the study measured of it cannot be read.",
            subject=crown.name,
            remedy="Check the crown, which measures it anew.",
        )
    yield Progress("Comparing with the tolerances", 0.7)
    return judge_scan(ready, scan, measured, settings)
