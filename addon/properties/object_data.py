"""What is kept on an object: results of a scan, areas and marks of a design, looks before."""

from typing import Any

import bpy

from ..drawing import framing
from . import choices, mark_choices, setting_groups, teeth
from .fit_choices import FitOfCrown

STATES = (
    ("NONE", "Not measured", "Nothing has been done with this scan yet", 0),
    ("PLACED", "Superimposed", "The scan lies on its design; not measured yet", 1),
    ("CURRENT", "Measured", "The results belong to what is shown", 2),
    ("OUT_OF_DATE", "Out of Date", "Something changed since it was measured; check again", 3),
)


def _patch_chosen(data: Any, context: bpy.types.Context) -> None:
    framing.frame_patch(context, data.id_data, data.patch_index)


class SlotBefore(bpy.types.PropertyGroup):
    """A material slot as it was before the colour map."""

    link: bpy.props.StringProperty(
        description="Whether the slot's material belonged to the object or to its mesh"
    )
    material: bpy.props.PointerProperty(
        description="The material that comes back with Remove Colour Map",
        type=bpy.types.Material,
    )


class PatchItem(bpy.types.PropertyGroup):
    """One row of the list of patches outside the tolerance."""

    peak_um: bpy.props.FloatProperty(
        name="Peak (µm)", description="The patch's largest deviation, with its sign, in µm"
    )
    area_mm2: bpy.props.FloatProperty(
        name="Size (mm²)", description="How much of the surface lies beyond the tolerance, in mm²"
    )
    where: bpy.props.StringProperty(
        name="Where", description="The areas that the patch lies in, the largest share first"
    )
    unmatched: bpy.props.BoolProperty(
        name="Unmatched",
        description="Whether the patch is scan surface without a counterpart on the design",
    )
    seen_from: bpy.props.StringProperty(
        name="Seen From", description="Whether it is seen from the design, the scan, or both"
    )


class ObjectData(bpy.types.PropertyGroup):
    """What Cuspwise knows about an object; goes with it through renaming, copying, appending."""

    design: bpy.props.PointerProperty(
        name="Design",
        description="The design that this scan was laid on or measured against",
        type=bpy.types.Object,
    )
    state: bpy.props.EnumProperty(
        name="State", description="What has been done with this scan", items=STATES
    )
    state_reason: bpy.props.StringProperty(
        name="Reason", description="Why the scan's results are out of date"
    )
    problem: bpy.props.StringProperty(
        name="Problem", description="Why the scan could not be checked when all were"
    )
    verdict: bpy.props.StringProperty(
        description="What decides about this scan, as its areas were judged last"
    )
    areas_measured: bpy.props.StringProperty(
        description="The areas that this scan was measured in, as vertex groups of its design"
    )
    file_notes: bpy.props.StringProperty(
        name="File", description="Size, unit and faults of the file that was imported"
    )
    source_file: bpy.props.StringProperty(
        name="Source", description="The file that the object was imported from"
    )
    source_facts: bpy.props.StringProperty(
        description="Format, unit, checksum and notes of that file, as kept by Cuspwise"
    )
    superimposition: bpy.props.StringProperty(
        description="How well the scan lies on its design, as kept by Cuspwise"
    )
    pose_before: bpy.props.StringProperty(
        description=(
            "Where the scan lay before it was superimposed; Restore Position goes back there"
        )
    )
    result_id: bpy.props.StringProperty(
        description="Number of the result; the attributes with its deviations end in it"
    )
    result: bpy.props.StringProperty(description="The result in full, as kept by Cuspwise")
    result_points: bpy.props.PointerProperty(
        description="The points that were measured, with their deviations", type=bpy.types.Mesh
    )
    causes_id: bpy.props.StringProperty(
        description="Number of the causes found; the attributes with their maps begin with it"
    )
    causes: bpy.props.StringProperty(
        description="Why this scan deviates, in full, as kept by Cuspwise"
    )
    causes_points: bpy.props.PointerProperty(
        description="The maps of the causes at the points that were measured",
        type=bpy.types.Mesh,
    )
    patches: bpy.props.CollectionProperty(
        name="Patches",
        description="Connected patches of the surface beyond the tolerance, the worst first",
        type=PatchItem,
    )
    patch_index: bpy.props.IntProperty(
        name="Patch",
        description="Click a patch outside the tolerance to bring its worst place into view",
        update=_patch_chosen,
    )
    areas: bpy.props.StringProperty(
        description="What is known of the areas that were found on this design"
    )
    hidden_areas: bpy.props.StringProperty(
        description="The areas of this design that Show Areas leaves out"
    )
    areas_document: bpy.props.StringProperty(
        description="The areas file that was loaded for this design"
    )
    area_points: bpy.props.PointerProperty(
        description="The places of the points in the areas file that was loaded",
        type=bpy.types.Mesh,
    )
    mark_circles: bpy.props.StringProperty(
        description="Middle and radius of the support marks that were marked as circles"
    )
    mark_index: mark_choices.index()
    mark_quiet: bpy.props.BoolProperty(
        description="Whether a mark is chosen without bringing it into view"
    )
    mark_name: mark_choices.name()
    mark_kind: mark_choices.kind()
    mark_radius_mm: mark_choices.radius()
    marks_out_of_date: bpy.props.BoolProperty(
        description="Whether support marks were edited since they were measured on this scan"
    )
    landmark: bpy.props.IntProperty(
        name="Landmark", description="Number of the pair that this landmark belongs to; 0: none"
    )
    caption: bpy.props.StringProperty(
        name="Caption", description="The words that stand beside this landmark or label"
    )
    mesial_direction: choices.direction("mesial_direction", setting_groups.measuring_changed)
    buccal_direction: choices.direction("buccal_direction", setting_groups.measuring_changed)
    insertion: choices.direction("insertion", setting_groups.measuring_changed)
    margin_line: bpy.props.PointerProperty(
        name="Margin Line",
        description="The curve that is this design's margin line; edit it to move the margin",
        type=bpy.types.Object,
    )
    fit: bpy.props.PointerProperty(
        name="Fit", description="How this crown fits on its die", type=FitOfCrown
    )
    finish_line: bpy.props.PointerProperty(
        name="Finish Line",
        description="The curve that is this die's finish line; edit it to move the line",
        type=bpy.types.Object,
    )
    coloured: bpy.props.BoolProperty(
        description="Whether the object shows the colours of its deviations"
    )
    held: bpy.props.BoolProperty(
        description="Whether the object is hidden or shown while something is looked at alone"
    )
    hidden_before: bpy.props.BoolProperty(description="Whether the object was hidden before that")
    hidden_meanwhile: bpy.props.BoolProperty(
        description="Whether the object was hidden for that, not shown"
    )
    in_front: bpy.props.BoolProperty(
        description="Whether the object stands before the place that is looked at"
    )
    slots_before: bpy.props.CollectionProperty(
        description="The object's materials before the colour map", type=SlotBefore
    )
    colour_before: bpy.props.StringProperty(
        description="The mesh's active colour attribute before the colour map"
    )
    study: bpy.props.StringProperty(
        description="The study's results, as kept by Cuspwise on its design"
    )
    study_points: bpy.props.PointerProperty(
        description="The points that the study was measured at", type=bpy.types.Mesh
    )
    study_reason: bpy.props.StringProperty(
        name="Reason", description="Why the study's results are out of date"
    )
    study_entry: bpy.props.StringProperty(
        description="What the study holds of this scan, as kept by Cuspwise"
    )
    study_place: bpy.props.StringProperty(
        description="Where the study laid this scan, as kept by Cuspwise"
    )
    teeth: bpy.props.PointerProperty(
        name="Teeth",
        description="What is kept of this crown's walls and contacts",
        type=teeth.TeethData,
    )
    value_of: bpy.props.PointerProperty(
        name="Scan", description="The scan whose value this label shows", type=bpy.types.Object
    )
    value_result: bpy.props.StringProperty(
        description="Number of the result that this label's value was read from"
    )


CLASSES = (SlotBefore, PatchItem, ObjectData)
