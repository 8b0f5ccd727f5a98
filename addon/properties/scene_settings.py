"""What a scene chooses: design, scans, how they are superimposed, measured and shown."""

from typing import Any

import bpy

from ..blender.session import scene_of
from ..blender.units import AUTO, UNIT_CHOICES
from ..causes import production
from ..drawing import colour_map, looking, overlay
from ..fit import on_die
from . import area_rows, choices, mark_choices, setting_groups
from .crown_choices import CrownChoices
from .defaults import take_defaults
from .fit_choices import FitChoices
from .looked_at import LookedAt
from .mark_limits import MarkLimits
from .patch_choices import PatchChoices
from .production import CauseChoices
from .setting_groups import limits_changed as _tolerances_changed
from .setting_groups import measuring_changed
from .study_choices import StudySettings
from .teeth import TeethChoices

SHOWN = (
    ("SCAN", "Scan", "Show the coloured scan alone; the design would shine through it"),
    ("DESIGN", "Design", "Show the coloured design alone"),
    ("BOTH", "Both", "Show both, one inside the other"),
)


def _is_mesh(_settings: Any, obj: bpy.types.Object) -> bool:
    return obj.type == "MESH"


def _design_chosen(settings: Any, context: bpy.types.Context) -> None:
    take_defaults(scene_of(context))
    settings.fit.lies_on_die = on_die.are_together(scene_of(context), settings.fit.die)


def _colours_changed(_settings: Any, context: bpy.types.Context) -> None:
    colour_map.refresh(scene_of(context))


def _scan_chosen(_settings: Any, context: bpy.types.Context) -> None:
    looking.forget(scene_of(context))
    colour_map.refresh(scene_of(context))


def _overlay_changed(settings: Any, _context: bpy.types.Context) -> None:
    if settings.show_areas:
        settings.show_margin = False  # one key is shown at a time
    overlay.refresh()


def _marks_changed(_settings: Any, _context: bpy.types.Context) -> None:
    overlay.redraw()


def _margin_changed(settings: Any, _context: bpy.types.Context) -> None:
    if settings.show_margin:
        settings.show_areas = False
    overlay.redraw()


def _directions_changed(_settings: Any, _context: bpy.types.Context) -> None:
    overlay.redraw()


def _group_named(item: Any, context: bpy.types.Context) -> None:
    production.make_room(scene_of(context), item.group)


class ScanItem(bpy.types.PropertyGroup):
    """One row of the list of scans."""

    scan: bpy.props.PointerProperty(
        name="Scan", description="The scan of one produced crown", type=bpy.types.Object
    )
    group: bpy.props.StringProperty(
        name="Group",
        description="Crowns produced the same way share a group",
        update=_group_named,
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
        name="Scan", description="The scan to work on", update=_scan_chosen
    )
    unit: bpy.props.EnumProperty(
        name="Unit",
        description="How long one unit of this scene is; results are in µm whatever it is",
        items=UNIT_CHOICES,
        default=AUTO,
        update=measuring_changed,
    )
    start: choices.start(measuring_changed)
    fit_area: choices.fit_area(measuring_changed)
    fit_areas: bpy.props.CollectionProperty(
        name="Areas to Fit On",
        description="The areas that the scan is laid on",
        type=area_rows.FitArea,
    )
    superimpose: setting_groups.pointer("superimpose")
    doubt: setting_groups.pointer("doubt")
    areas: setting_groups.pointer("areas")
    spacing_mm: choices.spacing(measuring_changed)
    search_mm: choices.search(measuring_changed)
    points: setting_groups.pointer("points")
    verdicts: setting_groups.pointer("verdicts")
    tolerance_whole_um: choices.tolerance("tolerance_whole_um", _tolerances_changed)
    tolerance_occlusal_um: choices.tolerance("tolerance_occlusal_um", _tolerances_changed)
    tolerance_margin_um: choices.tolerance("tolerance_margin_um", _tolerances_changed)
    tolerances: bpy.props.CollectionProperty(
        name="Tolerances",
        description="The tolerances of further areas, your own among them",
        type=area_rows.AreaTolerance,
    )
    scanner_um: choices.scanner(_tolerances_changed)
    scanners: bpy.props.CollectionProperty(
        name="Scanner by Area",
        description="The scanner's uncertainty in single areas",
        type=area_rows.AreaScanner,
    )
    max_unmatched_um: choices.limit("max_unmatched_um", _tolerances_changed)
    max_unmatched_mm2: choices.limit("max_unmatched_mm2", _tolerances_changed)
    max_missing_mm: choices.limit("max_missing_mm", _tolerances_changed)
    force: choices.force(_tolerances_changed)
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
    mark_radius_mm: mark_choices.next_radius()
    support_marks: bpy.props.PointerProperty(
        name="Support Marks",
        description="When a support mark counts as a stub or a gouge",
        type=MarkLimits,
    )
    teeth: bpy.props.PointerProperty(
        name="Teeth",
        description="Choices about walls, contacts with other teeth, and the section plane",
        type=TeethChoices,
    )
    show_areas: bpy.props.BoolProperty(
        name="Show Areas",
        description=(
            "Draw the areas over the crown, each in a colour of its own, with the margin line and "
            "the circles of support marks. A key takes the place of the deviations' legend. "
            "Nothing of the scene is changed"
        ),
        update=_overlay_changed,
    )
    show_directions: bpy.props.BoolProperty(
        name="Show Directions",
        description=(
            "Draw an arrow towards mesial, one towards buccal and one along the path of insertion, "
            "as far as they are known. Nothing of the scene is changed"
        ),
        default=True,
        update=_directions_changed,
    )
    show_marks: bpy.props.BoolProperty(
        name="Show Circles",
        description=(
            "Draw the circles of support marks over the crown, also while the areas are not drawn"
        ),
        default=True,
        update=_marks_changed,
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
    crowns: bpy.props.PointerProperty(
        name="All Crowns",
        description="Choices about the table of all crowns",
        type=CrownChoices,
    )
    causes: bpy.props.PointerProperty(
        name="Causes",
        description="Choices about the causes of deviations",
        type=CauseChoices,
    )
    fit: bpy.props.PointerProperty(
        name="Fit",
        description="Choices about how crowns fit on their die",
        type=FitChoices,
    )
    show_colours: bpy.props.BoolProperty(
        description="Whether the colour map is shown", options={"HIDDEN"}
    )
    views_before: bpy.props.StringProperty(
        description="How the views were shaded before the colour map", options={"HIDDEN"}
    )
    patches: bpy.props.PointerProperty(
        name="Patches",
        description="How the list of patches is sorted, and which it shows",
        type=PatchChoices,
    )
    place: bpy.props.PointerProperty(
        name="Place", description="The place that is looked at", type=LookedAt
    )
    shown_limit_um: bpy.props.FloatProperty(
        name="Limit (µm)",
        description="Deviation at the ends of the colours shown, µm",
        precision=1,
        options={"HIDDEN"},
    )
    share_clipped: bpy.props.FloatProperty(
        description="Share of the surface beyond the colours' limit", options={"HIDDEN"}
    )
    share_unmeasured: bpy.props.FloatProperty(
        description="Share of the surface that was not measured", options={"HIDDEN"}
    )


CLASSES = (MarkLimits, ScanItem, CrownChoices, LookedAt, PatchChoices, SceneSettings)
