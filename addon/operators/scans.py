"""Scans into the list and out of it."""

from pathlib import Path
from typing import TYPE_CHECKING, cast

import bpy
import numpy as np
from bpy_extras.io_utils import ImportHelper
from mathutils import Matrix

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.length_units import MM_PER_UNIT, UNIT_NAMES
from ...standalone_core.mesh.files import MeshFile, read_mesh
from ...standalone_core.words.text import capital
from .. import identifiers
from ..blender import bridge, frames
from ..blender.session import Answer, scene_of, settings_of
from ..blender.units import AUTO
from ..check import store
from ..drawing import colour_map
from ..files import source
from ..properties.defaults import take_defaults
from . import ready

SUFFIXES = ("stl", "ply", "obj", "off")
FILE_UNITS = (
    ("auto", "Automatic", "What the file says, or what its size makes likely"),
    *((unit, capital(words), f"The file is in {words}") for unit, words in UNIT_NAMES.items()),
)


class ImportScans(bpy.types.Operator, ImportHelper):  # type: ignore[misc]
    """Read scans of produced crowns from files and add them to the list.

    Nothing is cleaned up or merged away unseen; unit and size are shown.
    """

    bl_idname = identifiers.IMPORT_SCANS
    bl_label = "Import Scans"
    bl_description = (
        "Read scans of produced crowns from STL, PLY, OBJ or OFF files and add them to the list. "
        "The files are not changed"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    if TYPE_CHECKING:
        filepath: str  # of ImportHelper
    filter_glob: bpy.props.StringProperty(
        default=";".join(f"*.{suffix}" for suffix in SUFFIXES), options={"HIDDEN"}
    )
    files: bpy.props.CollectionProperty(
        type=bpy.types.OperatorFileListElement, options={"HIDDEN", "SKIP_SAVE"}
    )
    directory: bpy.props.StringProperty(subtype="DIR_PATH", options={"HIDDEN", "SKIP_SAVE"})
    unit: bpy.props.EnumProperty(
        name="Unit of the Files", description="Length unit of the files' numbers", items=FILE_UNITS
    )
    group: bpy.props.StringProperty(
        name="Group", description="Crowns produced the same way share a group; may stay empty"
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask whether the list can be added to."""
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Read every file; go on past one that cannot be read and say so."""
        read, problems = [], []
        try:
            scale_mm = _scale_mm(scene_of(context))
        except CuspwiseError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        for path in self._paths():
            try:
                read.append(read_mesh(path, unit=self.unit))
            except CuspwiseError as error:
                problems.append(str(error))
        take_defaults(scene_of(context))
        for found in read:
            add_to_list(scene_of(context), _make_object(context, found, scale_mm), self.group)
        for problem in problems:
            self.report({"WARNING"} if read else {"ERROR"}, problem)
        if not read:
            if not problems:
                self.report({"ERROR"}, "No file was chosen. Choose one or more scans.")
            return {"CANCELLED"}
        colour_map.refresh(scene_of(context))
        self.report({"INFO"}, "; ".join(_words(found) for found in read))
        return {"FINISHED"}

    def _paths(self) -> list[Path]:
        names = [entry.name for entry in self.files if entry.name]
        if names:
            return [Path(self.directory) / name for name in names]
        return [Path(self.filepath)] if self.filepath else []


class AddScans(bpy.types.Operator):
    """Add the selected meshes to the list of scans."""

    bl_idname = identifiers.ADD_SCANS
    bl_label = "Add Selected"
    bl_description = "Add the selected mesh objects, other than the design, to the list of scans"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask whether anything selected is not in the list yet."""
        if not ready.no_job(cls, context):
            return False
        if not _new_scans(context):
            cls.poll_message_set("Select mesh objects that are neither the design nor listed yet")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Add them."""
        take_defaults(scene_of(context))
        found = _new_scans(context)
        for scan in found:
            add_to_list(scene_of(context), scan)
            store.refresh(scan, scene_of(context))
        colour_map.refresh(scene_of(context))
        self.report({"INFO"}, f"Added {', '.join(scan.name for scan in found)}.")
        return {"FINISHED"}


class RemoveScan(bpy.types.Operator):
    """Take the chosen scan off the list."""

    bl_idname = identifiers.REMOVE_SCAN
    bl_label = "Remove from List"
    bl_description = "Take the chosen scan off the list; the object and its results stay"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask whether a row is chosen."""
        settings = settings_of(context)
        if not 0 <= settings.scan_index < len(settings.scans):
            cls.poll_message_set("Choose a scan in the list")
            return False
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Remove the row."""
        settings = settings_of(context)
        settings.scans.remove(settings.scan_index)
        settings.scan_index = max(0, min(settings.scan_index, len(settings.scans) - 1))
        return {"FINISHED"}


def add_to_list(scene: bpy.types.Scene, scan: bpy.types.Object, group: str = "") -> None:
    """Add a scan to a scene's list and choose it."""
    settings = getattr(scene, identifiers.SCENE_PROPERTIES)
    item = settings.scans.add()
    item.scan, item.group = scan, group
    settings.scan_index = len(settings.scans) - 1


def _new_scans(context: bpy.types.Context) -> list[bpy.types.Object]:
    settings = settings_of(context)
    listed = {item.scan for item in settings.scans}
    return [
        obj
        for obj in context.selected_objects
        if obj.type == "MESH" and obj != settings.design and obj not in listed
    ]


def _scale_mm(scene: bpy.types.Scene) -> float:
    """Return the millimetres in a unit of the scene; one where there is no design to tell by."""
    settings = getattr(scene, identifiers.SCENE_PROPERTIES)
    if store.is_in(settings.design, scene):
        return frames.scene_scale_mm(settings.design, scene)
    return 1.0 if settings.unit == AUTO else MM_PER_UNIT[settings.unit]


def _make_object(context: bpy.types.Context, found: MeshFile, scale_mm: float) -> bpy.types.Object:
    """Make an object whose origin is the middle of the scan, so that no digit is lost far out."""
    low, high = found.mesh.bounds / scale_mm
    origin = (0.5 * (low + high)).astype(np.float32).astype(np.float64)
    points = found.mesh.vertices / scale_mm - origin
    scan = bpy.data.objects.new(
        found.path.stem, bridge.new_mesh(found.path.stem, points, found.mesh.faces)
    )
    scan.matrix_world = Matrix.Translation(origin.tolist())
    cast(bpy.types.Collection, context.collection).objects.link(scan)
    store.data_of(scan).file_notes = "\n".join((_words(found), *found.notes))
    source.keep(scan, found)
    return scan


def _words(found: MeshFile) -> str:
    sides = " × ".join(f"{side:.2f}" for side in found.mesh.bounds[1] - found.mesh.bounds[0])
    guessed = ", guessed" if found.unit_guessed else ""
    return f"{found.path.name}: {sides} mm (file in {found.unit}{guessed})"


CLASSES = (ImportScans, AddScans, RemoveScan)
