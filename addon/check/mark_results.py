"""What was measured at the support marks: kept with each scan's result, measured anew alone.

The deviations at all points are kept, so that a mark made after the check has its numbers
without checking again.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.areas.area_set import Area, AreaSet
from ...standalone_core.areas.support_marks import (
    is_support,
    mark_area_name,
    mark_of,
)
from ...standalone_core.errors import MeshError
from ...standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from ...standalone_core.progress import Progress, Steps
from ...standalone_core.records import plain
from ..areas import area_groups, support_marks
from . import judging, kept_points, store
from .scene_choices import check_settings

if TYPE_CHECKING:
    from ...standalone_core.check import CheckSettings
    from ...standalone_core.deviation.field import DeviationField
    from ...standalone_core.deviation.judgement import Judgement
    from ...standalone_core.deviation.settings import MarkSettings
    from ...standalone_core.deviation.support_marks import MarkResult
    from ...standalone_core.superimpose.result import Superimposition
    from .inputs import DesignInput
    from .kept_points import KeptPoints

SAME_MM = 1e-3  # points of single precision at the same place


@dataclass(frozen=True, eq=False)
class KeptScan:
    """A measured scan, read before its marks are measured.

    Attributes
    ----------
    scan : bpy.types.Object
    name : str
        The scan's.
    points : mapping of str to array
        What was measured, as it lies there: made use of in a thread.
    document : mapping of str
        The result, as kept.
    superimposition : Superimposition
    settings : CheckSettings
        That the scan was measured and judged with.
    """

    scan: bpy.types.Object
    name: str
    points: kept_points.Raw
    document: Mapping[str, Any]
    superimposition: Superimposition
    settings: CheckSettings


@dataclass(frozen=True, eq=False)
class MeasuredMarks:
    """What follows for a scan from the marks of its design.

    Attributes
    ----------
    scan : bpy.types.Object
    marks : tuple of MarkResult
    limits : MarkSettings
        When one counts as a stub or a gouge.
    areas : mapping of str to Area
        All of the design's, the marks among them.
    judgement : Judgement
        Unmatched surface inside a mark belongs to the mark alone.
    """

    scan: bpy.types.Object
    marks: tuple[MarkResult, ...]
    limits: MarkSettings
    areas: Mapping[str, Area]
    judgement: Judgement


def rows(scan: bpy.types.Object, design: bpy.types.Object) -> dict[str, dict[str, Any]]:
    """Return what is kept of a scan's marks on a design, by area name; missing numbers None."""
    if store.data_of(scan).design != design:
        return {}
    kept = store.result_of(scan)
    return rows_of(kept) if kept else {}


def rows_of(kept: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the marks of a kept result by area name."""
    found = kept["check"].get("marks", ())
    return {mark_area_name(row["kind"], row["name"]): row for row in found}


def measured_scans(design: bpy.types.Object, scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the listed scans whose results on a design are current."""
    return [
        scan
        for scan in store.listed_scans(scene)
        if store.data_of(scan).design == design and store.data_of(scan).state == "CURRENT"
    ]


def read(scans: Iterable[bpy.types.Object], limits: MarkSettings) -> list[KeptScan]:
    """Read what is kept of scans, whose marks are to be measured with some limits."""
    found = []
    for scan in scans:
        kept, mesh = store.result_of(scan), store.data_of(scan).result_points
        if kept is None or mesh is None:
            continue
        fit, settings = judging.superimposition_kept(kept), check_settings(kept["choices"])
        settings = replace(settings, mark=limits, force=True)
        found.append(KeptScan(scan, scan.name, kept_points.raw(mesh, kept), kept, fit, settings))
    return found


def measure_steps(design: DesignInput, scans: Iterable[KeptScan]) -> Steps[list[MeasuredMarks]]:
    """Measure the marks of a design by the deviations kept of scans."""
    from ...standalone_core.check import marks_of
    from ...standalone_core.checked_mesh import checked_surface

    yield Progress("Placing the evaluation points", 0.0)
    evaluations: dict[tuple[float, bool], EvaluationMesh] = {}
    found = []
    for kept in scans:
        made_by = kept.settings.spacing_mm, kept.settings.ignore_loose_pieces
        if made_by not in evaluations:
            mesh = checked_surface(design.mesh, kept.settings).mesh
            evaluations[made_by] = evaluation_mesh(mesh, kept.settings.spacing_mm)
        yield Progress("Measuring the support marks", 0.5)
        points = kept_points.made(kept.points, kept.document)
        area_set = _with_marks(kept, points, design, evaluations[made_by])
        rows = marks_of(points.there, area_set, kept.superimposition, kept.settings)
        limits = kept.settings.mark
        yield Progress("Judging anew", 0.8)
        points = replace(points, area_set=replace(points.area_set, areas=area_set.areas))
        judgement = judging.judge_kept(points, kept.superimposition, kept.settings)
        found.append(MeasuredMarks(kept.scan, rows, limits, points.area_set.areas, judgement))
    return found


def _with_marks(
    kept: KeptScan, points: KeptPoints, design: DesignInput, evaluation: EvaluationMesh
) -> AreaSet:
    """Return the areas that a scan was measured with, the marks those of now."""
    from ...standalone_core.areas.mark_discs import with_supports

    if not same_points(points.there, evaluation):
        raise MeshError(
            "Its points are no longer those of the design.",
            subject=kept.name,
            remedy="Check the crown again.",
        )
    areas = points.area_set.areas
    without = {name: area for name, area in areas.items() if not is_support(name)}
    marked = {area.name: area for area in _mark_areas(design, evaluation)}
    return with_supports(AreaSet(evaluation, {**without, **marked}), design.marks)


def keep(found: MeasuredMarks, checksum: str) -> None:
    """Keep the numbers of a scan's marks, and what follows, in the place of earlier ones."""
    kept = store.result_of(found.scan)
    if kept is None:
        return
    kept["check"]["marks"] = plain(found.marks)
    kept["check"]["settings"]["mark"] = kept["choices"]["support_marks"] = plain(found.limits)
    kept["made_with"]["marks"] = checksum
    judging.keep_mark_areas(found.scan, kept, found.areas)
    judging.keep_judgement(found.scan, kept, found.judgement)
    store.data_of(found.scan).marks_out_of_date = False


def renamed(design: bpy.types.Object, old: str, new: str) -> None:
    """Give the kept numbers of a mark its new name, on every scan of the design."""
    found = mark_of(new)
    for scan in bpy.data.objects:
        if found is None or store.data_of(scan).design != design:
            continue
        kept = store.result_of(scan)
        row = rows_of(kept).get(old) if kept else None
        if kept is not None and row is not None:
            row["kind"], row["name"] = found
            kept["areas"] = [new if name == old else name for name in kept["areas"]]
            store.data_of(scan).result = json.dumps(kept)


def refresh(scan: bpy.types.Object, groups: Mapping[str, np.ndarray] | None = None) -> bool:
    """Bring up to date whether a scan's marks were edited since; return if they are current.

    Reads every vertex's groups, if they are not given.
    """
    kept, design = store.shown_result_of(scan), store.data_of(scan).design
    if kept is None or design is None:
        return False
    now = support_marks.checksum(design, groups)
    _set_edited(scan, now != kept["made_with"].get("marks", ""))
    return not store.data_of(scan).marks_out_of_date


def mark_edited(scan: bpy.types.Object) -> None:
    """Mark a scan's marks edited since they were measured."""
    _set_edited(scan, True)


def _set_edited(scan: bpy.types.Object, edited: bool) -> None:
    # Written only when it differs: writing makes Blender update the object once more.
    if store.data_of(scan).marks_out_of_date != edited:
        store.data_of(scan).marks_out_of_date = edited


def number(value: float | None) -> float:
    """Return a kept number; NaN for none."""
    return math.nan if value is None else value


def same_points(field: DeviationField, evaluation: EvaluationMesh) -> bool:
    """Tell whether a kept field was measured at the points of an evaluation mesh."""
    here = evaluation.points
    return field.points_mm.shape == here.shape and bool(
        (np.abs(field.points_mm - here) <= SAME_MM).all()
    )


def _mark_areas(design: DesignInput, evaluation: EvaluationMesh) -> list[Area]:
    """Return the marks on the evaluation points, those loaded from a file as the file has them.

    Circles are put in their place afterwards.
    """
    from ...standalone_core.areas.carry import Carrier
    from ...standalone_core.areas.entries import read_areas

    own = area_groups.own_areas(design.areas, evaluation, design.mesh, with_loaded=True)
    document = design.areas.document
    if document is not None:
        carry = Carrier(document, evaluation)
        if carry.belongs():
            own += [
                area for area in read_areas(document, carry) if area.name in design.areas.loaded
            ]
    return [area for area in own if mark_of(area.name)]
