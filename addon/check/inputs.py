"""What a job reads from the scene before it starts: two meshes in one frame, and the choices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.areas.area_set import AreaSet
from ...standalone_core.errors import AreaError, OtherDesignError
from ...standalone_core.progress import Progress, Steps, run, scaled
from ...standalone_core.stopwatch import Stopwatch
from ...standalone_core.words.names import area_words
from ..areas import area_groups, support_marks
from ..blender import bridge, frames
from ..blender.session import mesh_of, scene_of, settings_of
from ..files.source import origin_of
from . import landmarks
from .object_scale import scale_doubt
from .scene_choices import check_settings, choices_of, refuse_missing_areas

if TYPE_CHECKING:
    from ...standalone_core.areas.settings import AreaSettings
    from ...standalone_core.areas.support_marks import SupportMark
    from ...standalone_core.arrays import BoolArray
    from ...standalone_core.check_result import CheckResult
    from ...standalone_core.check_settings import CheckSettings
    from ...standalone_core.measure import AreaFinder, ReadyDesign
    from ...standalone_core.mesh.refine import EvaluationMesh
    from ...standalone_core.mesh.triangle_mesh import TriangleMesh
    from ...standalone_core.superimpose.result import Superimposition


@dataclass(frozen=True, eq=False)
class DesignInput:
    """A design as it was read.

    Attributes
    ----------
    design : bpy.types.Object
    frame : frames.Frame
    local_to_mm : (4, 4) float
        From the object's own coordinates to the frame, mm.
    mesh : TriangleMesh
        In the frame, mm; vertex for vertex the object's.
    checksum : str
        Of the object's own mesh.
    areas : area_groups.UserAreas
    marks : tuple of SupportMark
        The support marks that were made as circles, in the frame.
    origin : mapping of str
        Name of the object, and of the file that it was imported from.
    """

    design: bpy.types.Object
    frame: frames.Frame
    local_to_mm: np.ndarray
    mesh: TriangleMesh
    checksum: str
    areas: area_groups.UserAreas
    marks: tuple[SupportMark, ...] = ()
    origin: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class ScanInput:
    """A scan as it was read, in its design's frame.

    Attributes
    ----------
    scan : bpy.types.Object
    local_to_mm : (4, 4) float
        From the object's own coordinates to the frame, mm, as the scan lay.
    mesh : TriangleMesh
    checksum : str
    origin : mapping of str
        Name of the object, and of the file that it was imported from.
    """

    scan: bpy.types.Object
    local_to_mm: np.ndarray
    mesh: TriangleMesh
    checksum: str
    origin: Mapping[str, Any] = field(default_factory=dict)


def read_design(context: bpy.types.Context, design: bpy.types.Object | None = None) -> DesignInput:
    """Read a design; the scene's if none is given.

    Raises
    ------
    CuspwiseError
        What is wrong with it and what to do.
    """
    return run(read_design_steps(context, design))


def read_design_steps(
    context: bpy.types.Context, design: bpy.types.Object | None = None
) -> Steps[DesignInput]:
    """Read a design as :func:`read_design` does, step by step."""
    if design is None:
        design = settings_of(context).design
    bridge.check_usable(design)
    areas = yield from scaled(area_groups.user_areas_steps(design), 0.0, 0.6)
    checksum = yield from scaled(bridge.checksum_steps(mesh_of(design)), 0.6, 0.8)
    depsgraph = context.evaluated_depsgraph_get()  # brings matrices up to date
    frame = frames.frame_of(design, scene_of(context))
    local_to_mm = frame.local_to_mm(design)
    reading = bridge.read_mesh_steps(design, local_to_mm, depsgraph)
    mesh = yield from scaled(reading, 0.8, 1.0)
    return DesignInput(
        design=design,
        frame=frame,
        local_to_mm=local_to_mm,
        mesh=mesh,
        checksum=checksum,
        areas=areas,
        marks=support_marks.marked(design, local_to_mm, areas.groups, checksum),
        origin=origin_of(design),
    )


def read_scan(
    context: bpy.types.Context,
    scan: bpy.types.Object,
    frame: frames.Frame,
    local_to_mm: np.ndarray | None = None,
) -> ScanInput:
    """Read a scan where it lies, or where it lay."""
    return run(read_scan_steps(context, scan, frame, local_to_mm))


def read_scan_steps(
    context: bpy.types.Context,
    scan: bpy.types.Object,
    frame: frames.Frame,
    local_to_mm: np.ndarray | None = None,
) -> Steps[ScanInput]:
    """Read a scan as :func:`read_scan` does, step by step."""
    bridge.check_usable(scan)
    checksum = yield from scaled(bridge.checksum_steps(mesh_of(scan)), 0.0, 0.5)
    depsgraph = context.evaluated_depsgraph_get()
    where = frame.local_to_mm(scan) if local_to_mm is None else local_to_mm
    reading = bridge.read_mesh_steps(scan, where, depsgraph)
    mesh = yield from scaled(reading, 0.5, 1.0)
    return ScanInput(scan, where, mesh, checksum, origin_of(scan))


def read_both_steps(context: bpy.types.Context) -> Steps[tuple[DesignInput, ScanInput]]:
    """Read the scene's design, and the scan chosen in its list, step by step.

    Both are looked at first: what refuses the scan need not wait until the design was read.
    """
    settings = settings_of(context)
    scan = settings.scans[settings.scan_index].scan
    depsgraph = context.evaluated_depsgraph_get()
    for obj in (settings.design, scan):
        bridge.check_usable(obj, depsgraph)
    yield Progress("Reading the design", 0.0)
    design = yield from scaled(read_design_steps(context), 0.0, 0.7)
    return design, (yield from scaled(read_scan_steps(context, scan, design.frame), 0.7, 1.0))


def check_choices(
    context: bpy.types.Context, design: DesignInput, scan: ScanInput
) -> dict[str, Any]:
    """Return the scene's choices for a scan, with its landmarks where they are the start.

    Raises
    ------
    SuperimpositionError
        Too few landmarks.
    """
    choices = choices_of(settings_of(context), design.design)
    if choices["start"] == "landmarks":
        on_scan, on_design = landmarks.pairs_mm(
            design.design, scan.scan, design.frame, scene_of(context)
        )
        choices |= {"landmarks_scan_mm": on_scan, "landmarks_design_mm": on_design}
    return choices


def check_input_steps(
    design: DesignInput, scan: ScanInput, choices: Mapping[str, Any]
) -> Steps[CheckResult]:
    """Check a scan, with the areas that somebody made in place of the automatic ones."""
    from ...standalone_core.check import check_meshes_steps

    refuse_missing_areas(choices, design.areas.groups)
    settings = check_settings(choices)
    find_areas = area_finder(design, settings.areas) if design.areas else None
    checking = check_meshes_steps(
        design.mesh, scan.mesh, settings, find_areas=find_areas, doubt=_doubt(design, scan)
    )
    return _with_origins((yield from checking), design, scan)


def _doubt(design: DesignInput, scan: ScanInput) -> str:
    """Say why a scan's object may not show the crown's own size; empty if nothing speaks for it."""
    scale_mm = design.frame.scale_mm
    return scale_doubt(scan.local_to_mm / scale_mm, design.local_to_mm / scale_mm)


def _with_origins(result: CheckResult, design: DesignInput, scan: ScanInput) -> CheckResult:
    return replace(result, origins={"design": design.origin, "scan": scan.origin})


def ready_input_steps(design: DesignInput, choices: Mapping[str, Any]) -> Steps[ReadyDesign]:
    """Make a design ready for all scans that are to be checked against it.

    Raises
    ------
    CuspwiseError
        Areas that cannot be found or loaded.
    """
    from ...standalone_core.checked_mesh import checked_surface
    from ...standalone_core.measure import ready_design_steps

    yield Progress("Looking for faults", 0.0)
    refuse_missing_areas(choices, design.areas.groups)
    settings = check_settings(_of_design(choices))  # landmarks are read with each scan
    surface = checked_surface(design.mesh, settings)
    find_areas = area_finder(design, settings.areas) if design.areas else None
    readying = ready_design_steps(surface, settings, find_areas=find_areas)
    return (yield from scaled(readying, 0.1, 1.0))


def check_scan_steps(
    ready: ReadyDesign, design: DesignInput, scan: ScanInput, choices: Mapping[str, Any]
) -> Steps[CheckResult]:
    """Check a scan against a design made ready, as :func:`check_input_steps` does."""
    from ...standalone_core.check import check_ready_steps
    from ...standalone_core.checked_mesh import checked_surface

    yield Progress("Looking for faults", 0.0)
    settings, watch = check_settings(choices), Stopwatch()
    with watch.stage("repair"):
        surface = checked_surface(scan.mesh, settings)
    checking = check_ready_steps(surface, ready, settings, watch, _doubt(design, scan))
    return _with_origins((yield from scaled(checking, 0.1, 1.0)), design, scan)


def superimpose_input_steps(
    design: DesignInput, scan: ScanInput, choices: Mapping[str, Any]
) -> Steps[Superimposition]:
    """Lay a scan on its design, on the areas that were chosen for it.

    Raises
    ------
    AreaError
        The area chosen is empty.
    """
    from ...standalone_core.checked_mesh import checked_surface
    from ...standalone_core.measure import (
        find_areas_on_steps,
        place_design_steps,
        superimpose_scan_steps,
    )

    yield Progress("Looking for faults", 0.0)
    refuse_missing_areas(choices, design.areas.groups)
    settings = check_settings(choices)
    design_surface = checked_surface(design.mesh, settings)
    scan_surface = checked_surface(scan.mesh, settings)
    placed = yield from scaled(place_design_steps(design_surface, settings), 0.05, 0.3)
    faces = None
    if settings.fit_areas:
        finding = find_areas_on_steps(placed, settings, area_finder(design, settings.areas))
        faces = _faces_to_fit((yield from scaled(finding, 0.3, 0.45)), settings)
    fitting = superimpose_scan_steps(scan_surface, placed, settings, faces)
    return (yield from scaled(fitting, 0.45, 1.0)).superimposition


def _faces_to_fit(ready: ReadyDesign, settings: CheckSettings) -> BoolArray | None:
    from ...standalone_core.areas.chosen import faces_to_fit

    faces = faces_to_fit(ready.area_set, settings.fit_areas)
    if faces is not None and not faces.any():
        raise AreaError(
            "It is empty.",
            subject=", ".join(map(area_words, settings.fit_areas)),
            remedy="Superimpose on the whole crown instead.",
        )
    return faces


def area_steps(design: DesignInput, choices: Mapping[str, Any]) -> Steps[AreaSet]:
    """Find the areas of a design, keeping those that somebody made."""
    from ...standalone_core import measure
    from ...standalone_core.checked_mesh import checked_surface

    yield Progress("Looking for faults", 0.0)
    settings = check_settings(_of_design(choices))
    surface = checked_surface(design.mesh, settings)
    finding = measure.area_steps(surface, settings, area_finder(design, settings.areas))
    return (yield from scaled(finding, 0.1, 1.0))


def _of_design(choices: Mapping[str, Any]) -> dict[str, Any]:
    """Return choices for a design alone, which has no landmarks paired with a scan's."""
    return {**choices, "start": "auto"}


def area_finder(design: DesignInput, settings: AreaSettings) -> AreaFinder:
    """Return what finds the areas of a design that nobody made, and keeps the others.

    Areas loaded from a file keep the thresholds that they were made with.
    """
    from ...standalone_core.areas.completion import completed_steps
    from ...standalone_core.areas.files import areas_of_document_steps
    from ...standalone_core.areas.mark_discs import with_supports

    def steps(evaluation: EvaluationMesh) -> Steps[AreaSet]:
        held, loaded = AreaSet(evaluation=evaluation, areas={}, settings=settings), False
        if design.areas.document is not None:
            reading = areas_of_document_steps(design.areas.document, evaluation)
            try:
                held = yield from scaled(reading, 0.0, 0.3)
                loaded = True
            except AreaError:
                pass  # The design was changed since: its vertex groups go on by themselves.
        own = area_groups.own_areas(design.areas, evaluation, design.mesh, with_loaded=not loaded)
        line = area_groups.own_margin_line(design.areas, design.local_to_mm)
        held = replace(held, margin_line=line or held.margin_line).replaced(own)
        completed = yield from scaled(completed_steps(held), 0.3, 1.0)
        return with_supports(completed, design.marks)

    return steps


def load_areas_file_steps(
    design: DesignInput, path: Path, choices: Mapping[str, Any]
) -> Steps[AreaSet]:
    """Read an areas file made where the design lies in the scene, or in its own frame."""
    from ...standalone_core import measure
    from ...standalone_core.areas.files import load_areas_steps
    from ...standalone_core.checked_mesh import checked_surface

    there = design.frame.to_world_mm

    def steps(evaluation: EvaluationMesh) -> Steps[AreaSet]:
        reading = load_areas_steps(path, evaluation.moved(there))
        try:
            loaded = yield from scaled(reading, 0.0, 0.5)
            return loaded.moved(np.linalg.inv(there), evaluation)
        except OtherDesignError:
            if np.allclose(there, np.eye(4)):
                raise
        return (yield from scaled(load_areas_steps(path, evaluation), 0.5, 1.0))

    yield Progress("Looking for faults", 0.0)
    settings = check_settings(_of_design(choices))
    surface = checked_surface(design.mesh, settings)
    finding = measure.area_steps(surface, settings, steps)
    return (yield from scaled(finding, 0.1, 1.0))


def save_areas_file_steps(
    design: DesignInput, path: Path, choices: Mapping[str, Any]
) -> Steps[tuple[Path, AreaSet]]:
    """Write an areas file in the coordinates that an exported design has."""
    from ...standalone_core.areas.files import save_areas

    area_set = yield from scaled(area_steps(design, choices), 0.0, 0.9)
    yield Progress("Writing the areas", 0.9)
    return save_areas(path, area_set.moved(design.frame.to_world_mm)), area_set
