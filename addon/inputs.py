"""What a job reads from the scene before it starts: two meshes in one frame, and the choices."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ..standalone_core.areas.files import load_areas
from ..standalone_core.areas.find import find_areas_steps
from ..standalone_core.check import CheckResult, CheckSettings, check_meshes_steps
from ..standalone_core.deviation.field import DeviationSettings
from ..standalone_core.deviation.verdict import Tolerances
from ..standalone_core.mesh.refine import evaluation_mesh
from ..standalone_core.mesh.repair import repair_mesh
from ..standalone_core.mesh.triangle_mesh import TriangleMesh
from ..standalone_core.progress import Progress, Steps, scaled
from ..standalone_core.superimpose.settings import SuperimposeSettings
from . import area_groups, bridge, landmarks
from .identifiers import SCENE_PROPERTIES

TOLERANCE_AREAS = ("whole", "occlusal", "margin")


@dataclass(frozen=True, eq=False)
class DesignInput:
    """A design as it was read.

    Attributes
    ----------
    design : bpy.types.Object
    frame : bridge.Frame
    local_to_mm : (4, 4) float
        From the object's own coordinates to the frame, mm.
    mesh : TriangleMesh
        In the frame, mm; vertex for vertex the object's.
    checksum : str
        Of the object's own mesh.
    areas : area_groups.UserAreas
    """

    design: bpy.types.Object
    frame: bridge.Frame
    local_to_mm: np.ndarray
    mesh: TriangleMesh
    checksum: str
    areas: area_groups.UserAreas


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
    if design is None:
        design = getattr(context.scene, SCENE_PROPERTIES).design
    bridge.check_usable(design)
    depsgraph = context.evaluated_depsgraph_get()  # brings matrices up to date
    frame = bridge.frame_of(design, context.scene)
    local_to_mm = frame.local_to_mm(design)
    return DesignInput(
        design=design,
        frame=frame,
        local_to_mm=local_to_mm,
        mesh=bridge.read_mesh_object(design, local_to_mm, depsgraph),
        checksum=bridge.checksum(design.data),
        areas=area_groups.user_areas(design),
    )


def read_scan(
    context: bpy.types.Context,
    scan: bpy.types.Object,
    frame: bridge.Frame,
    local_to_mm: np.ndarray | None = None,
) -> ScanInput:
    """Read a scan where it lies, or where it lay."""
    bridge.check_usable(scan)
    where = frame.local_to_mm(scan) if local_to_mm is None else local_to_mm
    return ScanInput(
        scan=scan,
        local_to_mm=where,
        mesh=bridge.read_mesh_object(scan, where, context.evaluated_depsgraph_get()),
        checksum=bridge.checksum(scan.data),
    )


def choices_of(settings: Any) -> dict[str, Any]:
    """Return the scene's choices as plain data, to be kept with a result."""
    return {
        "start": settings.start,
        "refine": True,
        "fit_area": settings.fit_area,
        "spacing_mm": float(f"{settings.spacing_mm:.6g}"),
        "search_mm": float(f"{settings.search_mm:.6g}"),
        "tolerances_um": tolerances_um(settings),
    }


def check_choices(
    context: bpy.types.Context, design: DesignInput, scan: ScanInput
) -> dict[str, Any]:
    """Return the scene's choices for a scan, with its landmarks where they are the start.

    Raises
    ------
    SuperimpositionError
        Too few landmarks.
    """
    choices = choices_of(getattr(context.scene, SCENE_PROPERTIES))
    if choices["start"] == "landmarks":
        on_scan, on_design = landmarks.pairs_mm(
            design.design, scan.scan, design.frame, context.scene
        )
        choices |= {"landmarks_scan_mm": on_scan, "landmarks_design_mm": on_design}
    return choices


def tolerances_um(settings: Any) -> dict[str, float]:
    """Return the scene's tolerances, µm; areas without one are left out."""
    chosen = {
        # Blender keeps float32: 0.1 would come back as 0.10000000149.
        area: float(f"{getattr(settings, f'tolerance_{area}_um'):.6g}")
        for area in TOLERANCE_AREAS
    }
    return {area: limit for area, limit in chosen.items() if limit > 0.0}


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
    """Return the core's settings for a check."""
    return CheckSettings(
        spacing_mm=choices["spacing_mm"],
        superimpose=superimpose_settings(choices),
        fit_areas=fit_areas(choices),
        deviation=DeviationSettings(search_mm=choices["search_mm"]),
        tolerances=Tolerances(choices["tolerances_um"]),
    )


def check_input_steps(
    design: DesignInput, scan: ScanInput, choices: Mapping[str, Any]
) -> Steps[CheckResult]:
    """Check a scan, with the areas that somebody edited in place of the automatic ones."""
    settings = check_settings(choices)
    if not design.areas:
        return (yield from check_meshes_steps(design.mesh, scan.mesh, settings))
    yield Progress("Reading the areas", 0.0)
    with tempfile.TemporaryDirectory(prefix="cuspwise-") as folder:
        path = Path(folder) / "areas.json"
        _write_user_areas(path, design, choices)
        settings = replace(settings, areas_file=path)
        result = yield from scaled(check_meshes_steps(design.mesh, scan.mesh, settings), 0.02, 1)
    return replace(result, settings=replace(settings, areas_file=None))


def area_steps(design: DesignInput, choices: Mapping[str, Any]) -> Steps[Any]:
    """Find the areas of a design, keeping those that somebody edited."""
    yield Progress("Looking for faults", 0.0)
    mesh = repair_mesh(design.mesh).mesh
    evaluation = evaluation_mesh(mesh, choices["spacing_mm"])
    if not design.areas:
        return (yield from scaled(find_areas_steps(evaluation), 0.1, 1.0))
    with tempfile.TemporaryDirectory(prefix="cuspwise-") as folder:
        path = Path(folder) / "areas.json"
        _write_user_areas(path, design, choices)
        return load_areas(path, evaluation)


def _write_user_areas(path: Path, design: DesignInput, choices: Mapping[str, Any]) -> None:
    document = area_groups.areas_document(
        design.areas,
        repair_mesh(design.mesh).mesh,
        design.mesh,
        design.local_to_mm,
        choices["spacing_mm"],
    )
    path.write_text(json.dumps(document), encoding="utf-8")
