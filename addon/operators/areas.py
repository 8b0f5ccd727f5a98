"""Find the areas of the design, load and save them."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import bpy
from bpy_extras.io_utils import ExportHelper, ImportHelper

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.areas.support_marks import SUPPORTS, is_support
from ...standalone_core.errors import AreaError
from ...standalone_core.progress import Steps
from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import capital
from .. import identifiers
from ..areas import area_groups
from ..blender.job import JobOperator
from ..blender.session import Answer, our_operators, scene_of, settings_of
from ..check import inputs, scene_choices, store
from ..drawing import colour_map, overlay
from . import ready


class AreaFinding(JobOperator):
    """Base of the operators that find areas.

    A subclass may declare ``area``: what somebody made of that one is left out, and it is found.
    """

    area = ""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.can_measure_design(cls, context)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read the design."""
        if self.area and self.area not in AREA_NAMES:
            raise AreaError(
                "It is not found automatically.",
                subject=self.area,
                remedy="Restore an area that is, such as the margin.",
            )
        read = yield from inputs.read_design_steps(context)
        self._design = replace(read, areas=area_groups.without(read.areas, self.area))

    def start(self, context: bpy.types.Context) -> Steps[Any]:
        """Find its areas with the choices of now."""
        settings = settings_of(context)
        return inputs.area_steps(self._design, scene_choices.choices_of(settings))

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Write groups and curve."""
        read = self._design
        if self.area:
            area_groups.remove(read.design, self.area)
        yield from area_groups.write_areas_steps(
            read.design, result, read.mesh, read.local_to_mm, read.areas
        )
        mark_out_of_date(scene_of(context), read.design)
        if self.area:
            again = "found again" if self.area in result.areas else "not found"
            return f"{capital(area_words(self.area))}: {again}."
        names = (name for name in result.areas if name != "whole" and not is_support(name))
        found = [area_words(name) for name in names]
        return f"Found {', '.join(found)}." if found else "No areas were found."


class FindAreas(AreaFinding, bpy.types.Operator):
    """Find the areas of the design."""

    bl_idname = identifiers.FIND_AREAS
    bl_label = "Find Areas"
    bl_description = (
        "Find margin line, intaglio, occlusal surface and the other areas of the design, as vertex "
        "groups and a curve. Groups that you have edited or loaded stay as they are; delete one to "
        "have it found again"
    )
    bl_options = {"UNDO"}  # noqa: RUF012


class LoadAreas(bpy.types.Operator, ImportHelper):  # type: ignore[misc]
    """Choose an areas file, then read it."""

    bl_idname = identifiers.LOAD_AREAS
    bl_label = "Load Areas"
    bl_description = (
        "Take the areas and the margin line of this design from a file that Save Areas or the "
        "command line made. They replace the areas that are there"
    )

    if TYPE_CHECKING:
        filepath: str  # of the file dialogue's base
    filename_ext = ".json"
    filter_glob: bpy.props.StringProperty(default="*.json", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, _context: bpy.types.Context) -> Answer:
        """Hand over to the job: a file dialogue cannot go on as one."""
        return _hand_over(our_operators().read_areas_file, self.filepath)


class SaveAreas(bpy.types.Operator, ExportHelper):  # type: ignore[misc]
    """Choose where the areas go, then write them."""

    bl_idname = identifiers.SAVE_AREAS
    bl_label = "Save Areas"
    bl_description = (
        "Write the areas and the margin line of the design to a file that serves every copy of "
        "this design, here and on the command line. What was not found yet is found first"
    )

    if TYPE_CHECKING:
        filepath: str  # of the file dialogue's base
    filename_ext = ".json"
    filter_glob: bpy.props.StringProperty(default="*.json", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, _context: bpy.types.Context) -> Answer:
        """Hand over to the job: a file dialogue cannot go on as one."""
        return _hand_over(our_operators().write_areas_file, self.filepath)


class AreasFileJob(JobOperator):
    """Base of the jobs that work on an areas file; a subclass gives ``steps``."""

    steps: Callable[[inputs.DesignInput, Path, Mapping[str, Any]], Steps[Any]]

    filepath: bpy.props.StringProperty(
        name="File", description="The areas file to read or write", subtype="FILE_PATH"
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.can_measure_design(cls, context)

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read the design."""
        if not self.filepath:
            raise AreaError(
                "No file was given.", subject="File", remedy="Choose an areas file (.json)."
            )
        self._design = yield from inputs.read_design_steps(context)

    def start(self, context: bpy.types.Context) -> Steps[Any]:
        """Work on the file with the choices of now."""
        choices = scene_choices.choices_of(settings_of(context))
        return self.steps(self._design, Path(bpy.path.abspath(self.filepath)), choices)


class ReadAreasFile(AreasFileJob, bpy.types.Operator):
    """Read an areas file."""

    bl_idname = identifiers.READ_AREAS_FILE
    bl_label = "Read Areas File"
    bl_description = "Take the areas of the design from the areas file given"
    bl_options = {"INTERNAL", "UNDO"}  # noqa: RUF012

    steps = staticmethod(inputs.load_areas_file_steps)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Write groups and curve in place of those that are there."""
        read = self._design
        yield from area_groups.replace_areas_steps(read.design, result, read.mesh, read.local_to_mm)
        mark_out_of_date(scene_of(context), read.design)
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

    def finish(self, _context: bpy.types.Context, result: Any) -> str:
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
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Remember the choice on the design."""
        design = settings_of(context).design
        if self.area != SUPPORTS and self.area not in area_groups.names(design):
            self.report({"ERROR"}, f"{design.name} has no area {self.area!r}. Find Areas first.")
            return {"CANCELLED"}
        overlay.toggle_area(design, self.area)
        return {"FINISHED"}


def _hand_over(job: Any, path: str) -> Answer:
    if bpy.app.background:
        return cast(Answer, job(filepath=path))
    job("INVOKE_DEFAULT", filepath=path)
    return {"FINISHED"}


def mark_out_of_date(scene: bpy.types.Scene, design: bpy.types.Object) -> None:
    """Mark the results of a design's scans whose areas are others now."""
    for scan in store.listed_scans(scene):
        if store.data_of(scan).design == design:
            store.refresh(scan, scene, with_areas=True)
    colour_map.refresh(scene)
    overlay.refresh()


CLASSES = (FindAreas, ToggleArea, LoadAreas, SaveAreas, ReadAreasFile, WriteAreasFile)
