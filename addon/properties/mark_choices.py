"""Choices about support marks: for the next one to be marked, and of the one in the list."""

from __future__ import annotations

from typing import Any

import bpy

from ...standalone_core.areas.support_marks import MARK_KINDS, SupportMark, mark_of
from ...standalone_core.errors import CuspwiseError
from ...standalone_core.setting import declared_in
from ..areas import support_marks
from ..blender.session import scene_of
from ..check import mark_results
from ..drawing import framing
from ..identifiers import OBJECT_PROPERTIES

KINDS = (
    (
        "support",
        "Printing Support",
        "A printing support stood here: what is left of it is a stub, what was torn out a gouge",
    ),
    (
        "sprue",
        "Sprue or Holding Bar",
        "A sprue, or the bar that held a milled crown in its blank, was cut off here",
    ),
)
_RADIUS = declared_in(SupportMark)["radius_mm"]
assert _RADIUS.plausible is not None  # as declared
SMALLEST_MM, LARGEST_MM = _RADIUS.plausible
RADIUS_OPTIONS: dict[str, Any] = {
    "min": SMALLEST_MM,
    "max": LARGEST_MM,
    "soft_max": 2.0,
    "precision": 2,
    "step": 5,
    "default": 0.5,
}


def next_kind() -> Any:
    """Return the property that holds the kind of the next mark."""
    return bpy.props.EnumProperty(
        name="Next Kind", description="What touched the crown at the next mark", items=KINDS
    )


def next_radius() -> Any:
    """Return the property that holds the radius of the next mark."""
    return bpy.props.FloatProperty(
        name="Next Radius (mm)",
        description=(
            "How far the next mark reaches along the surface, in mm. Make it a little larger "
            "than what was left standing; the wheel changes it while marking"
        ),
        **RADIUS_OPTIONS,
    )


def index() -> Any:
    """Return the property that holds the row chosen in the list of marks."""
    return bpy.props.IntProperty(
        name="Mark",
        description="Click a support mark to bring it into view and to paint its vertex group",
        update=_chosen,
    )


def name() -> Any:
    """Return the property that is the name of the mark chosen."""
    return bpy.props.StringProperty(
        name="Name",
        description="What this mark is called in the tables; a name that is taken gets a number",
        maxlen=support_marks.NAME_LENGTH,
        get=_get_name,
        set=_set_name,
    )


def kind() -> Any:
    """Return the property that is the kind of the mark chosen."""
    return bpy.props.EnumProperty(
        name="Kind",
        description="What touched the crown here",
        items=KINDS,
        get=_get_kind,
        set=_set_kind,
    )


def radius() -> Any:
    """Return the property that is the radius of the mark chosen."""
    return bpy.props.FloatProperty(
        name="Radius (mm)",
        description=(
            "How far this mark reaches along the surface, in mm. Press Measure Marks afterwards"
        ),
        get=_get_radius,
        set=_set_radius,
        **{key: value for key, value in RADIUS_OPTIONS.items() if key != "default"},
    )


def _chosen(data: Any, context: bpy.types.Context) -> None:
    design, area = data.id_data, support_marks.chosen(data.id_data)
    if data.mark_quiet or area is None:
        return
    design.vertex_groups.active_index = data.mark_index
    framing.frame_mark(context, design, area)


def _get_name(data: Any) -> str:
    found = mark_of(support_marks.chosen(data.id_data) or "")
    return found[1] if found else ""


def _set_name(data: Any, value: str) -> None:
    area = support_marks.chosen(data.id_data)
    found = mark_of(area or "")
    if area is not None and found is not None and value.strip():
        _rename(data.id_data, area, found[0], value.strip())


def _get_kind(data: Any) -> int:
    found = mark_of(support_marks.chosen(data.id_data) or "")
    return MARK_KINDS.index(found[0]) if found else 0


def _set_kind(data: Any, value: int) -> None:
    area = support_marks.chosen(data.id_data)
    found = mark_of(area or "")
    if area is not None and found is not None:
        _rename(data.id_data, area, MARK_KINDS[value], found[1])


def _rename(design: bpy.types.Object, area: str, kind: Any, name: str) -> None:
    new = support_marks.rename(design, area, kind, name)
    mark_results.renamed(design, area, new)


def _get_radius(data: Any) -> float:
    circle = support_marks.circles(data.id_data).get(support_marks.chosen(data.id_data) or "")
    return float(circle["radius_mm"]) if circle else 0.0


def _set_radius(data: Any, value: float) -> None:
    design, area = data.id_data, support_marks.chosen(data.id_data)
    if area not in support_marks.circles(design):
        return
    context = bpy.context
    try:
        on = support_marks.target(design, scene_of(context), context.evaluated_depsgraph_get())
        support_marks.resize(on, area, value)
    except CuspwiseError:
        return  # The design cannot be read just now: the circle stays as it was.
    mark_edited(design, scene_of(context))


def mark_edited(design: bpy.types.Object, scene: bpy.types.Scene) -> None:
    """Say on every measured scan that its marks were edited."""
    for scan in mark_results.measured_scans(design, scene):
        getattr(scan, OBJECT_PROPERTIES).marks_out_of_date = True
