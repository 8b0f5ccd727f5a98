"""What a job reads from the scene before it starts: two meshes in one frame, and the choices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...standalone_core import measure
from ...standalone_core.areas.area_set import AreaSet
from ...standalone_core.areas.chosen import faces_to_fit
from ...standalone_core.areas.completion import completed_steps
from ...standalone_core.areas.files import areas_of_document_steps, load_areas_steps, save_areas
from ...standalone_core.areas.mark_discs import with_supports
from ...standalone_core.areas.support_marks import SupportMark
from ...standalone_core.check import CheckResult, check_meshes_steps
from ...standalone_core.check_settings import CheckSettings
from ...standalone_core.deviation.settings import DeviationSettings, MarkSettings
from ...standalone_core.deviation.tolerances import ANY_AREA, Tolerances
from ...standalone_core.errors import AreaError, OtherDesignError, SettingError
from ...standalone_core.measure import (
    AreaFinder,
    checked_surface,
    ready_design_steps,
    superimpose_scan_steps,
)
from ...standalone_core.mesh.refine import EvaluationMesh
from ...standalone_core.mesh.triangle_mesh import TriangleMesh
from ...standalone_core.progress import Progress, Steps, run, scaled
from ...standalone_core.setting import declared_in, refuse_implausible
from ...standalone_core.study.plan import EVERY_AREA, AnalysisPlan
from ...standalone_core.superimpose.result import Superimposition
from ...standalone_core.superimpose.settings import SuperimposeSettings
from ..areas import area_groups, support_marks
from ..blender import bridge, frames
from ..blender.session import mesh_of, scene_of, settings_of
from . import landmarks

TOLERANCE_AREAS = ("whole", "occlusal", "margin")
JUDGING_NUMBERS = ("scanner_um", "max_unmatched_um", "max_unmatched_mm2", "max_missing_mm")
JUDGING = ("tolerances_um", *JUDGING_NUMBERS)
MARK_LIMITS = tuple(declared_in(MarkSettings))
SWITCH = f"“{declared_in(CheckSettings)['force'].label}” under Advanced"
"""What takes numbers that are hardly meant, as its panel calls it."""


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
    """

    design: bpy.types.Object
    frame: frames.Frame
    local_to_mm: np.ndarray
    mesh: TriangleMesh
    checksum: str
    areas: area_groups.UserAreas
    marks: tuple[SupportMark, ...] = ()


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
    """

    scan: bpy.types.Object
    local_to_mm: np.ndarray
    mesh: TriangleMesh
    checksum: str


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
    areas = yield from scaled(area_groups.user_areas_steps(design), 0.0, 0.8)
    yield Progress("Reading the design", 0.8)
    checksum = bridge.checksum(mesh_of(design))
    yield Progress("Reading the design", 0.9)
    depsgraph = context.evaluated_depsgraph_get()  # brings matrices up to date
    frame = frames.frame_of(design, scene_of(context))
    local_to_mm = frame.local_to_mm(design)
    return DesignInput(
        design=design,
        frame=frame,
        local_to_mm=local_to_mm,
        mesh=bridge.read_mesh_object(design, local_to_mm, depsgraph),
        checksum=checksum,
        areas=areas,
        marks=support_marks.marked(design, local_to_mm, areas.groups, checksum),
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
    yield Progress("Reading the scan", 0.0)
    checksum = bridge.checksum(mesh_of(scan))
    yield Progress("Reading the scan", 0.5)
    depsgraph = context.evaluated_depsgraph_get()
    where = frame.local_to_mm(scan) if local_to_mm is None else local_to_mm
    mesh = bridge.read_mesh_object(scan, where, depsgraph)
    return ScanInput(scan=scan, local_to_mm=where, mesh=mesh, checksum=checksum)


def read_both_steps(context: bpy.types.Context) -> Steps[tuple[DesignInput, ScanInput]]:
    """Read the scene's design, and the scan chosen in its list, step by step."""
    design = yield from scaled(read_design_steps(context), 0.0, 0.7)
    settings = settings_of(context)
    scan = settings.scans[settings.scan_index].scan
    return design, (yield from scaled(read_scan_steps(context, scan, design.frame), 0.7, 1.0))


def choices_of(settings: Any) -> dict[str, Any]:
    """Return the scene's choices as plain data, to be kept with a result."""
    return {
        "start": settings.start,
        "refine": True,
        "fit_area": settings.fit_area,
        "spacing_mm": _rounded(settings.spacing_mm),
        "search_mm": _rounded(settings.search_mm),
        "support_marks": mark_limits(settings),
        **judging_choices(settings),
    }


def mark_limits(settings: Any) -> dict[str, float]:
    """Return the scene's limits of support marks, as plain data."""
    return {name: _rounded(getattr(settings.support_marks, name)) for name in MARK_LIMITS}


def _rounded(number: float) -> float:
    """Return a number of Blender's without its noise: 0.1 comes back as 0.10000000149."""
    return float(f"{number:.6g}")


def judging_choices(settings: Any) -> dict[str, Any]:
    """Return the scene's choices that a result is judged by, as plain data.

    ``scanner_um`` is one number for all areas; 0 where it was not given.
    """
    numbers = {name: _rounded(getattr(settings, name)) for name in JUDGING_NUMBERS}
    return {
        "tolerances_um": tolerances_um(settings),
        "force": bool(settings.force),
        **numbers,
    }


def tolerances_of(choices: Mapping[str, Any]) -> Tolerances:
    """Return the core's tolerances."""
    scanner_um = choices["scanner_um"]
    return Tolerances(
        choices["tolerances_um"],
        max_unmatched_um=choices["max_unmatched_um"],
        max_unmatched_mm2=choices["max_unmatched_mm2"],
        max_missing_mm=choices["max_missing_mm"],
        scanner_um={ANY_AREA: scanner_um} if scanner_um else {},
    )


def check_choices(
    context: bpy.types.Context, design: DesignInput, scan: ScanInput
) -> dict[str, Any]:
    """Return the scene's choices for a scan, with its landmarks where they are the start.

    Raises
    ------
    SuperimpositionError
        Too few landmarks.
    """
    choices = choices_of(settings_of(context))
    if choices["start"] == "landmarks":
        on_scan, on_design = landmarks.pairs_mm(
            design.design, scan.scan, design.frame, scene_of(context)
        )
        choices |= {"landmarks_scan_mm": on_scan, "landmarks_design_mm": on_design}
    return choices


def tolerances_um(settings: Any) -> dict[str, float]:
    """Return the scene's tolerances, µm; areas without one are left out."""
    chosen = {area: _rounded(getattr(settings, f"tolerance_{area}_um")) for area in TOLERANCE_AREAS}
    return {area: limit for area, limit in chosen.items() if limit}


def superimpose_settings(choices: Mapping[str, Any]) -> SuperimposeSettings:
    """Return the core's settings for a superimposition."""
    return SuperimposeSettings(
        start=choices["start"],
        landmarks_scan_mm=choices.get("landmarks_scan_mm"),
        landmarks_design_mm=choices.get("landmarks_design_mm"),
        refine=choices["refine"],
        look_for_rivals=choices["refine"],
    )


def fit_areas(choices: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the areas that the superimposition runs on; none for the whole crown."""
    return () if choices["fit_area"] == "whole" else (choices["fit_area"],)


def check_settings(choices: Mapping[str, Any]) -> CheckSettings:
    """Return the core's settings for a check.

    Raises
    ------
    SettingError
        A number is hardly meant, and the scene does not take such.
    """
    force = bool(choices.get("force"))
    settings = CheckSettings(
        spacing_mm=choices["spacing_mm"],
        superimpose=superimpose_settings(choices),
        fit_areas=fit_areas(choices),
        deviation=DeviationSettings(search_mm=choices["search_mm"]),
        tolerances=tolerances_of(choices),
        mark=mark_settings(choices),
        force=True,
    )
    if not force:
        refuse_implausible(settings, SWITCH, by_label=True)
    return replace(settings, force=force)


def mark_settings(choices: Mapping[str, Any]) -> MarkSettings:
    """Return the core's limits of support marks; the usual ones where none were chosen."""
    return MarkSettings(**choices.get("support_marks", {}))


def refuse_unusual(choices: Mapping[str, Any]) -> None:
    """Refuse numbers that are hardly meant, of a check and of a study.

    Raises
    ------
    SettingError
        With what was probably meant, and the box to tick if it was not.
    """
    check_settings({**choices, "start": "auto"})  # landmarks are read with each scan
    if not choices.get("force") and choices.get("equivalence_um"):
        plan = AnalysisPlan(equivalence_um={EVERY_AREA: choices["equivalence_um"]})
        refuse_implausible(plan, SWITCH, by_label=True)


def why_unusual(choices: Mapping[str, Any]) -> str:
    """Say which limit that results are judged by is hardly meant; empty if none is."""
    if choices.get("force"):
        return ""
    try:
        refuse_implausible(tolerances_of(choices), SWITCH, by_label=True)
    except SettingError as error:
        return str(error)
    return ""


def check_input_steps(
    design: DesignInput, scan: ScanInput, choices: Mapping[str, Any]
) -> Steps[CheckResult]:
    """Check a scan, with the areas that somebody made in place of the automatic ones."""
    find_areas = area_finder(design) if design.areas else None
    settings = check_settings(choices)
    return check_meshes_steps(design.mesh, scan.mesh, settings, find_areas=find_areas)


def superimpose_input_steps(
    design: DesignInput, scan: ScanInput, choices: Mapping[str, Any]
) -> Steps[Superimposition]:
    """Lay a scan on its design, on the areas that were chosen for it.

    Raises
    ------
    AreaError
        The area chosen is empty.
    """
    yield Progress("Looking for faults", 0.0)
    settings = check_settings(choices)
    design_surface, scan_surface = checked_surface(design.mesh), checked_surface(scan.mesh)
    find_areas = area_finder(design) if settings.fit_areas else _no_area_steps
    readying = ready_design_steps(design_surface, settings, find_areas=find_areas)
    ready = yield from scaled(readying, 0.05, 0.45)
    faces = faces_to_fit(ready.area_set, settings.fit_areas)
    if faces is not None and not faces.any():
        raise AreaError(
            "It is empty.",
            subject=settings.fit_areas[0],
            remedy="Superimpose on the whole crown instead.",
        )
    return (yield from scaled(superimpose_scan_steps(scan_surface, ready, settings), 0.45, 1.0))


def _no_area_steps(evaluation: EvaluationMesh) -> Steps[AreaSet]:
    yield from ()
    return AreaSet(evaluation=evaluation, areas={})


def area_steps(design: DesignInput, choices: Mapping[str, Any]) -> Steps[AreaSet]:
    """Find the areas of a design, keeping those that somebody made."""
    yield Progress("Looking for faults", 0.0)
    finding = measure.area_steps(
        checked_surface(design.mesh), check_settings(choices), area_finder(design)
    )
    return (yield from scaled(finding, 0.1, 1.0))


def area_finder(design: DesignInput) -> AreaFinder:
    """Return what finds the areas of a design that nobody made, and keeps the others."""

    def steps(evaluation: EvaluationMesh) -> Steps[AreaSet]:
        held, loaded = AreaSet(evaluation=evaluation, areas={}), False
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
    finding = measure.area_steps(checked_surface(design.mesh), check_settings(choices), steps)
    return (yield from scaled(finding, 0.1, 1.0))


def save_areas_file_steps(
    design: DesignInput, path: Path, choices: Mapping[str, Any]
) -> Steps[tuple[Path, AreaSet]]:
    """Write an areas file in the coordinates that an exported design has."""
    area_set = yield from scaled(area_steps(design, choices), 0.0, 0.9)
    yield Progress("Writing the areas", 0.9)
    return save_areas(path, area_set.moved(design.frame.to_world_mm)), area_set
