"""A study's crowns, each with its own numbers and map on its scan, as a check keeps them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.errors import StudyError
from ...standalone_core.progress import Progress, Steps
from ..check import all_scans, inputs, scene_choices, store
from ..identifiers import SCENE_PROPERTIES
from . import export
from .file import SAME_START

if TYPE_CHECKING:
    from ...standalone_core.study.measuring.results import Crown, StudyRun
    from ..check.inputs import ScanInput
    from .export import ScanEntry, StudyInput


@dataclass(frozen=True, eq=False)
class StudyCrown:
    """One crown of a study and its scan; its text is the scan's name."""

    entry: ScanEntry
    crown: Crown

    def __str__(self) -> str:
        return self.entry.name


def due_steps(
    scene: bpy.types.Scene, read: StudyInput, run: StudyRun
) -> Steps[Sequence[StudyCrown]]:
    """Return the crowns whose scans do not carry current numbers; note why others have none.

    Parameters
    ----------
    scene : bpy.types.Scene
    read : StudyInput
    run : StudyRun
    """
    chosen = scene_choices.choices_of(getattr(scene, SCENE_PROPERTIES))
    by_file = {crown.path: crown for crown in run.crowns}
    left_out = {row.path: row for row in run.left_out}
    found = []
    for entry in read.entries:
        yield Progress("Looking what is current", 0.0)
        path = (read.folder / entry.file).resolve()
        if path in by_file:
            if not all_scans.is_up_to_date(entry.scan, read.design, chosen, scene):
                found.append(StudyCrown(entry, by_file[path]))
        elif path in left_out:
            why = left_out[path]
            problem = StudyError(why.reason, subject=entry.name, remedy=why.remedy)
            all_scans.note_problem(entry.scan, problem)
    return found


def read_steps(context: bpy.types.Context, read: StudyInput, one: StudyCrown) -> Steps[ScanInput]:
    """Read a crown's scan as the study wrote it."""
    reading = inputs.read_scan_steps(context, one.entry.scan, read.design.frame, np.eye(4))
    own = yield from reading
    matrix = one.entry.matrix
    return replace(own, mesh=export.as_written(own.mesh, matrix), local_to_mm=matrix)


def choices_of(settings: Any) -> dict[str, Any]:
    """Return what a study's crown was measured and judged with, as a check would be asked for it.

    A scan is written where its landmarks lay it, and starts from there.
    """
    chosen = scene_choices.choices_of(settings)
    start = chosen["start"]
    return {**chosen, "start": SAME_START.get(start, start), scene_choices.CHOSEN_START: start}


def note_place(one: StudyCrown, T_design_scan: np.ndarray) -> None:
    """Note on a scan where the study lays it, before it goes there."""
    place = np.asarray(T_design_scan) @ one.entry.matrix
    store.data_of(one.entry.scan).study_place = json.dumps(place.tolist())


def place_of(scan: bpy.types.Object) -> np.ndarray | None:
    """Return where the study laid a scan, (4, 4); None if it did not.

    A study that starts from where scans lie still belongs to them once it has laid them down.
    """
    text = store.data_of(scan).study_place
    return np.array(json.loads(text)) if text else None
