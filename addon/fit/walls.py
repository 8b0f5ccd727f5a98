"""From a crown of the scene to its walls, and what is kept of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.areas.settings import AreaSettings
from ...standalone_core.errors import AreaError
from ...standalone_core.fit.sentences import wall_lines, walls_headline
from ...standalone_core.fit.settings import WallSettings
from ...standalone_core.progress import Progress, Steps, scaled
from ...standalone_core.records import plain
from ...standalone_core.report.fit.colours import required_of, wall_limit_mm
from ...standalone_core.setting import refuse_implausible
from ..blender.session import scene_of, settings_of
from ..check.scene_choices import SWITCH
from ..identifiers import SCENE_PROPERTIES, WALL_ATTRIBUTE
from . import crown_reading, made_with, teeth_reading
from .kept_part import KeptPart

if TYPE_CHECKING:
    from ...standalone_core.fit.crown import FitCrown
    from ...standalone_core.fit.walls.result import Walls
    from .crown_reading import CrownInput
    from .teeth_reading import ToothInput

WALLS = KeptPart("walls", WALL_ATTRIBUTE)
SPARE = "spare"
"""The map beside that of the thickness: how much thicker than required, mm."""


@dataclass(frozen=True, eq=False)
class ToMeasure:
    """What the walls are measured of and with."""

    crown: CrownInput
    choices: Mapping[str, Any]
    settings: WallSettings
    directions: AreaSettings
    teeth: tuple[ToothInput, ...]


@dataclass(frozen=True, eq=False)
class Measured:
    """A crown and its walls."""

    crown: FitCrown
    walls: Walls


def wall_settings(settings: Any) -> WallSettings:
    """Return what a scene asks of walls.

    Raises
    ------
    SettingError
        A number is hardly meant, and the scene does not take such.
    """
    made = WallSettings(**_limits(settings))
    if not settings.force:
        refuse_implausible(made, SWITCH, by_label=True)
    return made


def choices_of(settings: Any) -> dict[str, Any]:
    """Return what a scene's walls are measured with and held against, as plain data."""
    return {**_limits(settings), **crown_reading.choices_of(settings)}


def _limits(settings: Any) -> dict[str, Any]:
    names = ("least_axial_mm", "least_occlusal_mm")
    return {name: made_with.rounded(getattr(settings.teeth, name)) for name in names}


def read_steps(context: bpy.types.Context, scan: bpy.types.Object | None) -> Steps[ToMeasure]:
    """Read what is needed, step by step."""
    settings = wall_settings(settings_of(context))
    crown = yield from scaled(crown_reading.read_steps(context, scan), 0.0, 0.8)
    teeth = yield from scaled(teeth_reading.read_steps(context, crown), 0.8, 1.0)
    choices = choices_of(settings_of(context))
    return ToMeasure(crown, choices, settings, teeth_reading.directions_of(crown, teeth), teeth)


def measure_steps(read: ToMeasure) -> Steps[Measured]:
    """Measure the walls; those of a scan against its design's. Touches nothing of Blender's.

    Raises
    ------
    AreaError
        The crown has no intaglio, no margin line or no path of insertion.
    """
    from ...standalone_core.fit.walls.measuring import measure_walls_steps
    from ...standalone_core.fit.walls_alone import lost_walls_steps

    crown, scan = read.crown, read.crown.scan
    try:
        if scan is None:
            making = crown_reading.design_steps(crown.design, crown.choices, read.directions)
            ready = yield from scaled(making, 0.0, 0.4)
            measuring = measure_walls_steps(ready, read.settings)
            return Measured(ready, (yield from scaled(measuring, 0.4, 1.0)))
        none = AreaSettings()
        designing = crown_reading.design_steps(crown.design, crown.choices, none)
        design = yield from scaled(designing, 0.0, 0.25)
        ready = yield from scaled(crown_reading.scan_steps(scan, crown.choices, none), 0.25, 0.5)
        measuring = lost_walls_steps(ready, design, read.settings, read.directions)
        return Measured(ready, (yield from scaled(measuring, 0.5, 1.0)))
    except AreaError as error:
        raise _in_blenders_words(error, read) from error


def keep_steps(context: bpy.types.Context, read: ToMeasure, found: Measured) -> Steps[str]:
    """Keep what was measured; return its headline."""
    walls, evaluation = found.walls, found.crown.evaluation
    required = required_of(walls, dict(found.crown.parts), len(evaluation.points))
    maps = {"": walls.thickness_mm, SPARE: walls.thickness_mm - required}
    carried = {}
    for key, values in maps.items():
        yield Progress("Carrying the map to the crown", 0.0)
        carried[key] = read.crown.at_vertices(evaluation, values)
    document = {
        "headline": plain(walls_headline(walls)),
        "lines": wall_lines(walls),
        "warnings": list(walls.warnings),
        "limit_mm": wall_limit_mm(walls.thickness_mm),
        "places": _places(read, walls),
        "areas": plain(walls.areas),
        "made_with": _made_with(context, read),
    }
    yield from WALLS.keep_steps(read.crown.obj, document, carried)
    return str(walls_headline(walls).title)


def _made_with(context: bpy.types.Context, read: ToMeasure) -> dict[str, Any]:
    crown = read.crown
    parts = made_with.involved(crown.obj, scene_of(context), None)
    checksums = {crown.obj: crown.checksum, crown.design.design: crown.design.checksum}
    return made_with.document(read.choices, parts, [checksums[one.obj] for one in parts])


def _places(read: ToMeasure, walls: Walls) -> list[dict[str, Any]]:
    """Return the thinnest places as plain data, each where it lies on the object itself."""
    required = {row.area: row.required_mm for row in walls.areas}
    thin = {row.area: not row.within for row in walls.areas}
    to_local = np.linalg.inv(read.crown.local_to_mm)
    return [
        {
            "local": (to_local @ np.append(place.place_mm, 1.0))[:3].tolist(),
            "thickness_mm": place.thickness_mm,
            "required_mm": required[place.area],
            "thin": thin[place.area] and place.thickness_mm < required[place.area],
            "where": place.where,
        }
        for place in walls.thinnest
    ]


def _in_blenders_words(error: AreaError, read: ToMeasure) -> AreaError:
    remedy = "Take a crown with its inner surface."
    if read.crown.scan is None:
        remedy = f"{remedy[:-1]}, or paint its intaglio and edit its margin line under Areas."
    return AreaError(error.reason, subject=read.crown.mesh.name, remedy=remedy)


def why_out_of_date(crown: bpy.types.Object, scene: bpy.types.Scene) -> str:
    """Say why the walls kept no longer belong to what is shown; empty if they do. Cheap."""
    choices = choices_of(getattr(scene, SCENE_PROPERTIES))
    return made_with.why_out_of_date(WALLS, crown, scene, choices, with_teeth=False)
