"""Which of the listed scans have to be checked, and why one could not be."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.tray.result import TrayCrown, TrayResult
from ..identifiers import SCENE_PROPERTIES
from . import mark_results, store
from .crown_rows import FAILED, GONE, NOT_CHECKED, OUT_OF_DATE, Row, measured
from .scene_choices import JUDGING

if TYPE_CHECKING:
    from .inputs import DesignInput

NOT_MEASURED_WITH = (*JUDGING, "force")
"""Choices of a kept result that other numbers do not follow from."""


@dataclass(frozen=True, eq=False)
class Listed:
    """A scan by the name that it had when the job began; its text is that name."""

    scan: bpy.types.Object
    name: str

    def __str__(self) -> str:
        return self.name


def crowns_listed(scene: bpy.types.Scene) -> Iterator[bpy.types.Object]:
    """Yield the listed scans that still are in the scene, each once, the design never."""
    seen = {getattr(scene, SCENE_PROPERTIES).design}
    for scan in store.listed_scans(scene):
        if scan not in seen:
            seen.add(scan)
            yield scan


def is_up_to_date(
    scan: bpy.types.Object,
    design: DesignInput,
    chosen: Mapping[str, Any],
    scene: bpy.types.Scene,
) -> bool:
    """Tell whether checking a scan again would find what is kept of it.

    Landmarks may have been picked anew, so a scan that starts from them counts as not checked.

    Parameters
    ----------
    scan : bpy.types.Object
    design : DesignInput
    chosen : mapping
        The scene's choices.
    scene : bpy.types.Scene
    """
    kept = store.result_of(scan)
    if kept is None or store.data_of(scan).design != design.design:
        return False
    if chosen["start"] == "landmarks" or _measured_with(kept["choices"], chosen) != _plain(chosen):
        return False
    unmoved = store.refresh(scan, scene)
    return unmoved and store.refresh_areas(scan, design.areas, scene) and mark_results.refresh(scan)


def rows_of(scene: bpy.types.Scene) -> list[Row]:
    """Return a row for each entry of a scene's list of scans, in its order."""
    settings = getattr(scene, SCENE_PROPERTIES)
    there = set(crowns_listed(scene))
    return [_row(item) if item.scan in there else GONE for item in settings.scans]


def _row(item: Any) -> Row:
    data = store.data_of(item.scan)
    found = measured(data.result, store.VERSION)
    if data.problem:
        status, reason = FAILED, data.problem
    elif data.state == "OUT_OF_DATE":
        status, reason = OUT_OF_DATE, data.state_reason
    else:
        status, reason = found.verdict if found else NOT_CHECKED, ""
    return Row(item.scan.name, " ".join(item.group.split()), status, reason, found)


def tray_of(scene: bpy.types.Scene) -> TrayResult:
    """Return all crowns as the core's tables take them; what is out of date has no numbers."""
    from ...standalone_core.versions import versions_used

    design = getattr(scene, SCENE_PROPERTIES).design
    rows = [row for row in rows_of(scene) if row is not GONE]
    crowns = (_tray_crown(row, design.name if design else "") for row in rows)
    return TrayResult(tuple(crowns), versions_used())


def _tray_crown(row: Row, design: str) -> TrayCrown:
    if row.crown is not None and row.status not in (FAILED, OUT_OF_DATE):
        return replace(row.crown, name=row.name, design=design, scan=row.name)
    reason = row.reason or "It was not checked yet."
    if row.status == OUT_OF_DATE:
        reason = f"It is out of date: {reason}"
    error = CuspwiseError(reason, subject=row.name, remedy="Press Check All.")
    return TrayCrown(row.name, design, row.name, error=error)


def choose_one_with_numbers(scene: bpy.types.Scene) -> None:
    """Choose the first scan that carries numbers, unless the chosen one does."""
    settings = getattr(scene, SCENE_PROPERTIES)
    carry = [
        number
        for number, item in enumerate(settings.scans)
        if store.is_in(item.scan, scene) and store.data_of(item.scan).result
    ]
    if carry and settings.scan_index not in carry:
        settings.scan_index = carry[0]


def note_problem(scan: bpy.types.Object, error: CuspwiseError) -> None:
    """Keep why a scan could not be checked; what was measured before stays."""
    store.data_of(scan).problem = f"{error.reason} {error.remedy}"


def _measured_with(before: Mapping[str, Any], chosen: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a result was measured with, of all that is chosen today."""
    return {name: before.get(name) for name in _plain(chosen)}


def _plain(chosen: Mapping[str, Any]) -> dict[str, Any]:
    """Return choices as they come back from the text that a result is kept in."""
    plain: dict[str, Any] = json.loads(json.dumps(chosen))
    return {name: value for name, value in plain.items() if name not in NOT_MEASURED_WITH}
