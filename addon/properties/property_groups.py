"""What Cuspwise keeps in the .blend: choices in the scene, results on the objects."""

import bpy

from ..blender.units import AUTO, UNIT_CHOICES
from ..check import judging_meanwhile
from ..drawing import colour_map, framing, overlay
from ..identifiers import JOB_PROPERTIES, OBJECT_PROPERTIES, SCENE_PROPERTIES
from . import choices, mark_choices
from .study_choices import StudySettings

STATES = (
    ("NONE", "Not measured", "Nothing has been done with this scan yet", "MESH_DATA", 0),
    ("PLACED", "Superimposed", "The scan lies on its design; not measured yet", "SNAP_ON", 1),
    ("CURRENT", "Measured", "The results belong to what is shown", "CHECKMARK", 2),
    ("STALE", "Stale", "Something changed since it was measured; check again", "ERROR", 3),
)

STARTS = (
    ("auto", "From Any Position", "Find the position without a first guess"),
    ("landmarks", "From Landmarks", "Start from the pairs of landmarks on design and scan"),
    ("in_place", "From the Present Position", "Start from where the scan lies now"),
)

SHOWN = (
    ("SCAN", "Scan", "Show the coloured scan alone; the design would shine through it"),
    ("DESIGN", "Design", "Show the coloured design alone"),
    ("BOTH", "Both", "Show both, one inside the other"),
)

FIT_AREAS = (
    ("whole", "Whole Crown", "Lay the scan on the whole design"),
    ("external", "External", "Lay the scan on the external surface only"),
    ("intaglio", "Intaglio", "Lay the scan on the intaglio (inner surface) only"),
    ("occlusal", "Occlusal", "Lay the scan on the occlusal surface only"),
    ("axial", "Axial Walls", "Lay the scan on the axial walls only"),
    ("margin", "Margin", "Lay the scan on the band along the margin line only"),
)


def _is_mesh(_settings, obj):
    return obj.type == "MESH"


def _design_chosen(_settings, context):
    take_defaults(context.scene)


def _tolerances_changed(_settings, context):
    judging_meanwhile.judge(context.scene)
    colour_map.refresh(context.scene)


def _colours_changed(_settings, context):
    colour_map.refresh(context.scene)


def _overlay_changed(settings, _context):
    if settings.show_areas:
        settings.show_margin = False  # one key is shown at a time
    overlay.refresh()


def _margin_changed(settings, _context):
    if settings.show_margin:
        settings.show_areas = False
    overlay.redraw()


def _patch_chosen(data, context):
    framing.frame_patch(context, data.id_data, data.patch_index)


class ScanItem(bpy.types.PropertyGroup):
    """One row of the list of scans."""

    scan: bpy.props.PointerProperty(
        name="Scan", description="The scan of one produced crown", type=bpy.types.Object
    )
    group: bpy.props.StringProperty(
        name="Group", description="Crowns produced the same way share a group"
    )


class SceneSettings(bpy.types.PropertyGroup):
    """Choices that belong to a scene."""

    prepared: bpy.props.BoolProperty(
        description="Whether this scene has taken over the defaults of the preferences",
        options={"HIDDEN"},
    )
    design: bpy.props.PointerProperty(
        name="Design",
        description="The modelled crown that was sent to production; the reference",
        type=bpy.types.Object,
        poll=_is_mesh,
        update=_design_chosen,
    )
    scans: bpy.props.CollectionProperty(
        name="Scans", description="The scans to be measured against the design", type=ScanItem
    )
    scan_index: bpy.props.IntProperty(
        name="Scan", description="The scan to work on", update=_colours_changed
    )
    unit: bpy.props.EnumProperty(
        name="Unit",
        description="How long one unit of this scene is; results are in µm whatever it is",
        items=UNIT_CHOICES,
        default=AUTO,
    )
    start: bpy.props.EnumProperty(
        name="Start", description="Where the superimposition starts from", items=STARTS
    )
    fit_area: bpy.props.EnumProperty(
        name="On", description="The part of the design that the scan is laid on", items=FIT_AREAS
    )
    spacing_mm: choices.spacing()
    search_mm: choices.search()
    tolerance_whole_um: choices.tolerance("tolerance_whole_um", _tolerances_changed)
    tolerance_occlusal_um: choices.tolerance("tolerance_occlusal_um", _tolerances_changed)
    tolerance_margin_um: choices.tolerance("tolerance_margin_um", _tolerances_changed)
    scanner_um: choices.scanner(_tolerances_changed)
    max_unmatched_um: choices.unmatched_height(_tolerances_changed)
    max_unmatched_mm2: choices.unmatched_area(_tolerances_changed)
    max_missing_mm: choices.missing_margin(_tolerances_changed)
    palette: choices.palette(_colours_changed)
    shown: bpy.props.EnumProperty(
        name="Show",
        description="Which of the two surfaces to look at",
        items=SHOWN,
        update=_colours_changed,
    )
    limit_is_automatic: bpy.props.BoolProperty(
        name="Automatic Limit",
        description="Choose the limit of the colours from the deviations, rounded",
        default=True,
        update=_colours_changed,
    )
    limit_um: bpy.props.FloatProperty(
        name="Limit (µm)",
        description="The colours run from − this to + this deviation, µm",
        default=50.0,
        min=1.0,
        soft_max=1000.0,
        precision=1,
        step=500,
        update=_colours_changed,
    )
    mark_kind: mark_choices.next_kind()
    contact_radius_mm: mark_choices.next_radius()
    show_areas: bpy.props.BoolProperty(
        name="Show Areas",
        description=(
            "Draw the areas over the crown, each in a colour of its own, with the margin line and "
            "the circles of support marks. A key takes the place of the deviations' legend. "
            "Nothing of the scene is changed"
        ),
        update=_overlay_changed,
    )
    show_margin: bpy.props.BoolProperty(
        name="Show Margin Line",
        description=(
            "Draw the margin line over the crown, coloured by its own deviation place by place, "
            "with a yellow rim where it is beyond its limits. Nothing of the scene is changed"
        ),
        update=_margin_changed,
    )
    study: bpy.props.PointerProperty(
        name="Study",
        description="Choices about the study of all listed scans",
        type=StudySettings,
    )
    show_colours: bpy.props.BoolProperty(
        description="Whether the colour map is shown", options={"HIDDEN"}
    )
    views_before: bpy.props.StringProperty(
        description="How the views were shaded before the colour map", options={"HIDDEN"}
    )
    shown_limit_um: bpy.props.FloatProperty(
        description="Deviation at the ends of the colours shown, µm", options={"HIDDEN"}
    )
    share_clipped: bpy.props.FloatProperty(
        description="Share of the surface beyond the colours' limit", options={"HIDDEN"}
    )
    share_unmeasured: bpy.props.FloatProperty(
        description="Share of the surface that was not measured", options={"HIDDEN"}
    )


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
        name="Reason", description="Why the scan's results are stale"
    )
    file_notes: bpy.props.StringProperty(
        name="File", description="Size, unit and faults of the file that was imported"
    )
    superimposition: bpy.props.StringProperty(
        description="How well the scan lies on its design, as kept by Cuspwise"
    )
    pose_before: bpy.props.StringProperty(
        description="Where the scan lay before it was superimposed; Restore Pose goes back there"
    )
    result_id: bpy.props.StringProperty(
        description="Number of the result; the attributes with its deviations end in it"
    )
    result: bpy.props.StringProperty(description="The result in full, as kept by Cuspwise")
    result_points: bpy.props.PointerProperty(
        description="The points that were measured, with their deviations", type=bpy.types.Mesh
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
    contact_radius_mm: mark_choices.radius()
    marks_stale: bpy.props.BoolProperty(
        description="Whether support marks were edited since they were measured on this scan"
    )
    landmark: bpy.props.IntProperty(
        name="Landmark", description="Number of the pair that this landmark belongs to; 0: none"
    )
    caption: bpy.props.StringProperty(
        name="Caption", description="The words that stand beside this landmark or label"
    )
    margin_line: bpy.props.PointerProperty(
        name="Margin Line",
        description="The curve that is this design's margin line; edit it to move the margin",
        type=bpy.types.Object,
    )
    coloured: bpy.props.BoolProperty(
        description="Whether the object shows the colours of its deviations"
    )
    hidden_before: bpy.props.BoolProperty(
        description="Whether the object was hidden before the colour map"
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
        name="Reason", description="Why the study's results are stale"
    )
    study_entry: bpy.props.StringProperty(
        description="What the study holds of this scan, as kept by Cuspwise"
    )
    study_hidden: bpy.props.BoolProperty(
        description="Whether the scan is hidden while a map of the study is shown"
    )


class JobState(bpy.types.PropertyGroup):
    """What belongs to the session: it lives in the window manager and is neither saved nor undone.

    The job under way, and how the views were shaded before the colour map.
    """

    label: bpy.props.StringProperty(name="Step", description="What the job under way is doing")
    fraction: bpy.props.FloatProperty(
        name="Progress", description="Share of the job under way that is done, from 0 to 1"
    )
    running: bpy.props.BoolProperty(name="Running", description="Whether a job is under way")
    solid_before: bpy.props.StringProperty(
        description="How the views were shaded before the colour map, to follow undo"
    )


def take_defaults(scene):
    """Give a scene the preferences' defaults the first time it is worked in."""
    from .preferences import preferences

    settings = getattr(scene, SCENE_PROPERTIES)
    if settings.prepared:
        return
    settings.prepared = True
    chosen = preferences()
    if chosen is None:
        return
    for name in choices.DEFAULTED:
        setattr(settings, name, getattr(chosen, name))


CLASSES = (StudySettings, ScanItem, SceneSettings, SlotBefore, PatchItem, ObjectData, JobState)


def register():
    """Attach the properties to Blender's types."""
    for cls in CLASSES:
        bpy.utils.register_class(cls)
    setattr(bpy.types.Scene, SCENE_PROPERTIES, bpy.props.PointerProperty(type=SceneSettings))
    setattr(bpy.types.Object, OBJECT_PROPERTIES, bpy.props.PointerProperty(type=ObjectData))
    setattr(bpy.types.WindowManager, JOB_PROPERTIES, bpy.props.PointerProperty(type=JobState))


def unregister():
    """Detach the properties; what they hold stays in the file."""
    delattr(bpy.types.WindowManager, JOB_PROPERTIES)
    delattr(bpy.types.Object, OBJECT_PROPERTIES)
    delattr(bpy.types.Scene, SCENE_PROPERTIES)
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
