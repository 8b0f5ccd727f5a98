"""One crown of a group laid on others of it, at the shared evaluation points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...areas.area_set import AreaSet
from ...areas.chosen import faces_to_fit
from ...arrays import FloatArray
from ...check_settings import CheckSettings
from ...deviation.field import COUNTED, NOT_MUTUAL, DeviationField, counting_status
from ...deviation.matching import ends_somewhere, through_no_wall_steps
from ...deviation.measures import AreaMeasures, measure_areas
from ...deviation.settings import DeviationSettings
from ...errors import SuperimpositionError
from ...measure import ReadyDesign
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps, run
from ...superimpose.near_fit import NearFit, near_fit
from ...superimpose.rigid import apply, rotation_angle_deg, turned
from ...surface.closest import SurfaceIndex
from ...surface.known import KnownFaces
from .carried import CarriedCrown, carried_surface
from .result_store import ResultStore, key_of, still_kept
from .results import Crown, Pair
from .scan_job import ScanJob, load_carried, load_surface


@dataclass(frozen=True)
class PairJob:
    """One crown, to be compared with others of its group.

    Attributes
    ----------
    first : ScanJob
        The crown whose whole surface the others are measured from; kept already.
    seconds : tuple of str
        Keys of the others, kept already.
    """

    first: ScanJob
    seconds: tuple[str, ...]


def pair_key(first: ScanJob, second: str) -> str:
    """Return under which the pair of a crown with another, of key ``second``, is kept."""
    return key_of("pair", first.key, second, first.study.areas, first.settings.weighted)


def compare_and_keep(job: PairJob) -> None:
    """Compare one crown with the others in a worker process and keep the results."""
    run(compare_and_keep_steps(job, job.first.study.workers_design(), threads=1))


def compare_and_keep_steps(
    job: PairJob, ready: ReadyDesign, threads: int | None = None
) -> Steps[None]:
    """Do as :func:`compare_and_keep` does, step by step.

    Raises
    ------
    StudyError
        What was kept of a crown is gone.
    """
    first, settings = job.first, job.first.settings
    store = ResultStore(first.study.folder)
    yield Progress("Indexing a crown", 0.0)
    surface = still_kept(load_surface(store, first))
    own = still_kept(load_carried(store, first.key, ready.evaluation, settings))
    known = known_faces(own, surface, settings, threads)
    for done, key in enumerate(job.seconds):
        yield Progress("Comparing crowns", (done + 0.5) / (len(job.seconds) + 0.5))
        second = still_kept(load_carried(store, key, ready.evaluation, settings))
        record = _compared(second, known, ready.area_set, settings)
        store.save(pair_key(first, key), record, {})


def load_pair(store: ResultStore, key: str, first: Crown, second: Crown) -> Pair | None:
    """Return what was kept of a pair; None if there is nothing that can be read."""
    entry = store.load(key)
    if entry is None:
        return None
    record = entry[0]
    return Pair(
        group=first.group,
        first=first.name,
        second=second.name,
        superimposed=tuple(AreaMeasures(**row) for row in record["superimposed"]),
        shift_um=record["shift_um"],
        turn_deg=record["turn_deg"],
        reason=record["reason"],
    )


def _compared(
    second: CarriedCrown, known: KnownFaces, area_set: AreaSet, settings: CheckSettings
) -> dict[str, Any]:
    try:
        field, motion = superimposed(second, known, area_set, settings)
    except SuperimpositionError as problem:
        unknown = {"shift_um": np.nan, "turn_deg": np.nan}
        return {"superimposed": [], **unknown, "reason": problem.reason}
    rows = measure_areas([field], area_set, weighted=settings.weighted)
    return {"superimposed": [asdict(row) for row in rows], **motion, "reason": ""}


def known_faces(
    first: CarriedCrown,
    surface: TriangleMesh,
    settings: CheckSettings,
    threads: int | None = None,
) -> KnownFaces:
    """Say over which faces of the first crown the points of the others probably lie.

    Both crowns were measured at the same points of the design, so that their feet lie near each
    other. ``surface`` is the first crown where it was laid on the design.
    """
    assert first.field.foot_face is not None  # it was measured
    index = SurfaceIndex(surface, threads=threads)
    return KnownFaces(index, first.field.foot_face, settings.deviation.search_mm)


def superimposed(
    second: CarriedCrown, known: KnownFaces, area_set: AreaSet, settings: CheckSettings
) -> tuple[DeviationField, Mapping[str, float]]:
    """Lay the second crown's points on the first crown and measure there.

    Parameters
    ----------
    second : CarriedCrown
    known : KnownFaces
        Of the first crown; see :func:`known_faces`.
    area_set : AreaSet
    settings : CheckSettings

    Returns
    -------
    DeviationField, mapping
        Deviations of the first crown from the second, and how far the second was moved.

    Raises
    ------
    SuperimpositionError
        The two crowns cannot be laid on each other.
    """
    evaluation, own = area_set.evaluation, second.field
    counted, used, points = own.counted, second.used, second.points_mm
    faces = faces_to_fit(area_set, settings.fit_areas)
    if faces is not None:
        used &= np.bincount(evaluation.mesh.faces[faces].ravel(), minlength=len(used)) > 0
    weights = np.where(used, evaluation.weights_mm2, 0.0)
    fit = near_fit(points, weights, settings.superimpose, known)
    T, target = fit.T_target_source, known.index
    normals = turned(T, second.normals)
    status = counting_status(normals, fit.closest, target.mesh, settings.deviation)
    status = np.where(counted, status, NOT_MUTUAL).astype(np.uint8)
    if ends_somewhere(status):
        crown = carried_surface(own, evaluation).moved(T)
        status = _through_no_wall(status, fit, crown, target, settings.deviation)
    status = np.where(counted, status, own.status).astype(np.uint8)
    field = replace(
        own,
        deviation_mm=np.where(status == COUNTED, -fit.signed_mm, np.nan),
        status=status,
        foot_mm=None,
        foot_face=None,
    )
    return field, _motion(T, points)


def _through_no_wall(
    status: NDArray[np.uint8],
    fit: NearFit,
    crown: TriangleMesh,
    target: SurfaceIndex,
    settings: DeviationSettings,
) -> NDArray[np.uint8]:
    """Return the status of the points of a crown without those matched through another's wall."""
    counted = status == COUNTED
    field = DeviationField(
        direction="design_to_scan",
        points_mm=fit.points_mm,
        deviation_mm=np.where(counted, -fit.signed_mm, np.nan),
        status=status,
        weights_mm2=crown.vertex_areas,
        area_point=np.arange(len(status)),
        settings=settings,
        foot_mm=np.where(counted[:, None], fit.closest.foot, np.nan),
        foot_face=np.where(counted, fit.closest.face, -1),
    )
    return run(through_no_wall_steps(field, crown, target)).status


def _motion(T: FloatArray, points: FloatArray) -> dict[str, float]:
    centre = points.mean(axis=0, keepdims=True)
    shift = float(np.linalg.norm(apply(T, centre) - centre))
    return {"shift_um": 1e3 * shift, "turn_deg": rotation_angle_deg(T[:3, :3])}
