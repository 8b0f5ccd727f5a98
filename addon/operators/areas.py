"""Find the areas of the design."""

import bpy

from ...standalone_core.report.words import area_words
from .. import area_groups, colour_map, identifiers, inputs, store
from ..job import JobOperator
from . import ready


class FindAreas(JobOperator, bpy.types.Operator):
    """Find the areas of the design."""

    bl_idname = identifiers.FIND_AREAS
    bl_label = "Find Areas"
    bl_description = (
        "Find margin line, intaglio, occlusal surface and the other areas of the design, as vertex "
        "groups and a curve. Groups that you have edited stay as they are; delete one to have it "
        "found again"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context):
        """Ask for a design."""
        return ready.has_design(cls, context)

    def start(self, context):
        """Read the design."""
        self._design = inputs.read_design(context)
        settings = getattr(context.scene, identifiers.SCENE_PROPERTIES)
        return inputs.area_steps(self._design, inputs.choices_of(settings))

    def finish(self, context, result):
        """Write groups and curve."""
        read = self._design
        area_groups.write_areas(read.design, result, read.mesh, read.local_to_mm)
        for scan in store.listed_scans(context.scene):
            if store.data_of(scan).design == read.design:
                store.refresh(scan, context.scene, with_areas=True)
        colour_map.refresh(context.scene)
        found = [area_words(name) for name in result.areas if name != "whole"]
        return f"Found {', '.join(found)}." if found else "No areas were found."


CLASSES = (FindAreas,)
