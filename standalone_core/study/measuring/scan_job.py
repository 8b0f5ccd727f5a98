"""One scan of a study, measured against the design and kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...areas.area_set import AreaSet
from ...arrays import FloatArray
from ...check import marks_of
from ...check_settings import CheckSettings
from ...checked_mesh import read_scan
from ...deviation.facet_sag import sag_by_area
from ...deviation.field import DeviationField
from ...deviation.judgement import pieces_of
from ...deviation.layers_beside import layers_beside
from ...deviation.margin_profile import margin_profile
from ...deviation.measures import measure_areas
from ...deviation.settings import MarginProfileSettings
from ...measure import MeasuredScan, ReadyDesign, measure_scan_steps, ready_scan_steps
from ...mesh.layers import DoubleLayer
from ...mesh.refine import EvaluationMesh, evaluation_mesh
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps, run, scaled
from ...records import with_tuples
from ...superimpose.result import Superimposition
from .carried import CarriedCrown, carried_surface
from .fit_record import fit_from, fit_record
from .result_store import ResultStore, file_checksum, key_of
from .worker_design import workers_design

_SURFACE = ("vertices", "faces")
_FORWARD = ("deviation_mm", "status")
_FEET = ("foot_mm", "foot_face")
MARGIN_UM = "margin_um"
_ROWS = 2
"""Raised when what is kept of the areas changes; the scans themselves stay kept."""


@dataclass(frozen=True)
class StudyDependencies:
    """What all results of a study depend on, and where they are kept.

    Attributes
    ----------
    folder : pathlib.Path
        Of the kept results.
    design : pathlib.Path
    design_sha256 : str
        Checksum of its file.
    areas : str
        Under which the areas are kept, which stands for their content.
    fit_areas : str
        Checksum of those that are fitted on; empty for the whole crown.
    settings : CheckSettings
    """

    folder: Path
    design: Path
    design_sha256: str
    areas: str
    fit_areas: str
    settings: CheckSettings

    def workers_design(self) -> ReadyDesign:
        """Return the design, made ready in a worker process once and for all."""
        return workers_design(self.design, self.settings, self.folder, self.areas)


@dataclass(frozen=True)
class ScanJob:
    """One scan of a study: all that a worker needs to measure it.

    Attributes
    ----------
    name, group : str
    scan : pathlib.Path
    sha256 : str
        Checksum of the file's content.
    study : StudyDependencies
    """

    name: str
    group: str
    scan: Path
    sha256: str
    study: StudyDependencies

    @property
    def settings(self) -> CheckSettings:
        """The study's settings."""
        return self.study.settings

    @cached_property
    def key(self) -> str:
        """Under which the deviations are kept: all that they depend on, not the tolerances."""
        settings = self.settings
        return key_of(
            "scan",
            self.sha256,
            self.study.design_sha256,
            self.study.fit_areas,
            [
                settings.design_unit,
                settings.scan_unit,
                settings.spacing_mm,
                settings.ignore_loose_pieces,
            ],
            settings.superimpose,
            settings.deviation,
        )

    @cached_property
    def rows_key(self) -> str:
        """Under which the measures of the areas are kept."""
        tolerances = self.settings.tolerances
        return key_of(
            "rows",
            _ROWS,
            self.key,
            self.study.areas,
            [dict(tolerances.tolerances_um), tolerances.max_unmatched_um],
            self.settings.weighted,
            MarginProfileSettings(),
            self.settings.mark,
            tolerances.max_unsettled_share,
        )


def scan_job(name: str, group: str, scan: Path, study: StudyDependencies) -> ScanJob:
    """Return what is to be done for a scan.

    Raises
    ------
    FileError
        It cannot be read.
    """
    return ScanJob(name, group, scan.resolve(), file_checksum(scan), study)


def measure_and_keep(job: ScanJob) -> None:
    """Measure one scan in a worker process and keep the results.

    Raises
    ------
    CuspwiseError
        The scan cannot be used.
    """
    run(measure_and_keep_steps(job, job.study.workers_design(), threads=1))


def measure_and_keep_steps(
    job: ScanJob, ready: ReadyDesign, threads: int | None = None
) -> Steps[None]:
    """Do as :func:`measure_and_keep` does, step by step, with a design that is ready already."""
    store = ResultStore(job.study.folder)
    measured = load_scan(store, job, ready)
    if measured is None:
        yield Progress("Reading the scan", 0.0)
        scan = read_scan(job.scan, job.settings)
        readying = ready_scan_steps(scan, job.settings, threads=threads)
        ready_scan = yield from scaled(readying, 0.1, 0.2)
        steps = measure_scan_steps(ready_scan, ready, job.settings)
        measured = yield from scaled(steps, 0.2, 0.9)
        _save_scan(store, job.key, measured, ready.evaluation)
    yield Progress("Measuring the areas", 0.9)
    store.save(job.rows_key, *_rows(measured, ready.area_set, job.settings))


def _rows(
    measured: MeasuredScan, area_set: AreaSet, settings: CheckSettings
) -> tuple[dict[str, Any], dict[str, NDArray[Any]]]:
    """Return what depends on areas and tolerances: what JSON can hold, and the margin's places."""
    tolerances = settings.tolerances
    rows = measure_areas(
        measured.fields, area_set, tolerances.tolerances_um, weighted=settings.weighted
    )
    margin = margin_profile(
        *measured.fields,
        area_set,
        measured.in_place,
        tolerances.limit_um("margin"),
        scan_edge_mm=measured.mesh.mean_edge_mm,
    )
    marks = marks_of(measured.design_to_scan, area_set, measured.superimposition, settings)
    sags = sag_by_area(area_set, measured.design_to_scan, measured.in_place.design)
    record = {
        "measures": [asdict(row) for row in rows],
        "unmatched": [asdict(piece) for piece in pieces_of(measured.fields, area_set, tolerances)],
        "layers": [asdict(layer) for layer in measured.layers],
        "margin": None if margin is None else asdict(margin.summary),
        "marks": [asdict(mark) for mark in marks],
        "facet_sag": [asdict(sag) for sag in sags],
    }
    return record, {} if margin is None else {MARGIN_UM: margin.counted_um.astype(np.float32)}


def _save_scan(
    store: ResultStore, key: str, measured: MeasuredScan, evaluation: EvaluationMesh
) -> None:
    """Keep a scan before any area or tolerance is looked at.

    What follows from the rest in no time is left out: places and areas of the points.
    """
    there, back = measured.design_to_scan, measured.scan_to_design
    assert there.foot_mm is not None  # both were measured
    assert there.foot_face is not None
    assert back.unmatched_mm is not None
    normals = carried_surface(there, evaluation).vertex_normals
    standing = np.flatnonzero(np.isfinite(back.unmatched_mm))
    record = {
        "triangles": len(measured.mesh),
        "notes": list(measured.notes),
        "double_layers": [asdict(layer) for layer in measured.double_layers],
        "superimposition": fit_record(measured.superimposition),
        "is_design": measured.is_design,
    }
    arrays: dict[str, NDArray[Any]] = {
        "vertices": _short(measured.mesh.vertices),
        "faces": measured.mesh.faces.astype(np.int32),
        "deviation_mm": there.deviation_mm,
        "status": there.status,
        "foot_mm": there.foot_mm,
        "foot_face": there.foot_face.astype(np.int32),
        "foot_normal": normals.astype(np.float32),
        "back_deviation_mm": back.deviation_mm,
        "back_status": back.status,
        "back_area_point": back.area_point.astype(np.int32),
        "back_unmatched_point": standing.astype(np.int32),
        "back_unmatched_mm": back.unmatched_mm[standing],
    }
    store.save(key, record, arrays)


def _short(values: FloatArray) -> NDArray[np.floating[Any]]:
    """Return values in half the space where that loses nothing: most files hold float32."""
    short = values.astype(np.float32)
    return short if np.array_equal(short, values) else values


def load_scan(store: ResultStore, job: ScanJob, ready: ReadyDesign) -> MeasuredScan | None:
    """Return a scan as it was measured; None if there is nothing that can be read."""
    return load_measured(store, job.key, job.scan.name, ready, job.settings)


def load_measured(
    store: ResultStore, key: str, name: str, ready: ReadyDesign, settings: CheckSettings
) -> MeasuredScan | None:
    """Return what is kept of a scan under a key as it was measured; None if nothing can be read.

    Parameters
    ----------
    store : ResultStore
    key : str
    name : str
        Of the scan's mesh.
    ready : ReadyDesign
    settings : CheckSettings
    """
    entry = store.load(key)
    if entry is None:
        return None
    record, arrays = entry
    fit = fit_from(record["superimposition"], settings.superimpose)
    layers = tuple(DoubleLayer(**with_tuples(layer)) for layer in record["double_layers"])
    mesh = TriangleMesh(arrays["vertices"], arrays["faces"], name)
    in_place = evaluation_mesh(mesh, settings.spacing_mm).moved(fit.T_design_scan)
    if len(in_place.points) != len(arrays["back_status"]):
        return None  # another machine's last digit decided where an edge was split
    return MeasuredScan(
        mesh=mesh,
        notes=tuple(record["notes"]),
        double_layers=layers,
        superimposition=fit,
        in_place=in_place,
        design_to_scan=_forward(arrays, ready.evaluation, settings),
        scan_to_design=_backward(arrays, in_place, settings),
        is_design=record["is_design"],
        layers=layers_beside(layers, fit.T_design_scan, ready.area_set),
    )


def load_surface(store: ResultStore, job: ScanJob) -> TriangleMesh | None:
    """Return a kept scan's surface where it was laid on the design; None if there is none."""
    found = load_laid(store, job)
    return None if found is None else found[0].moved(found[1].T_design_scan)


def load_laid(store: ResultStore, job: ScanJob) -> tuple[TriangleMesh, Superimposition] | None:
    """Return a kept scan's surface in its own frame, and how it lies on the design."""
    entry = store.load(job.key, _SURFACE)
    if entry is None:
        return None
    record, arrays = entry
    fit = fit_from(record["superimposition"], job.settings.superimpose)
    return TriangleMesh(arrays["vertices"], arrays["faces"], job.scan.name), fit


def load_deviations(
    store: ResultStore, key: str, evaluation: EvaluationMesh, settings: CheckSettings
) -> DeviationField | None:
    """Return a kept scan's deviations at the design's points; None if there are none.

    Parameters
    ----------
    store : ResultStore
    key : str
        Of the scan.
    evaluation : EvaluationMesh
    settings : CheckSettings
    """
    entry = store.load(key, _FORWARD)
    return None if entry is None else _forward(entry[1], evaluation, settings)


def load_carried(
    store: ResultStore, key: str, evaluation: EvaluationMesh, settings: CheckSettings
) -> CarriedCrown | None:
    """Return what pairs compare of a kept scan; None if there is none. See `load_deviations`."""
    entry = store.load(key, (*_FORWARD, *_FEET, "foot_normal"))
    if entry is None:
        return None
    field = _forward(entry[1], evaluation, settings)
    return CarriedCrown(field, entry[1]["foot_normal"].astype(np.float64))


def _forward(
    arrays: Mapping[str, NDArray[Any]], evaluation: EvaluationMesh, settings: CheckSettings
) -> DeviationField:
    return DeviationField(
        direction="design_to_scan",
        points_mm=evaluation.points,
        deviation_mm=arrays["deviation_mm"],
        status=arrays["status"],
        weights_mm2=evaluation.weights_mm2,
        area_point=np.arange(len(evaluation.points)),
        settings=settings.deviation,
        foot_mm=arrays.get("foot_mm"),
        foot_face=arrays["foot_face"].astype(np.int64) if "foot_face" in arrays else None,
    )


def _backward(
    arrays: Mapping[str, NDArray[Any]], in_place: EvaluationMesh, settings: CheckSettings
) -> DeviationField:
    unmatched = np.full(len(in_place.points), np.nan)
    unmatched[arrays["back_unmatched_point"]] = arrays["back_unmatched_mm"]
    return DeviationField(
        direction="scan_to_design",
        points_mm=in_place.points,
        deviation_mm=arrays["back_deviation_mm"],
        status=arrays["back_status"],
        weights_mm2=in_place.weights_mm2,
        area_point=arrays["back_area_point"].astype(np.int64),
        settings=settings.deviation,
        faces=in_place.mesh.faces,
        unmatched_mm=unmatched,
    )


def areas_checksum(area_set: AreaSet, names: tuple[str, ...]) -> str:
    """Return a checksum of the points of some areas; empty for none."""
    if not names:
        return ""
    return key_of("areas", [[name, np.packbits(area_set[name].points)] for name in names])
