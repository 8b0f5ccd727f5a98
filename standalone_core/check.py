"""The main job: a design and a scan of the produced crown in, all numbers and verdicts out."""

from __future__ import annotations

import platform
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import scipy

from .areas.area_set import AreaSet
from .areas.files import load_areas_steps
from .areas.find import find_areas_steps
from .areas.supports import with_supports
from .check_settings import CheckSettings, faces_to_fit, no_area, refuse_unknown_areas
from .deviation.contacts import ContactResult, measure_contacts
from .deviation.exceedances import Exceedance
from .deviation.field import DeviationField, Direction, measure_deviation_steps
from .deviation.judgement import Judgement, judge_deviations
from .deviation.matching import mutual_steps
from .deviation.measures import AreaMeasures
from .deviation.verdict import Verdict, doubt_about
from .mesh.files import MeshFile, read_mesh
from .mesh.refine import EvaluationMesh, evaluation_mesh
from .mesh.repair import Repair, repair_mesh
from .mesh.triangle_mesh import TriangleMesh
from .progress import Progress, Steps, run, scaled
from .stopwatch import Stopwatch
from .superimpose.result import Superimposition
from .superimpose.superimposition import superimpose_steps
from .surface.closest import SurfaceIndex
from .version import VERSION

__all__ = [
    "CheckResult",
    "CheckSettings",
    "CheckedMesh",
    "check",
    "check_meshes",
    "check_meshes_steps",
    "check_steps",
    "contacts_of",
    "faces_to_fit",
    "refuse_unknown_areas",
    "versions_used",
]


@dataclass(frozen=True, eq=False)
class CheckedMesh:
    """One of the two surfaces as it was used.

    Attributes
    ----------
    mesh : TriangleMesh
        After repair, in its own frame, mm.
    repair : Repair
        What was found and what was done about it, on a copy.
    file : MeshFile or None
        Where it was read from; None for a mesh handed over in memory.
    """

    mesh: TriangleMesh
    repair: Repair
    file: MeshFile | None = None


@dataclass(frozen=True, eq=False)
class CheckResult:
    """All that a check found out.

    Attributes
    ----------
    design, scan : CheckedMesh
        The two surfaces, with their files and health.
    area_set : AreaSet
        The areas, on ``evaluation``.
    superimposition : Superimposition
        The scan's motion and how far to trust it.
    scan_in_place : EvaluationMesh
        The superimposed scan, in the design's frame; the first vertices are the scan's own.
    design_to_scan, scan_to_design : DeviationField
        Deviations at the design's evaluation points, and at those of the scan.
    measures : tuple of AreaMeasures
        Per direction and area, with verdicts.
    exceedances : tuple of Exceedance
        Patches outside the whole crown's tolerance, worst first.
    verdicts : tuple of Verdict
        One per area.
    warnings : tuple of str
        All that the reader must know before trusting the numbers, as sentences.
    seconds : mapping of str to float
        Time per stage: read, repair, areas, index, superimpose, measure, judge; and the total.
    versions : mapping of str to str
        Of Cuspwise and what it computed with.
    settings : CheckSettings
    judged_warnings : tuple of str
        Those of the warnings that depend on the tolerances.
    contacts : tuple of ContactResult
        What is left of each support contact.
    """

    design: CheckedMesh
    scan: CheckedMesh
    area_set: AreaSet
    superimposition: Superimposition
    scan_in_place: EvaluationMesh
    design_to_scan: DeviationField
    scan_to_design: DeviationField
    measures: tuple[AreaMeasures, ...]
    exceedances: tuple[Exceedance, ...]
    verdicts: tuple[Verdict, ...]
    warnings: tuple[str, ...]
    seconds: Mapping[str, float]
    versions: Mapping[str, str]
    settings: CheckSettings
    judged_warnings: tuple[str, ...] = ()
    contacts: tuple[ContactResult, ...] = ()

    @property
    def evaluation(self) -> EvaluationMesh:
        """The design's evaluation mesh."""
        return self.area_set.evaluation

    @property
    def fields(self) -> tuple[DeviationField, DeviationField]:
        """The deviations in both directions."""
        return self.design_to_scan, self.scan_to_design

    def measures_of(
        self, area: str = "whole", direction: Direction = "design_to_scan"
    ) -> AreaMeasures:
        """Return the row of one area and direction.

        Raises
        ------
        AreaError
            There is no such area.
        """
        for row in self.measures:
            if (row.area, row.direction) == (area, direction):
                return row
        raise no_area(area, self.area_set)


def check_steps(
    design_path: str | Path, scan_path: str | Path, settings: CheckSettings | None = None
) -> Steps[CheckResult]:
    """Check two files as :func:`check` does, step by step."""
    settings = settings or CheckSettings()
    watch = Stopwatch()
    yield Progress("Reading the design", 0.0)
    with watch.stage("read"):
        design = read_mesh(design_path, unit=settings.design_unit)
    yield Progress("Reading the scan", 0.05)
    with watch.stage("read"):
        scan = read_mesh(scan_path, unit=settings.scan_unit)
    return (yield from scaled(_check_steps(design, scan, settings, watch), 0.1, 1.0))


def check(
    design_path: str | Path, scan_path: str | Path, settings: CheckSettings | None = None
) -> CheckResult:
    """Measure how far the scan of a produced crown is from its design.

    Parameters
    ----------
    design_path, scan_path : str or pathlib.Path
        Mesh files (STL, PLY, OBJ, OFF, 3MF); neither is changed.
    settings : CheckSettings, optional

    Returns
    -------
    CheckResult

    Raises
    ------
    CuspwiseError
        A file, setting, area or superimposition that cannot be used.
    """
    return run(check_steps(design_path, scan_path, settings))


def check_meshes_steps(
    design: TriangleMesh,
    scan: TriangleMesh,
    settings: CheckSettings | None = None,
    *,
    area_set: AreaSet | None = None,
) -> Steps[CheckResult]:
    """Check two meshes in memory as :func:`check` does files, step by step.

    ``area_set`` takes the place of automatic areas and areas file; its evaluation mesh is that of
    the repaired design.
    """
    settings = settings or CheckSettings()
    return (yield from _check_steps(design, scan, settings, Stopwatch(), area_set))


def check_meshes(
    design: TriangleMesh, scan: TriangleMesh, settings: CheckSettings | None = None
) -> CheckResult:
    """Check two meshes in memory, in mm, as :func:`check` does files."""
    return run(check_meshes_steps(design, scan, settings))


def _check_steps(
    design_input: MeshFile | TriangleMesh,
    scan_input: MeshFile | TriangleMesh,
    settings: CheckSettings,
    watch: Stopwatch,
    area_set: AreaSet | None = None,
) -> Steps[CheckResult]:
    yield Progress("Looking for faults", 0.0)
    with watch.stage("repair"):
        design = _repaired(design_input, settings)
        scan = _repaired(scan_input, settings)
    if area_set is None:
        area_set = yield from watch.timed("areas", _area_steps(design.mesh, settings), 0.1, 0.35)
    area_set = with_supports(area_set, settings.contacts)
    yield Progress("Indexing the design", 0.35)
    with watch.stage("index"):
        design_index = SurfaceIndex(area_set.evaluation.mesh)
    refuse_unknown_areas(area_set, settings.tolerances)
    use_faces = faces_to_fit(area_set, settings.fit_areas)
    fit_steps = superimpose_steps(
        scan.mesh, design_index, settings.superimpose, use_faces=use_faces
    )
    superimposition = yield from watch.timed("superimpose", fit_steps, 0.4, 0.7)
    moved = scan.mesh.moved(superimposition.T_design_scan)
    scan_in_place, forward, backward = yield from scaled(
        _deviation_steps(area_set.evaluation, moved, design_index, settings, watch), 0.7, 0.95
    )
    yield Progress("Comparing with the tolerances", 0.95)
    with watch.stage("judge"):
        judgement = judge_deviations(
            (forward, backward),
            area_set,
            superimposition,
            settings.tolerances,
            exceedances=settings.exceedances,
            weighted=settings.weighted,
        )
        contacts = contacts_of(forward, area_set, superimposition, settings)
    return CheckResult(
        design=design,
        scan=scan,
        area_set=area_set,
        superimposition=superimposition,
        scan_in_place=scan_in_place,
        design_to_scan=forward,
        scan_to_design=backward,
        measures=judgement.measures,
        exceedances=judgement.exceedances,
        verdicts=judgement.verdicts,
        warnings=_warnings(design, scan, area_set, superimposition, judgement),
        seconds=watch.seconds,
        versions=versions_used(),
        settings=replace(settings, areas=area_set.settings),
        judged_warnings=judgement.warnings,
        contacts=contacts,
    )


def _repaired(source: MeshFile | TriangleMesh, settings: CheckSettings) -> CheckedMesh:
    """Return a usable copy of a surface, with what was found and done."""
    file = source if isinstance(source, MeshFile) else None
    mesh = source.mesh if isinstance(source, MeshFile) else source
    repair = repair_mesh(mesh, drop_debris=settings.drop_debris)
    return CheckedMesh(mesh=repair.mesh, repair=repair, file=file)


def _area_steps(design: TriangleMesh, settings: CheckSettings) -> Steps[AreaSet]:
    """Make the evaluation mesh and find its areas, or load them."""
    yield Progress("Placing the evaluation points", 0.0)
    evaluation = evaluation_mesh(design, settings.spacing_mm)
    if settings.areas_file is not None:
        loading = load_areas_steps(settings.areas_file, evaluation)
        return (yield from scaled(loading, 0.2, 1.0))
    return (yield from scaled(find_areas_steps(evaluation, settings.areas), 0.2, 1.0))


def _deviation_steps(
    evaluation: EvaluationMesh,
    scan: TriangleMesh,
    design_index: SurfaceIndex,
    settings: CheckSettings,
    watch: Stopwatch,
) -> Steps[tuple[EvaluationMesh, DeviationField, DeviationField]]:
    """Measure both directions; return the superimposed scan's evaluation mesh with them."""
    yield Progress("Indexing the scan", 0.0)
    with watch.stage("index"):
        scan_index = SurfaceIndex(scan)
        scan_in_place = evaluation_mesh(scan, settings.spacing_mm)
    forward_steps = measure_deviation_steps(
        evaluation.mesh, scan_index, "design_to_scan", settings.deviation
    )
    forward = yield from watch.timed("measure", forward_steps, 0.2, 0.55)
    mutual = mutual_steps(forward, evaluation.mesh, scan_index, design_index)
    forward = yield from watch.timed("measure", mutual, 0.55, 0.6)
    backward_steps = measure_deviation_steps(
        scan_in_place.mesh, design_index, "scan_to_design", settings.deviation
    )
    backward = yield from watch.timed("measure", backward_steps, 0.6, 0.95)
    mutual = mutual_steps(backward, scan_in_place.mesh, design_index, scan_index)
    backward = yield from watch.timed("measure", mutual, 0.95, 1.0)
    return scan_in_place, forward, backward


def contacts_of(
    field: DeviationField,
    area_set: AreaSet,
    superimposition: Superimposition,
    settings: CheckSettings,
) -> tuple[ContactResult, ...]:
    """Measure the support contacts, doubting them where the pose is not to be trusted."""
    most_um = settings.tolerances.max_unsettled_share * settings.contact.limit_um
    doubt = doubt_about(superimposition, most_um)
    return measure_contacts(field, area_set, settings.contact, doubt=doubt)


def _warnings(
    design: CheckedMesh,
    scan: CheckedMesh,
    area_set: AreaSet,
    superimposition: Superimposition,
    judgement: Judgement,
) -> tuple[str, ...]:
    """Gather what the reader must know before trusting the numbers, each once."""
    found: list[str] = []
    for title, part in (("Design", design), ("Scan", scan)):
        if part.file is not None:
            found += [f"{title}: {text}" for text in part.file.notes]
        found += [f"{title}: {text}" for text in part.repair.warnings]
    if superimposition.verdict != "good":
        found.append(f"Superimposition: {superimposition.reason}")
    found += [f"Superimposition: {text}" for text in superimposition.warnings]
    found += [f"Areas: {text}" for text in area_set.warnings]
    found += judgement.warnings
    return tuple(dict.fromkeys(found))


def versions_used() -> dict[str, str]:
    """Return the versions of Cuspwise and of what it computes with."""
    return {
        "cuspwise": VERSION,
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "python": platform.python_version(),
    }
