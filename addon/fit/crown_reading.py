"""A crown as it was read from the scene, and how the core makes it ready."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.progress import Steps, scaled
from ..blender import bridge
from ..blender.session import settings_of
from ..check import inputs, scene_choices

if TYPE_CHECKING:
    from ...standalone_core.areas.area_set import AreaSet
    from ...standalone_core.areas.settings import AreaSettings
    from ...standalone_core.fit.crown import FitCrown
    from ...standalone_core.mesh.refine import EvaluationMesh
    from ...standalone_core.mesh.triangle_mesh import TriangleMesh
    from ..check.inputs import DesignInput, ScanInput


@dataclass(frozen=True, eq=False)
class CrownInput:
    """The crown that is looked at, with its design, both in the design's frame.

    Attributes
    ----------
    design : DesignInput
    scan : ScanInput or None
        The crown, as it lies now; None where the design is looked at.
    choices : mapping of str
        Of the scene, as a check would take them.
    """

    design: DesignInput
    scan: ScanInput | None
    choices: Mapping[str, Any]

    @property
    def obj(self) -> bpy.types.Object:
        """The crown's object."""
        return self.design.design if self.scan is None else self.scan.scan

    @property
    def mesh(self) -> TriangleMesh:
        """The crown's surface; vertex for vertex the object's."""
        return self.design.mesh if self.scan is None else self.scan.mesh

    @property
    def local_to_mm(self) -> np.ndarray:
        """From the object's own coordinates to the frame, (4, 4), mm."""
        return self.design.local_to_mm if self.scan is None else self.scan.local_to_mm

    @property
    def checksum(self) -> str:
        """Of the object's own mesh."""
        return self.design.checksum if self.scan is None else self.scan.checksum

    @property
    def shown_motion(self) -> np.ndarray:
        """Motion (4, 4) from where the crown counts as lying to where it is seen, mm."""
        shown = self.design.frame.shown_to_mm(self.obj)
        motion: np.ndarray = shown @ np.linalg.inv(self.local_to_mm)
        return motion

    def at_vertices(self, evaluation: EvaluationMesh, values: np.ndarray) -> np.ndarray:
        """Return values of evaluation points at the object's own vertices, (n,)."""
        source = evaluation.design.vertices
        return bridge.carried_to(self.mesh.vertices, source, values[: len(source)])


def choices_of(settings: Any) -> dict[str, Any]:
    """Return what a crown is made ready with, as plain data to be kept with what is measured."""
    made = scene_choices.measuring_choices(settings, settings.design)
    loose = "ignore_loose_pieces"
    points = {loose: made["points"][loose]} if loose in made["points"] else {}
    return {"made_ready": {"spacing_mm": made["spacing_mm"], "areas": made["areas"], **points}}


def read_steps(context: bpy.types.Context, scan: bpy.types.Object | None) -> Steps[CrownInput]:
    """Read the crown that is looked at, and its design, step by step.

    Parameters
    ----------
    context : bpy.types.Context
    scan : bpy.types.Object or None
        The one chosen in the list; None where the design is looked at.

    Raises
    ------
    CuspwiseError
        What is wrong with one of them, or with a number, and what to do.
    """
    settings = settings_of(context)
    choices = scene_choices.choices_of(settings)
    scene_choices.refuse_unusual(choices)
    design = yield from scaled(inputs.read_design_steps(context), 0.0, 0.7)
    if scan is None:
        return CrownInput(design, None, choices)
    reading = inputs.read_scan_steps(context, scan, design.frame)
    return CrownInput(design, (yield from scaled(reading, 0.7, 1.0)), choices)


def design_steps(
    design: DesignInput, choices: Mapping[str, Any], directions: AreaSettings
) -> Steps[FitCrown]:
    """Make the design ready, with the areas that somebody made; touches nothing of Blender's."""
    from ...standalone_core.fit.crown import crown_of_areas

    found = yield from inputs.area_steps(design, {**choices, "start": "auto"})
    return crown_of_areas(_directed(found, directions), without_intaglio=True)


def scan_steps(
    scan: ScanInput, choices: Mapping[str, Any], directions: AreaSettings
) -> Steps[FitCrown]:
    """Make a scan ready; its areas are found on itself. Touches nothing of Blender's."""
    from ...standalone_core.checked_mesh import checked_surface
    from ...standalone_core.fit.crown import ready_crown_steps

    mesh = checked_surface(scan.mesh).mesh
    making = ready_crown_steps(
        mesh, directions, spacing_mm=choices["spacing_mm"], without_intaglio=True
    )
    return (yield from making)


def _directed(found: AreaSet, directions: AreaSettings) -> AreaSet:
    mesial = directions.mesial_direction or found.settings.mesial_direction
    named = replace(found.settings, mesial_direction=mesial)
    return replace(found, settings=named)
