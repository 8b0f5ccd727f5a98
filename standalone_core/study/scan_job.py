"""One scan of a study, measured against the design and kept."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..areas.area_set import AreaSet
from ..check import CheckSettings, faces_to_fit
from ..deviation.field import DeviationField, measure_deviation_steps
from ..deviation.matching import mutual_steps
from ..deviation.measures import measure_areas
from ..mesh.files import read_mesh
from ..mesh.refine import EvaluationMesh, evaluation_mesh
from ..mesh.repair import repair_mesh
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps, run, scaled
from ..superimpose.result import Superimposition
from ..superimpose.superimposition import superimpose_steps
from ..surface.closest import SurfaceIndex
from .fit_record import fit_from, fit_record
from .keep import Kept, key_of
from .workbench import Workbench, workers_bench


@dataclass(frozen=True)
class ScanJob:
    """What a worker needs to measure one scan.

    Attributes
    ----------
    scan : pathlib.Path
    key : str
        Under which the deviations are kept.
    rows_key : str
        Under which the measures of the areas are kept.
    design, areas_file, folder : pathlib.Path
        The design, the study's areas, and the folder of kept results.
    settings : CheckSettings
    """

    scan: Path
    key: str
    rows_key: str
    design: Path
    areas_file: Path
    folder: Path
    settings: CheckSettings


@dataclass(frozen=True, eq=False)
class MeasuredScan:
    """A scan's deviations, before any area or tolerance is looked at.

    Attributes
    ----------
    triangles : int
        Of the scan, after repair.
    notes : tuple of str
        What reading and repairing found, as sentences.
    superimposition : Superimposition
    design_to_scan, scan_to_design : DeviationField
        Of the first also the feet, which pairs are made of.
    """

    triangles: int
    notes: tuple[str, ...]
    superimposition: Superimposition
    design_to_scan: DeviationField
    scan_to_design: DeviationField


def scan_key(sha256: str, design_sha256: str, settings: CheckSettings, fit_areas: str) -> str:
    """Name a scan's result after all that it depends on, which tolerances are not.

    Parameters
    ----------
    sha256, design_sha256 : str
        Checksums of the two files.
    settings : CheckSettings
    fit_areas : str
        Checksum of the areas that the superimposition runs on; empty for the whole crown.
    """
    return key_of(
        "scan",
        sha256,
        design_sha256,
        fit_areas,
        [settings.design_unit, settings.scan_unit, settings.spacing_mm, settings.drop_debris],
        settings.superimpose,
        settings.deviation,
    )


def rows_key(key: str, areas: str, settings: CheckSettings) -> str:
    """Name a scan's measures after its deviations, the areas and the tolerances."""
    tolerances = dict(settings.tolerances.mean_abs_um)
    return key_of("rows", key, areas, tolerances, settings.weighted)


def measure_and_keep(job: ScanJob) -> str:
    """Measure one scan in a worker process, keep the results and return its key.

    Raises
    ------
    CuspwiseError
        The scan cannot be used.
    """
    bench = workers_bench(job.design, job.settings, job.areas_file)
    return run(measure_and_keep_steps(job, bench, threads=1))


def measure_and_keep_steps(
    job: ScanJob, bench: Workbench, threads: int | None = None
) -> Steps[str]:
    """Do as :func:`measure_and_keep` does, step by step, on a bench that is there already."""
    kept = Kept(job.folder)
    measured = load_scan(kept, job.key, bench.evaluation, job.settings)
    if measured is None:
        steps = measure_scan_steps(job.scan, bench, job.settings, threads)
        measured = yield from scaled(steps, 0.0, 0.9)
        _keep(kept, job.key, measured)
    yield Progress("Measuring the areas", 0.9)
    fields = measured.design_to_scan, measured.scan_to_design
    tolerances = job.settings.tolerances.mean_abs_um
    rows = measure_areas(fields, bench.area_set, tolerances, weighted=job.settings.weighted)
    kept.save(job.rows_key, {**_about(measured), "measures": [asdict(row) for row in rows]}, {})
    return job.key


def measure_scan_steps(
    path: Path, bench: Workbench, settings: CheckSettings, threads: int | None = None
) -> Steps[MeasuredScan]:
    """Read a scan, superimpose it and measure both directions."""
    yield Progress("Reading the scan", 0.0)
    file = read_mesh(path, unit=settings.scan_unit)
    repair = repair_mesh(file.mesh, drop_debris=settings.drop_debris)
    fit_steps = superimpose_steps(
        repair.mesh,
        bench.prepared,
        settings.superimpose,
        use_faces=faces_to_fit(bench.area_set, settings.fit_areas),
    )
    fit = yield from scaled(fit_steps, 0.1, 0.5)
    moved = repair.mesh.moved(fit.T_design_scan)
    yield Progress("Indexing the scan", 0.5)
    index = SurfaceIndex(moved, threads=threads)
    forward_steps = measure_deviation_steps(
        bench.evaluation.mesh, index, "design_to_scan", settings.deviation
    )
    forward = yield from scaled(forward_steps, 0.6, 0.75)
    mutual = mutual_steps(forward, bench.evaluation.mesh, index, bench.prepared.index)
    forward = yield from scaled(mutual, 0.75, 0.8)
    yield Progress("Placing the scan's points", 0.8)
    own_points = evaluation_mesh(moved, settings.spacing_mm).mesh
    backward_steps = measure_deviation_steps(
        own_points, bench.prepared.index, "scan_to_design", settings.deviation
    )
    backward = yield from scaled(backward_steps, 0.85, 0.95)
    mutual = mutual_steps(backward, own_points, bench.prepared.index, index)
    backward = yield from scaled(mutual, 0.95, 1.0)
    notes = tuple(f"Scan: {text}" for text in (*file.notes, *repair.warnings))
    return MeasuredScan(len(repair.mesh), notes, fit, forward, backward)


def moved_scan(job: ScanJob, fit: Superimposition) -> TriangleMesh:
    """Read a scan again and lay it on the design as it was laid before."""
    file = read_mesh(job.scan, unit=job.settings.scan_unit)
    mesh = repair_mesh(file.mesh, drop_debris=job.settings.drop_debris).mesh
    return mesh.moved(fit.T_design_scan)


def _keep(kept: Kept, key: str, measured: MeasuredScan) -> None:
    there, back = measured.design_to_scan, measured.scan_to_design
    assert there.foot_mm is not None  # it was measured
    arrays: dict[str, NDArray[Any]] = {
        "deviation_mm": there.deviation_mm,
        "status": there.status,
        "foot_mm": there.foot_mm,
        "back_points_mm": back.points_mm,
        "back_deviation_mm": back.deviation_mm,
        "back_status": back.status,
        "back_weights_mm2": back.weights_mm2,
        "back_area_point": back.area_point,
    }
    kept.save(key, _about(measured), arrays)


def _about(measured: MeasuredScan) -> dict[str, Any]:
    return {
        "triangles": measured.triangles,
        "notes": list(measured.notes),
        "superimposition": fit_record(measured.superimposition),
    }


def load_scan(
    kept: Kept, key: str, evaluation: EvaluationMesh, settings: CheckSettings
) -> MeasuredScan | None:
    """Return what was kept of a scan; None if there is nothing that can be read."""
    entry = kept.load(key)
    if entry is None:
        return None
    record, arrays = entry
    return MeasuredScan(
        triangles=record["triangles"],
        notes=tuple(record["notes"]),
        superimposition=fit_from(record["superimposition"], settings.superimpose),
        design_to_scan=_forward(arrays, evaluation, settings),
        scan_to_design=DeviationField(
            direction="scan_to_design",
            points_mm=arrays["back_points_mm"],
            deviation_mm=arrays["back_deviation_mm"],
            status=arrays["back_status"],
            weights_mm2=arrays["back_weights_mm2"],
            area_point=arrays["back_area_point"],
            settings=settings.deviation,
        ),
    )


def _forward(
    arrays: dict[str, NDArray[Any]], evaluation: EvaluationMesh, settings: CheckSettings
) -> DeviationField:
    return DeviationField(
        direction="design_to_scan",
        points_mm=evaluation.points,
        deviation_mm=arrays["deviation_mm"],
        status=arrays["status"],
        weights_mm2=evaluation.weights_mm2,
        area_point=np.arange(len(evaluation.points)),
        settings=settings.deviation,
        foot_mm=arrays["foot_mm"],
    )


def areas_of(area_set: AreaSet, names: tuple[str, ...]) -> str:
    """Return a checksum of the points of some areas; empty for none."""
    if not names:
        return ""
    return key_of("areas", [[name, np.packbits(area_set[name].points)] for name in names])
