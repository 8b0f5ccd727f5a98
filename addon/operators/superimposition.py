"""Lay a scan on its design, and take it back."""

import json

import bpy
import numpy as np
from mathutils import Matrix

from ...standalone_core.areas.area_set import AreaSet
from ...standalone_core.check_settings import faces_to_fit
from ...standalone_core.errors import AreaError
from ...standalone_core.measure import (
    checked_surface,
    ready_design_steps,
    superimpose_scan_steps,
)
from ...standalone_core.mesh.refine import evaluation_mesh
from ...standalone_core.progress import Progress, scaled
from ...standalone_core.report.check.sentences import SUPERIMPOSITION_WORDS
from ...standalone_core.words.text import micrometres
from .. import identifiers
from ..blender import bridge
from ..blender.job import JobOperator
from ..check import inputs, store
from ..drawing import colour_map
from . import ready


class Superimpose(JobOperator, bpy.types.Operator):
    """Lay the chosen scan on its design."""

    bl_idname = identifiers.SUPERIMPOSE
    bl_label = "Superimpose"
    bl_description = (
        "Lay the chosen scan on its design by moving the object, never its vertices and never "
        "scaling it. Restore Pose takes it back"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context):
        """Ask for a design and a scan."""
        return ready.has_both(cls, context)

    def read(self, context):
        """Read both surfaces."""
        self._design, self._scan = yield from inputs.read_both_steps(context)

    def start(self, context):
        """Lay the scan on the design with the choices of now."""
        choices = inputs.check_choices(context, self._design, self._scan)
        return _steps(self._design, self._scan, choices)

    def finish(self, context, result):
        """Move the object and keep how far to trust the pose."""
        move_scan(context, self._design, self._scan, result)
        scan = self._scan.scan
        store.keep_superimposition(scan, result)
        store.data_of(scan).design = self._design.design
        if store.data_of(scan).result:
            store.refresh(scan, context.scene)
        else:
            store.data_of(scan).state = "PLACED"
        said = SUPERIMPOSITION_WORDS.get(result.verdict, result.verdict)
        return f"{said} Residual {micrometres(1e3 * result.rms_mm)} µm RMS."


class RestorePose(bpy.types.Operator):
    """Put the scan back to where it was before."""

    bl_idname = identifiers.RESTORE_POSE
    bl_label = "Restore Pose"
    bl_description = "Put the chosen scan back to where it lay before it was superimposed"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context):
        """Ask for a scan that was moved."""
        if not ready.has_scan(cls, context):
            return False
        if not store.data_of(colour_map.selected_scan(context.scene)).pose_before:
            cls.poll_message_set("The scan has not been superimposed")
            return False
        return True

    def execute(self, context):
        """Write the old pose."""
        scan = colour_map.selected_scan(context.scene)
        data = store.data_of(scan)
        scan.matrix_basis = Matrix(json.loads(data.pose_before)["before"])
        context.view_layer.update()
        data.pose_before = ""
        data.superimposition = ""
        data.state = "NONE"
        store.refresh(scan, context.scene)
        self.report({"INFO"}, f"{scan.name} lies where it was.")
        return {"FINISHED"}


def move_scan(context, design, scan, superimposition):
    """Write a superimposition to the scan's object matrix, remembering the pose before.

    Raises
    ------
    SettingError
        The object is held by something; it has not moved.
    """
    obj, data = scan.scan, store.data_of(scan.scan)
    before = [list(row) for row in obj.matrix_basis]
    kept = json.loads(data.pose_before) if data.pose_before else None
    if kept is not None and kept["after"] == before:
        before = kept["before"]  # superimposed again from where it was put the last time
    motion = np.asarray(superimposition.T_design_scan)
    if not np.array_equal(motion, np.eye(4)):
        bridge.place(obj, design.frame.world_of(motion @ scan.local_to_mm), context.view_layer)
        after = [list(row) for row in obj.matrix_basis]
        data.pose_before = json.dumps({"before": before, "after": after})


def _steps(design, scan, choices):
    yield Progress("Looking for faults", 0.0)
    settings = inputs.check_settings(choices)
    design_surface, scan_surface = checked_surface(design.mesh), checked_surface(scan.mesh)
    if settings.fit_areas:
        area_set = yield from scaled(inputs.area_steps(design, choices), 0.05, 0.35)
        _refuse_empty(area_set, settings.fit_areas)
    else:
        points = evaluation_mesh(design_surface.mesh, settings.spacing_mm)
        area_set = AreaSet(evaluation=points, areas={})
    ready_steps = ready_design_steps(design_surface, settings, area_set=area_set)
    ready = yield from scaled(ready_steps, 0.35, 0.45)
    fit = superimpose_scan_steps(scan_surface, ready, settings)
    return (yield from scaled(fit, 0.45, 1.0))


def _refuse_empty(area_set, names):
    if not faces_to_fit(area_set, names).any():
        raise AreaError(
            "It is empty.", subject=names[0], remedy="Superimpose on the whole crown instead."
        )


CLASSES = (Superimpose, RestorePose)
