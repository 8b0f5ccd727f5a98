"""Lay a scan on its design, and take it back."""

import json
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ...standalone_core.progress import Progress, Steps
from ...standalone_core.report.check.sentences import SUPERIMPOSITION_WORDS
from ...standalone_core.superimpose.result import Superimposition
from ...standalone_core.words.text import micrometres
from .. import identifiers
from ..blender import frames
from ..blender.job import JobOperator
from ..blender.session import Answer, layer_of, scene_of
from ..check import inputs, store
from ..check.inputs import DesignInput, ScanInput
from ..fit import on_die
from . import ready


class Superimpose(JobOperator, bpy.types.Operator):
    """Lay the chosen scan on its design."""

    bl_idname = identifiers.SUPERIMPOSE
    bl_label = "Superimpose"
    bl_description = (
        "Lay the chosen scan on its design by moving the object, never its vertices and never "
        "scaling it. Restore Position takes it back"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design and a scan."""
        return ready.can_measure_both(cls, context)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read both surfaces."""
        frames.refuse_held(ready.chosen_scan(context), layer_of(context))
        self._design, self._scan = yield from inputs.read_both_steps(context)

    def start(self, context: bpy.types.Context) -> Steps[Any]:
        """Lay the scan on the design with the choices of now."""
        choices = inputs.check_choices(context, self._design, self._scan)
        return inputs.superimpose_input_steps(self._design, self._scan, choices)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Move the object and keep how far to trust the pose."""
        move_scan(context, self._design, self._scan, result)
        yield Progress("Keeping the position", 0.5)
        scan = self._scan.scan
        store.keep_superimposition(scan, result)
        store.data_of(scan).design = self._design.design
        if store.data_of(scan).result:
            store.refresh(scan, scene_of(context))
        else:
            store.data_of(scan).state = "PLACED"
        said = SUPERIMPOSITION_WORDS.get(result.verdict, result.verdict)
        return f"{said} Residual {micrometres(1e3 * result.rms_mm)} µm RMS."


class RestorePosition(bpy.types.Operator):
    """Put the scan back to where it was before."""

    bl_idname = identifiers.RESTORE_POSITION
    bl_label = "Restore Position"
    bl_description = "Put the chosen scan back to where it lay before it was superimposed"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a scan that was moved."""
        if not ready.has_scan(cls, context):
            return False
        if not store.data_of(ready.chosen_scan(context)).pose_before:
            cls.poll_message_set("The scan has not been superimposed")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Write the old pose."""
        scan = ready.chosen_scan(context)
        data = store.data_of(scan)
        data.fit.is_on_die = False
        scan.matrix_basis = Matrix(json.loads(data.pose_before)["before"])
        layer_of(context).update()
        data.pose_before = ""
        data.superimposition = ""
        data.state = "NONE"
        store.refresh(scan, scene_of(context))
        self.report({"INFO"}, f"{scan.name} lies where it was.")
        return {"FINISHED"}


def move_scan(
    context: bpy.types.Context,
    design: DesignInput,
    scan: ScanInput,
    superimposition: Superimposition,
) -> None:
    """Write a superimposition to the scan's object matrix, remembering the pose before.

    Raises
    ------
    SettingError
        The object is held by something; it has not moved.
    """
    obj, data = scan.scan, store.data_of(scan.scan)
    on_die.bring_back(obj, layer_of(context))
    before = np.array(obj.matrix_basis, dtype=np.float64).tolist()
    kept = json.loads(data.pose_before) if data.pose_before else None
    if kept is not None and kept["after"] == before:
        before = kept["before"]  # superimposed again from where it was put the last time
    motion = np.asarray(superimposition.T_design_scan)
    if not np.array_equal(motion, np.eye(4)):
        frames.place(obj, design.frame.world_of(motion @ scan.local_to_mm), layer_of(context))
        after = np.array(obj.matrix_basis, dtype=np.float64).tolist()
        data.pose_before = json.dumps({"before": before, "after": after})


CLASSES = (Superimpose, RestorePosition)
