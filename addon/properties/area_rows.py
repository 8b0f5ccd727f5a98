"""Lists of areas with a number each: tolerances, scanner, what the fit runs on, equivalence."""

from typing import Any

import bpy

from ...standalone_core.setting import declared_in
from ...standalone_core.study.plan import AnalysisPlan
from . import choices
from .setting_groups import limits_changed, measuring_changed


def _area(update: Any = None) -> Any:
    return bpy.props.StringProperty(
        name="Area",
        description="The area that this row is about, automatic or your own",
        update=update,
    )


class AreaTolerance(bpy.types.PropertyGroup):
    """The tolerance of an area that has no box of its own."""

    area: _area(limits_changed)
    um: choices.listed_limit("tolerances_um", limits_changed)


class AreaScanner(bpy.types.PropertyGroup):
    """The scanner's uncertainty in an area, where it is not that of all."""

    area: _area(limits_changed)
    um: choices.listed_limit("scanner_um", limits_changed)


class FitArea(bpy.types.PropertyGroup):
    """An area that the superimposition runs on."""

    area: _area(measuring_changed)


class AreaEquivalence(bpy.types.PropertyGroup):
    """The equivalence limit of an area, where it is not that of all."""

    area: _area()
    um: choices.number(declared_in(AnalysisPlan)["equivalence_um"], default=10.0)


CLASSES = (AreaTolerance, AreaScanner, FitArea, AreaEquivalence)
