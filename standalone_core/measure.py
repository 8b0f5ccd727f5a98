"""From two surfaces to signed deviations: the one way that check, study and Blender go.

A surface is read and repaired, a design is made ready (evaluation points, areas, index), and a
scan is superimposed on it and measured both ways. What the deviations mean is said elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeAlias

from .areas.area_set import AreaSet
from .areas.chosen import faces_to_fit, no_area
from .areas.files import load_areas_steps
from .areas.find import find_areas_steps
from .areas.mark_discs import with_supports
from .arrays import BoolArray
from .check_settings import CheckSettings
from .checked_mesh import CheckedMesh
from .deviation.field import DeviationField, measure_deviation_steps
from .deviation.layers_beside import LayerBeside, layers_beside
from .deviation.matching import mutual_steps
from .deviation.same_surface import is_same_surface
from .deviation.tolerances import ANY_AREA, Tolerances
from .deviation.unmatched import with_unmatched
from .mesh.layers import DoubleLayer
from .mesh.refine import EvaluationMesh, evaluation_mesh
from .mesh.triangle_mesh import TriangleMesh
from .progress import Progress, Steps, scaled
from .stopwatch import Stopwatch
from .superimpose.prepared import PreparedDesign
from .superimpose.result import Superimposition
from .superimpose.superimposition import superimpose_steps
from .surface.closest import SurfaceIndex
from .surface.held import HeldPoints

AreaFinder: TypeAlias = Callable[[EvaluationMesh], Steps[AreaSet]]
"""Finds the areas of a design on its evaluation points, in place of areas file and rules."""


@dataclass(frozen=True, eq=False)
class PlacedDesign:
    """A design that scans can be superimposed on; its areas are not known yet.

    Attributes
    ----------
    design : CheckedMesh
    evaluation : EvaluationMesh
        The points that every scan is measured at.
    prepared : PreparedDesign
        Of the evaluation mesh.
    """

    design: CheckedMesh
    evaluation: EvaluationMesh
    prepared: PreparedDesign


@dataclass(frozen=True, eq=False)
class ReadyDesign:
    """A design that scans can be measured against, as many as there are.

    Attributes
    ----------
    design : CheckedMesh
    area_set : AreaSet
    prepared : PreparedDesign
        Of the evaluation mesh.
    """

    design: CheckedMesh
    area_set: AreaSet
    prepared: PreparedDesign

    @property
    def evaluation(self) -> EvaluationMesh:
        """The points that every scan is measured at."""
        return self.area_set.evaluation


@dataclass(frozen=True, eq=False)
class ReadyScan:
    """A scan made ready for measuring, in its own frame: nothing of it depends on the design.

    Attributes
    ----------
    scan : CheckedMesh
    evaluation : EvaluationMesh
        Its first vertices are the scan's own.
    index : SurfaceIndex
    """

    scan: CheckedMesh
    evaluation: EvaluationMesh
    index: SurfaceIndex


@dataclass(frozen=True, eq=False)
class Place:
    """A scan's place on the design.

    Attributes
    ----------
    superimposition : Superimposition
    held : HeldPoints or None
        What the best fit found of the scan's vertices, of use to the measurement.
    """

    superimposition: Superimposition
    held: HeldPoints | None


@dataclass(frozen=True, eq=False)
class MeasuredScan:
    """A scan's deviations, before any tolerance is looked at.

    Attributes
    ----------
    mesh : TriangleMesh
        The scan as it was used: repaired, in its own frame.
    notes : tuple of str
        What reading and repairing it found, as sentences.
    double_layers : tuple of DoubleLayer
        Second layers of its surface, in its own frame.
    superimposition : Superimposition
    in_place : EvaluationMesh
        The superimposed scan, in the design's frame; the first vertices are the scan's own.
    design_to_scan, scan_to_design : DeviationField
    is_design : bool
        Whether the scan is no scan but the design's own surface.
    layers : tuple of LayerBeside
        The same second layers, with the areas of the design that they lie over.
    """

    mesh: TriangleMesh
    notes: tuple[str, ...]
    double_layers: tuple[DoubleLayer, ...]
    superimposition: Superimposition
    in_place: EvaluationMesh
    design_to_scan: DeviationField
    scan_to_design: DeviationField
    is_design: bool
    layers: tuple[LayerBeside, ...]

    @property
    def fields(self) -> tuple[DeviationField, DeviationField]:
        """The deviations in both directions."""
        return self.design_to_scan, self.scan_to_design


def ready_design_steps(
    design: CheckedMesh,
    settings: CheckSettings,
    *,
    find_areas: AreaFinder | None = None,
    threads: int | None = None,
) -> Steps[ReadyDesign]:
    """Make a design ready: evaluation points, areas, index.

    Parameters
    ----------
    design : CheckedMesh
    settings : CheckSettings
    find_areas : function, optional
        See :func:`area_steps`.
    threads : int, optional
        For the index; all processors by default. Results do not depend on it.

    Raises
    ------
    CuspwiseError
        Areas that cannot be found or loaded.
    """
    placed = yield from scaled(place_design_steps(design, settings, threads=threads), 0.0, 0.4)
    return (yield from scaled(find_areas_on_steps(placed, settings, find_areas), 0.4, 1.0))


def place_design_steps(
    design: CheckedMesh, settings: CheckSettings, *, threads: int | None = None
) -> Steps[PlacedDesign]:
    """Place a design's evaluation points and index them, as :func:`ready_design_steps` does."""
    yield Progress("Placing the measuring points", 0.0)
    evaluation = evaluation_mesh(design.mesh, settings.spacing_mm)
    yield Progress("Indexing the design", 0.4)
    index = SurfaceIndex(evaluation.mesh, threads=threads)
    return PlacedDesign(design, evaluation, PreparedDesign(index))


def find_areas_on_steps(
    placed: PlacedDesign, settings: CheckSettings, find_areas: AreaFinder | None = None
) -> Steps[ReadyDesign]:
    """Find the areas of a design whose points are placed; see :func:`area_steps`."""
    area_set = yield from _areas_steps(placed.evaluation, settings, find_areas)
    area_set = with_supports(area_set, settings.marks)
    return ReadyDesign(placed.design, area_set, placed.prepared)


def ready_scan_steps(
    scan: CheckedMesh, settings: CheckSettings, *, threads: int | None = None
) -> Steps[ReadyScan]:
    """Make a scan ready: measuring points, normals, index.

    Parameters
    ----------
    scan : CheckedMesh
        In any pose.
    settings : CheckSettings
    threads : int, optional
        For the index; all processors by default. Results do not depend on it.
    """
    yield Progress("Indexing the scan", 0.0)
    index = SurfaceIndex(scan.mesh, threads=threads)
    yield Progress("Placing the scan's points", 0.6)
    evaluation = evaluation_mesh(scan.mesh, settings.spacing_mm)
    # Worked out here, beside the design, rather than at their first use.
    _ = scan.mesh.face_normals, evaluation.mesh.vertex_normals, evaluation.mesh.vertex_areas
    return ReadyScan(scan, evaluation, index)


def area_steps(
    design: CheckedMesh, settings: CheckSettings, find_areas: AreaFinder | None = None
) -> Steps[AreaSet]:
    """Place a design's evaluation points and find its areas, or load them.

    Parameters
    ----------
    design : CheckedMesh
    settings : CheckSettings
    find_areas : function, optional
        Takes the evaluation points and returns steps that end with the areas, in place of the
        settings' areas file and of the automatic areas.
    """
    yield Progress("Placing the measuring points", 0.0)
    evaluation = evaluation_mesh(design.mesh, settings.spacing_mm)
    return (yield from scaled(_areas_steps(evaluation, settings, find_areas), 0.2, 1.0))


def _areas_steps(
    evaluation: EvaluationMesh, settings: CheckSettings, find_areas: AreaFinder | None
) -> Steps[AreaSet]:
    if find_areas is not None:
        return (yield from find_areas(evaluation))
    if settings.areas_file is not None:
        return (yield from load_areas_steps(settings.areas_file, evaluation))
    return (yield from find_areas_steps(evaluation, settings.areas))


def superimpose_scan_steps(
    scan: CheckedMesh,
    design: PlacedDesign | ReadyDesign,
    settings: CheckSettings,
    use_faces: BoolArray | None = None,
) -> Steps[Place]:
    """Lay a scan on a design, on the faces chosen for it; see ``superimpose_steps``."""
    mesh, prepared = scan.mesh, design.prepared
    held = _held_vertices(mesh, prepared, settings)
    fit = yield from superimpose_steps(
        mesh, prepared, settings.superimpose, use_faces=use_faces, held=held
    )
    return Place(fit, held)


def measure_scan_steps(
    scan: ReadyScan,
    ready: ReadyDesign,
    settings: CheckSettings,
    *,
    watch: Stopwatch | None = None,
) -> Steps[MeasuredScan]:
    """Superimpose a scan on a design and measure both directions.

    Parameters
    ----------
    scan : ReadyScan
    ready : ReadyDesign
    settings : CheckSettings
    watch : Stopwatch, optional
        Takes the time of the stages "superimpose", "index" and "measure".

    Raises
    ------
    CuspwiseError
        The scan cannot be laid on the design, or not on the areas chosen.
    """
    watch = watch or Stopwatch()
    faces = faces_to_fit(ready.area_set, settings.fit_areas)
    fitting = superimpose_scan_steps(scan.scan, ready, settings, faces)
    place = yield from watch.timed("superimpose", fitting, 0.0, 0.5)
    measuring = measure_in_place_steps(scan, place, ready, settings, watch)
    return (yield from scaled(measuring, 0.5, 1.0))


def measure_in_place_steps(
    scan: ReadyScan,
    place: Place,
    ready: ReadyDesign,
    settings: CheckSettings,
    watch: Stopwatch,
) -> Steps[MeasuredScan]:
    """Measure a scan in its place on the design in both directions."""
    checked, fit, held = scan.scan, place.superimposition, place.held
    yield Progress("Placing the scan's points", 0.0)
    with watch.stage("index"):
        scan_index = scan.index.moved(fit.T_design_scan)
        points = scan.evaluation.mesh.moved(fit.T_design_scan)
        in_place = replace(scan.evaluation, mesh=points, design=scan_index.mesh)
    forward_steps = measure_deviation_steps(
        ready.evaluation.mesh, scan_index, "design_to_scan", settings.deviation
    )
    forward = yield from watch.timed("measure", forward_steps, 0.2, 0.5)
    mutual = mutual_steps(forward, ready.evaluation.mesh, scan_index, ready.prepared.index)
    forward = yield from watch.timed("measure", mutual, 0.5, 0.6)
    backward_steps = measure_deviation_steps(
        in_place.mesh, ready.prepared.index, "scan_to_design", settings.deviation, held
    )
    backward = yield from watch.timed("measure", backward_steps, 0.6, 0.9)
    mutual = mutual_steps(backward, in_place.mesh, ready.prepared.index, scan_index)
    backward = yield from watch.timed("measure", mutual, 0.9, 1.0)
    with watch.stage("measure"):
        backward = with_unmatched(backward, forward, ready.prepared.index)
        same = is_same_surface(ready.design.mesh, scan_index.mesh)
        doubled = checked.repair.layers
        layers = layers_beside(doubled, fit.T_design_scan, ready.area_set)
    return MeasuredScan(
        mesh=checked.mesh,
        notes=tuple(checked.notes),
        double_layers=doubled,
        superimposition=fit,
        in_place=in_place,
        design_to_scan=forward,
        scan_to_design=backward,
        is_design=same,
        layers=layers,
    )


def _held_vertices(
    scan: TriangleMesh, prepared: PreparedDesign, settings: CheckSettings
) -> HeldPoints | None:
    """Hold the scan's vertices on the design, so that fit and measurement share one search.

    Not those of a scan with vertices that stand for no area: the fit leaves these out.
    """
    if not (scan.vertex_areas > 0.0).all():
        return None
    farthest = max(settings.superimpose.max_distance_mm, settings.deviation.search_mm)
    return HeldPoints(prepared.index, farthest)


def refuse_unknown_areas(area_set: AreaSet, tolerances: Tolerances) -> None:
    """A tolerance for a misspelt area would leave the area itself to the default."""
    named = {*tolerances.tolerances_um, *tolerances.scanner_um} - {ANY_AREA}
    for name in sorted(named):
        if name not in area_set.areas and name not in area_set.missing:
            raise no_area(name, area_set)
