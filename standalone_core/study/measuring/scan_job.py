"""One scan of a study, measured against the design and kept."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...areas.area_set import AreaSet
from ...check_settings import CheckSettings
from ...deviation.field import DeviationField
from ...deviation.judgement import pieces_of
from ...deviation.layers_beside import LayerBeside
from ...deviation.margin_profile import MarginProfileSettings, margin_profile
from ...deviation.margin_summary import MarginSummary
from ...deviation.measures import measure_areas
from ...measure import ReadyDesign, measure_scan_steps, read_scan
from ...mesh.refine import EvaluationMesh, evaluation_mesh
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps, run, scaled
from ...records import with_tuples
from ...superimpose.result import Superimposition
from .fit_record import fit_from, fit_record
from .result_store import Kept, key_of
from .worker_design import workers_design


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
class KeptScan:
    """What a study keeps of a measured scan, before any area or tolerance is looked at.

    Attributes
    ----------
    triangles : int
        Of the scan, after repair.
    edge_mm : float
        Mean length of its edges, mm.
    notes : tuple of str
        What reading and repairing found, as sentences.
    superimposition : Superimposition
    design_to_scan, scan_to_design : DeviationField
        Of the first also the feet, which pairs are made of.
    is_design : bool
        Whether the scan is no scan but the design's own surface.
    layers : tuple of LayerBeside
        Second layers of its surface.
    """

    triangles: int
    edge_mm: float
    notes: tuple[str, ...]
    superimposition: Superimposition
    design_to_scan: DeviationField
    scan_to_design: DeviationField
    is_design: bool
    layers: tuple[LayerBeside, ...]


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
    limits = [dict(settings.tolerances.mean_abs_um), settings.tolerances.max_unmatched_um]
    return key_of("rows", key, areas, limits, settings.weighted, MarginProfileSettings())


def measure_and_keep(job: ScanJob) -> str:
    """Measure one scan in a worker process, keep the results and return its key.

    Raises
    ------
    CuspwiseError
        The scan cannot be used.
    """
    ready = workers_design(job.design, job.settings, job.areas_file)
    return run(measure_and_keep_steps(job, ready, threads=1))


def measure_and_keep_steps(
    job: ScanJob, ready: ReadyDesign, threads: int | None = None
) -> Steps[str]:
    """Do as :func:`measure_and_keep` does, step by step, with a design that is ready already."""
    kept = Kept(job.folder)
    measured = load_scan(kept, job.key, ready.evaluation, job.settings)
    if measured is None:
        measured = yield from scaled(_measured_steps(job, ready, threads), 0.0, 0.9)
        _keep(kept, job.key, measured)
    yield Progress("Measuring the areas", 0.9)
    fields = measured.design_to_scan, measured.scan_to_design
    tolerances = job.settings.tolerances.mean_abs_um
    rows = measure_areas(fields, ready.area_set, tolerances, weighted=job.settings.weighted)
    pieces = pieces_of(fields, ready.area_set, job.settings.tolerances)
    margin = _margin(measured, ready, job.settings)
    record = {
        **_about(measured),
        "measures": [asdict(row) for row in rows],
        "unmatched": [asdict(piece) for piece in pieces],
        "margin": None if margin is None else asdict(margin),
    }
    kept.save(job.rows_key, record, {})
    return job.key


def _margin(
    measured: KeptScan, ready: ReadyDesign, settings: CheckSettings
) -> MarginSummary | None:
    """Return what the scan's margin profile comes to; None without a margin line."""
    back = measured.scan_to_design
    assert back.faces is not None  # measured
    scan = evaluation_mesh(TriangleMesh(back.points_mm, back.faces), settings.spacing_mm)
    tolerance_um = settings.tolerances.limit_um("margin")
    profile = margin_profile(
        measured.design_to_scan,
        back,
        ready.area_set,
        scan,
        tolerance_um,
        scan_edge_mm=measured.edge_mm,
    )
    return None if profile is None else profile.summary


def _measured_steps(job: ScanJob, ready: ReadyDesign, threads: int | None) -> Steps[KeptScan]:
    yield Progress("Reading the scan", 0.0)
    scan = read_scan(job.scan, job.settings)
    steps = measure_scan_steps(scan, ready, job.settings, threads=threads)
    measured = yield from scaled(steps, 0.1, 1.0)
    return KeptScan(
        triangles=len(scan.mesh),
        edge_mm=scan.mesh.mean_edge_mm,
        notes=tuple(f"Scan: {text}" for text in scan.notes),
        superimposition=measured.superimposition,
        design_to_scan=measured.design_to_scan,
        scan_to_design=measured.scan_to_design,
        is_design=measured.is_design,
        layers=measured.layers,
    )


def moved_scan(job: ScanJob, fit: Superimposition) -> TriangleMesh:
    """Read a scan again and lay it on the design as it was laid before."""
    return read_scan(job.scan, job.settings).mesh.moved(fit.T_design_scan)


def _keep(kept: Kept, key: str, measured: KeptScan) -> None:
    there, back = measured.design_to_scan, measured.scan_to_design
    assert there.foot_mm is not None  # both were measured
    assert back.faces is not None
    assert back.unmatched_mm is not None
    standing = np.flatnonzero(np.isfinite(back.unmatched_mm))
    arrays: dict[str, NDArray[Any]] = {
        "deviation_mm": there.deviation_mm,
        "status": there.status,
        "foot_mm": there.foot_mm,
        "back_points_mm": back.points_mm,
        "back_deviation_mm": back.deviation_mm,
        "back_status": back.status,
        "back_faces": back.faces.astype(np.int32),
        "back_area_point": back.area_point,
        "back_unmatched_point": standing.astype(np.int32),
        "back_unmatched_mm": back.unmatched_mm[standing],
    }
    kept.save(key, _about(measured), arrays)


def _about(measured: KeptScan) -> dict[str, Any]:
    return {
        "triangles": measured.triangles,
        "edge_mm": measured.edge_mm,
        "notes": list(measured.notes),
        "superimposition": fit_record(measured.superimposition),
        "is_design": measured.is_design,
        "layers": [asdict(layer) for layer in measured.layers],
    }


def load_scan(
    kept: Kept, key: str, evaluation: EvaluationMesh, settings: CheckSettings
) -> KeptScan | None:
    """Return what was kept of a scan; None if there is nothing that can be read."""
    entry = kept.load(key)
    if entry is None:
        return None
    record, arrays = entry
    return KeptScan(
        triangles=record["triangles"],
        edge_mm=record["edge_mm"],
        notes=tuple(record["notes"]),
        superimposition=fit_from(record["superimposition"], settings.superimpose),
        design_to_scan=_forward(arrays, evaluation, settings),
        scan_to_design=_backward(arrays, settings),
        is_design=record["is_design"],
        layers=tuple(LayerBeside(**with_tuples(layer)) for layer in record["layers"]),
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


def _backward(arrays: dict[str, NDArray[Any]], settings: CheckSettings) -> DeviationField:
    scan = TriangleMesh(arrays["back_points_mm"], arrays["back_faces"])
    unmatched = np.full(len(scan.vertices), np.nan)
    unmatched[arrays["back_unmatched_point"]] = arrays["back_unmatched_mm"]
    return DeviationField(
        direction="scan_to_design",
        points_mm=scan.vertices,
        deviation_mm=arrays["back_deviation_mm"],
        status=arrays["back_status"],
        weights_mm2=scan.vertex_areas,
        area_point=arrays["back_area_point"],
        settings=settings.deviation,
        faces=scan.faces,
        unmatched_mm=unmatched,
    )


def areas_of(area_set: AreaSet, names: tuple[str, ...]) -> str:
    """Return a checksum of the points of some areas; empty for none."""
    if not names:
        return ""
    return key_of("areas", [[name, np.packbits(area_set[name].points)] for name in names])
