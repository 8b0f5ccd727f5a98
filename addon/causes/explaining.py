"""From what is kept of a checked scan to the causes of its deviations; nothing is measured anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.areas.area_set import AreaSet
from ...standalone_core.check_result import CheckResult
from ...standalone_core.errors import MeshError, SettingError
from ...standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from ...standalone_core.progress import Progress, Steps, scaled
from ..blender.session import scene_of
from ..check import inputs, judging, kept_points, mark_results, store
from ..check.scene_choices import check_settings
from ..identifiers import SCENE_PROPERTIES
from . import production

if TYPE_CHECKING:
    from ...standalone_core.causes.result import CausesResult
    from ..check.inputs import DesignInput, ScanInput

_NO_SPLIT_MM = 1e3
"""Longer than any edge: causes ask for the scan's own triangles."""


@dataclass(frozen=True, eq=False)
class ToExplain:
    """A checked scan as it was read.

    Attributes
    ----------
    design : DesignInput
    scan : ScanInput
        Where it lies, which is where it was measured.
    kept : mapping of str
        Its result, as kept.
    points : mapping of str to array
        The points of the result, as they lie there.
    choices : mapping of str
        What is said of its production, and how causes are looked for.
    """

    design: DesignInput
    scan: ScanInput
    kept: Mapping[str, Any]
    points: kept_points.Raw
    choices: Mapping[str, Any]


@dataclass(frozen=True, eq=False)
class Explained:
    """What was found.

    Attributes
    ----------
    causes : CausesResult
    evaluation : EvaluationMesh
        Whose points the fields belong to.
    """

    causes: CausesResult
    evaluation: EvaluationMesh


def read_steps(context: bpy.types.Context, scan: bpy.types.Object) -> Steps[ToExplain]:
    """Read a checked scan, step by step.

    Raises
    ------
    SettingError
        Its result is out of date, or a number of the production is hardly meant.
    """
    scene, kept = scene_of(context), store.result_of(scan)
    if kept is None or not store.refresh(scan, scene):
        raise _out_of_date(scan)
    choices = production.choices_of(scene, scan)
    check_settings({**kept["choices"], **choices, "force": _takes_all(kept, scene)})
    reading = inputs.read_design_steps(context, store.data_of(scan).design)
    design = yield from scaled(reading, 0.0, 0.6)
    if not store.refresh_areas(scan, design.areas, scene):
        raise _out_of_date(scan)
    reading_scan = inputs.read_scan_steps(context, scan, design.frame)
    lying = yield from scaled(reading_scan, 0.6, 0.9)
    yield Progress("Reading the deviations", 0.9)
    points = kept_points.raw(store.data_of(scan).result_points, kept)
    return ToExplain(design, lying, kept, points, choices)


def find_steps(read: ToExplain) -> Steps[Explained]:
    """Find the causes; touches nothing of Blender's."""
    from ...standalone_core.explain import explain_steps

    yield Progress("Placing the evaluation points", 0.0)
    result = checked_again(read)
    causes = yield from scaled(explain_steps(result), 0.1, 1.0)
    return Explained(causes, result.evaluation)


def checked_again(read: ToExplain) -> CheckResult:
    """Return what was kept as the core's own result; the scan lies superimposed.

    Raises
    ------
    MeshError
        The design's points are others now.
    """
    from ...standalone_core.checked_mesh import checked_surface

    kept, points = read.kept, kept_points.made(read.points, read.kept)
    settings = check_settings({**kept["choices"], **read.choices, "force": True})
    design = checked_surface(read.design.mesh, settings)
    scan = checked_surface(read.scan.mesh, settings)
    evaluation = evaluation_mesh(design.mesh, settings.spacing_mm)
    if not mark_results.same_points(points.there, evaluation):
        raise MeshError(
            "Its points are no longer those of the design.",
            subject=read.design.mesh.name,
            remedy="Check the crown again.",
        )
    insertion = kept["check"]["insertion"]
    area_set = AreaSet(
        evaluation=evaluation,
        areas=points.area_set.areas,
        margin_line=points.area_set.margin_line,
        insertion=None if insertion is None else np.array(insertion, dtype=np.float64),
        missing=points.area_set.missing,
        settings=settings.areas,
    )
    return CheckResult(
        design=design,
        scan=scan,
        area_set=area_set,
        superimposition=judging.superimposition_kept(kept),
        scan_in_place=evaluation_mesh(scan.mesh, _NO_SPLIT_MM),
        design_to_scan=replace(points.there, points_mm=evaluation.points),
        scan_to_design=points.back,
        measures=(),
        patches=(),
        verdicts=(),
        warnings=(),
        seconds={"total": 0.0},
        versions={},
        settings=settings,
        is_design=kept["check"]["is_design"],
        doubt=kept["check"].get("doubt", ""),
    )


def _takes_all(kept: Mapping[str, Any], scene: bpy.types.Scene) -> bool:
    return bool(getattr(scene, SCENE_PROPERTIES).force or kept["choices"].get("force"))


def _out_of_date(scan: bpy.types.Object) -> SettingError:
    return SettingError(
        store.data_of(scan).state_reason,
        subject=scan.name,
        remedy="Check the crown again first.",
    )
