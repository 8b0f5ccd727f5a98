"""Find the areas of the design, load and save them."""

from pathlib import Path

import bpy
from bpy_extras.io_utils import ExportHelper, ImportHelper

from ...standalone_core.areas.support_marks import SUPPORTS, is_support
from ...standalone_core.errors import AreaError
from ...standalone_core.words.names import area_words
from .. import identifiers
from ..areas import groups
from ..blender.job import JobOperator
from ..check import inputs, store
from ..drawing import colour_map, overlay
from . import ready


class FindAreas(JobOperator, bpy.types.Operator):
    """Find the areas of the design."""

    bl_idname = identifiers.FIND_AREAS
    bl_label = "Find Areas"
    bl_description = (
        "Find margin line, intaglio, occlusal surface and the other areas of the design, as vertex "
        "groups and a curve. Groups that you have edited or loaded stay as they are; delete one to "
        "have it found again"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context):
        """Ask for a design."""
        return ready.has_design(cls, context)

    def read(self, context):
        """Read the design."""
        self._design = yield from inputs.read_design_steps(context)

    def start(self, context):
        """Find its areas with the choices of now."""
        settings = getattr(context.scene, identifiers.SCENE_PROPERTIES)
        return inputs.area_steps(self._design, inputs.choices_of(settings))

    def finish(self, context, result):
        """Write groups and curve."""
        read = self._design
        yield from groups.write_areas_steps(
            read.design, result, read.mesh, read.local_to_mm, read.areas
        )
        _mark_stale(context.scene, read.design)
        names = (name for name in result.areas if name != "whole" and not is_support(name))
        found = [area_words(name) for name in names]
        return f"Found {', '.join(found)}." if found else "No areas were found."


class LoadAreas(bpy.types.Operator, ImportHelper):
    """Choose an areas file, then read it."""

    bl_idname = identifiers.LOAD_AREAS
    bl_label = "Load Areas"
    bl_description = (
        "Take the areas and the margin line of this design from a file that Save Areas or the "
        "command line made. They replace the areas that are there"
    )

    filename_ext = ".json"
    filter_glob: bpy.props.StringProperty(default="*.json", options={"HIDDEN"})

    @classmethod
    def poll(cls, context):
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, _context):
        """Hand over to the job: a file dialogue cannot go on as one."""
        return _hand_over(bpy.ops.cuspwise.read_areas_file, self.filepath)


class SaveAreas(bpy.types.Operator, ExportHelper):
    """Choose where the areas go, then write them."""

    bl_idname = identifiers.SAVE_AREAS
    bl_label = "Save Areas"
    bl_description = (
        "Write the areas and the margin line of the design to a file that serves every copy of "
        "this design, here and on the command line. What was not found yet is found first"
    )

    filename_ext = ".json"
    filter_glob: bpy.props.StringProperty(default="*.json", options={"HIDDEN"})

    @classmethod
    def poll(cls, context):
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, _context):
        """Hand over to the job: a file dialogue cannot go on as one."""
        return _hand_over(bpy.ops.cuspwise.write_areas_file, self.filepath)


class AreasFileJob(JobOperator):
    """Base of the jobs that work on an areas file."""

    filepath: bpy.props.StringProperty(
        name="File", description="The areas file to read or write", subtype="FILE_PATH"
    )

    @classmethod
    def poll(cls, context):
        """Ask for a design."""
        return ready.has_design(cls, context)

    def read(self, context):
        """Read the design."""
        if not self.filepath:
            raise AreaError(
                "No file was given.", subject="File", remedy="Choose an areas file (.json)."
            )
        self._design = yield from inputs.read_design_steps(context)

    def start(self, context):
        """Work on the file with the choices of now."""
        choices = inputs.choices_of(getattr(context.scene, identifiers.SCENE_PROPERTIES))
        return self.steps(self._design, Path(bpy.path.abspath(self.filepath)), choices)


class ReadAreasFile(AreasFileJob, bpy.types.Operator):
    """Read an areas file."""

    bl_idname = identifiers.READ_AREAS_FILE
    bl_label = "Read Areas File"
    bl_description = "Take the areas of the design from the areas file given"
    bl_options = {"INTERNAL", "UNDO"}  # noqa: RUF012

    steps = staticmethod(inputs.load_areas_file_steps)

    def finish(self, context, result):
        """Write groups and curve in place of those that are there."""
        read = self._design
        yield from groups.replace_areas_steps(read.design, result, read.mesh, read.local_to_mm)
        _mark_stale(context.scene, read.design)
        names = ", ".join(area_words(name) for name in result.areas if name != "whole")
        return f"Loaded {names}."


class WriteAreasFile(AreasFileJob, bpy.types.Operator):
    """Write an areas file."""

    bl_idname = identifiers.WRITE_AREAS_FILE
    bl_label = "Write Areas File"
    bl_description = "Write the areas of the design to the areas file given"
    bl_options = {"INTERNAL"}  # noqa: RUF012

    writes_files = True
    steps = staticmethod(inputs.save_areas_file_steps)

    def finish(self, _context, result):
        """Say what was written."""
        path, area_set = result
        return f"Saved {len(area_set.areas)} areas to {path}."


class ToggleArea(bpy.types.Operator):
    """Show or hide one area of the overlay."""

    bl_idname = identifiers.TOGGLE_AREA
    bl_label = "Show or Hide Area"
    bl_description = (
        "Show this area in the overlay, or hide it and see what lies below. The area itself and "
        "its numbers stay as they are"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    area: bpy.props.StringProperty(
        name="Area", description="The area's name, as in the list above", options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context):
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, context):
        """Remember the wish on the design."""
        design = getattr(context.scene, identifiers.SCENE_PROPERTIES).design
        if self.area != SUPPORTS and self.area not in groups.names(design):
            self.report({"ERROR"}, f"{design.name} has no area {self.area!r}. Find Areas first.")
            return {"CANCELLED"}
        overlay.toggle_area(design, self.area)
        return {"FINISHED"}


def _hand_over(job, path):
    if bpy.app.background:
        return job(filepath=path)
    job("INVOKE_DEFAULT", filepath=path)
    return {"FINISHED"}


def _mark_stale(scene, design):
    """Mark the results of a design's scans whose areas are others now."""
    for scan in store.listed_scans(scene):
        if store.data_of(scan).design == design:
            store.refresh(scan, scene, with_areas=True)
    colour_map.refresh(scene)
    overlay.refresh()


CLASSES = (FindAreas, ToggleArea, LoadAreas, SaveAreas, ReadAreasFile, WriteAreasFile)
