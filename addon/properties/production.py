"""What is said of how crowns were produced, and what is shown of causes."""

from __future__ import annotations

from typing import Any

import bpy

from ...standalone_core.causes.settings import WAYS, CausesSettings, ProductionFacts
from ...standalone_core.setting import declared_in
from ..drawing import build_arrow
from . import choices

_FACTS = declared_in(ProductionFacts)
_SCANNER = declared_in(CausesSettings)
WAY_TITLES = {
    "unknown": ("Not Known", "Nothing is taken for granted about how the crowns were made"),
    "milled": ("Milled", "Inside corners may be narrower than the bur that cut them"),
    "printed": ("Printed", "Fossae may be filled, layers may show, supports may have left marks"),
}
WAY_ITEMS = [(way, *WAY_TITLES[way]) for way in WAYS]


def _direction_changed(_production: Any, _context: bpy.types.Context) -> None:
    build_arrow.redraw()


class Production(bpy.types.PropertyGroup):
    """How the crowns of one group were produced, as far as it is known."""

    way: bpy.props.EnumProperty(
        name=_FACTS["way"].label,
        description=_FACTS["way"].meaning.rstrip("."),
        items=WAY_ITEMS,
    )
    build_direction: bpy.props.FloatVectorProperty(
        name=_FACTS["build_direction"].label,
        description=(
            f"{_FACTS['build_direction'].meaning} The design's frame is its own axes, so that it "
            "stays right when the design is turned. 0, 0, 0: not known"
        ),
        size=3,
        subtype="XYZ",
        precision=3,
        step=10,
        update=_direction_changed,
    )
    enlargement: choices.number(
        _FACTS["enlargement"], default=0.0, more="0: not known.", none=True, digits=4
    )
    enlargement_along_build: choices.number(
        _FACTS["enlargement_along_build"],
        title="Along Build",
        default=0.0,
        more="0: the same.",
        none=True,
        digits=4,
    )
    bur_radius_mm: choices.number(
        _FACTS["bur_radius_mm"],
        default=0.0,
        more="0: not known, it is searched.",
        none=True,
        digits=3,
    )


class CauseChoices(bpy.types.PropertyGroup):
    """Choices about the causes of deviations in a scene."""

    production: bpy.props.PointerProperty(
        name="Production",
        description="How the crowns without a group were produced",
        type=Production,
    )
    productions: bpy.props.CollectionProperty(
        name="Productions",
        description="How the crowns of each group were produced",
        type=Production,
    )
    scanner_is_known: bpy.props.BoolProperty(
        name="Scanner's Scale Known",
        description=(
            "Whether the scanner's own scale was measured with a calibrated part. While it is "
            "not known, a scale of the crown may be the scanner's"
        ),
    )
    scanner_scale_permille: choices.number(
        _SCANNER["scanner_scale_permille"], title="Too Large By", unit="‰", default=0.0, digits=2
    )
    scanner_scale_uncertainty_permille: choices.number(
        _SCANNER["scanner_scale_uncertainty_permille"],
        title="Uncertainty",
        unit="‰",
        digits=2,
    )
    map_key: bpy.props.StringProperty(
        description="Which map of causes is shown; none if empty", options={"HIDDEN"}
    )
    show_build_direction: bpy.props.BoolProperty(
        name="Show Build Direction",
        description=(
            "Draw the platform below the design, and an arrow along the build direction above "
            "it. Nothing of the scene is changed"
        ),
        default=True,
        update=_direction_changed,
    )


CLASSES = (Production, CauseChoices)
