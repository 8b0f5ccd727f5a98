"""One crown of a group against others of it: precision at the shared evaluation points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...areas.area_set import AreaSet
from ...check_settings import faces_to_fit
from ...deviation.field import (
    COUNTED,
    NOT_MUTUAL,
    TOO_FAR,
    DeviationField,
    DeviationSettings,
    counting_status,
)
from ...deviation.matching import through_no_wall_steps
from ...deviation.measures import AreaMeasures, measure_areas
from ...errors import SuperimpositionError
from ...measure import ReadyDesign
from ...mesh.refine import EvaluationMesh
from ...mesh.triangle_mesh import FloatArray, TriangleMesh
from ...progress import Progress, Steps, run
from ...superimpose.near_fit import NearFit, near_fit
from ...superimpose.prepared import PreparedDesign
from ...superimpose.rigid import apply, rotation_angle_deg, turned
from ...surface.closest import SurfaceIndex
from .result_store import Kept, key_of
from .results import Pair
from .scan_job import KeptScan, ScanJob, load_scan, moved_scan
from .worker_design import workers_design


@dataclass(frozen=True)
class PairJob:
    """One crown, to be compared with others of its group.

    Attributes
    ----------
    first : ScanJob
        The crown whose whole surface the others are measured from; kept already.
    seconds : tuple of str
        Keys of the others, kept already.
    areas : str
        Checksum of the areas and of how they are weighted, which the measures depend on.
    """

    first: ScanJob
    seconds: tuple[str, ...]
    areas: str

    def key(self, second: str) -> str:
        """Return under which the pair with ``second`` is kept."""
        return key_of("pair", self.first.key, second, self.areas)


def compare_and_keep(job: PairJob) -> int:
    """Compare one crown with the others in a worker process and keep the results."""
    ready = workers_design(job.first.design, job.first.settings, job.first.areas_file)
    return run(compare_and_keep_steps(job, ready, threads=1))


def compare_and_keep_steps(
    job: PairJob, ready: ReadyDesign, threads: int | None = None
) -> Steps[int]:
    """Do as :func:`compare_and_keep` does, step by step; return the count of pairs."""
    kept, settings = Kept(job.first.folder), job.first.settings
    yield Progress("Indexing a crown", 0.0)
    first = load_scan(kept, job.first.key, ready.evaluation, settings)
    assert first is not None  # pairs are made of crowns that are kept
    surface = moved_scan(job.first, first.superimposition)
    target = PreparedDesign(SurfaceIndex(surface, threads=threads))
    for done, key in enumerate(job.seconds):
        yield Progress("Comparing crowns", (done + 0.5) / (len(job.seconds) + 0.5))
        second = load_scan(kept, key, ready.evaluation, settings)
        assert second is not None
        kept.save(job.key(key), _compared(first, second, target, ready.area_set, job), {})
    return len(job.seconds)


def load_pair(kept: Kept, key: str, group: str, first: str, second: str) -> Pair | None:
    """Return what was kept of a pair; None if there is nothing that can be read."""
    entry = kept.load(key)
    if entry is None:
        return None
    record = entry[0]
    return Pair(
        group=group,
        first=first,
        second=second,
        superimposed=tuple(AreaMeasures(**row) for row in record["superimposed"]),
        design_frame=tuple(AreaMeasures(**row) for row in record["design_frame"]),
        shift_um=record["shift_um"],
        turn_deg=record["turn_deg"],
        reason=record["reason"],
    )


def difference(first: DeviationField, deviation_mm: FloatArray) -> DeviationField:
    """Return the field of ``first`` minus other deviations at the same points."""
    apart = first.deviation_mm - deviation_mm
    status = np.where(np.isfinite(apart), COUNTED, TOO_FAR).astype(np.uint8)
    return replace(first, deviation_mm=apart, status=status, foot_mm=None)


def _compared(
    first: KeptScan,
    second: KeptScan,
    target: PreparedDesign,
    area_set: AreaSet,
    job: PairJob,
) -> dict[str, Any]:
    weighted = job.first.settings.weighted
    apart = difference(first.design_to_scan, second.design_to_scan.deviation_mm)
    in_design_frame = measure_areas([apart], area_set, weighted=weighted)
    record: dict[str, Any] = {"design_frame": _rows(in_design_frame), "superimposed": []}
    try:
        field, motion = _superimposed(second, target, area_set, job)
    except SuperimpositionError as problem:
        return {**record, "shift_um": np.nan, "turn_deg": np.nan, "reason": problem.reason}
    rows = measure_areas([field], area_set, weighted=weighted)
    return {**record, "superimposed": _rows(rows), **motion, "reason": ""}


def _superimposed(
    second: KeptScan, target: PreparedDesign, area_set: AreaSet, job: PairJob
) -> tuple[DeviationField, Mapping[str, float]]:
    """Lay the second crown's points on the first crown and measure there."""
    evaluation, settings = area_set.evaluation, job.first.settings
    counted = second.design_to_scan.counted
    carried = _carried(second, evaluation)
    used = counted & (carried.vertex_areas > 0)
    faces = faces_to_fit(area_set, settings.fit_areas)
    if faces is not None:
        used &= np.bincount(evaluation.mesh.faces[faces].ravel(), minlength=len(used)) > 0
    weights = np.where(used, evaluation.weights_mm2, 0.0)
    fit = near_fit(
        carried.vertices, weights, target, settings.superimpose, settings.deviation.search_mm
    )
    T = fit.T_target_source
    normals = turned(T, carried.vertex_normals)
    status = counting_status(normals, fit.closest, target.index.mesh, settings.deviation)
    status = np.where(counted, status, NOT_MUTUAL).astype(np.uint8)
    status = _through_no_wall(status, fit, carried.moved(T), target.index, settings.deviation)
    status = np.where(counted, status, second.design_to_scan.status).astype(np.uint8)
    field = replace(
        second.design_to_scan,
        deviation_mm=np.where(status == COUNTED, -fit.signed_mm, np.nan),
        status=status,
        foot_mm=None,
    )
    return field, _motion(T, carried)


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
    )
    return run(through_no_wall_steps(field, crown, target)).status


def _carried(scan: KeptScan, evaluation: EvaluationMesh) -> TriangleMesh:
    """Return a crown's surface as its points nearest to the design's, joined as those are."""
    field, faces = scan.design_to_scan, evaluation.mesh.faces
    assert field.foot_mm is not None  # it was measured
    counted = field.counted
    vertices = np.where(counted[:, None], field.foot_mm, evaluation.points)
    return TriangleMesh(vertices, faces[np.all(counted[faces], axis=1)])


def _motion(T: FloatArray, mesh: TriangleMesh) -> dict[str, float]:
    centre = mesh.vertices.mean(axis=0, keepdims=True)
    shift = float(np.linalg.norm(apply(T, centre) - centre))
    return {"shift_um": 1e3 * shift, "turn_deg": rotation_angle_deg(T[:3, :3])}


def _rows(measures: tuple[AreaMeasures, ...]) -> list[dict[str, Any]]:
    return [asdict(row) for row in measures]
