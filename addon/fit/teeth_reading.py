"""The other teeth as they were read from the scene, and the directions that they tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import bpy
import numpy as np

from ...standalone_core.areas.settings import AreaSettings
from ...standalone_core.errors import SettingError
from ...standalone_core.progress import Steps, scaled
from ..blender import bridge
from ..blender.session import mesh_of, scene_of
from .crown_chosen import teeth_of

if TYPE_CHECKING:
    from ...standalone_core.fit.contacts.mesial import Side
    from ...standalone_core.fit.contacts.result import ContactKind
    from ...standalone_core.mesh.triangle_mesh import TriangleMesh
    from .crown_reading import CrownInput


@dataclass(frozen=True, eq=False)
class ToothInput:
    """A tooth as it was read, in the design's frame.

    Attributes
    ----------
    mesh : TriangleMesh
        mm; named as the object.
    kind : "proximal" or "occlusal"
    side : "unknown", "mesial" or "distal"
    local_to_mm : (4, 4) float
    checksum : str
        Of the object's own mesh.
    """

    mesh: TriangleMesh
    kind: ContactKind
    side: Side
    local_to_mm: np.ndarray
    checksum: str


def read_steps(context: bpy.types.Context, crown: CrownInput) -> Steps[tuple[ToothInput, ...]]:
    """Read all teeth about a crown, as they lie now, step by step.

    Raises
    ------
    CuspwiseError
        What is wrong with one of them.
    """
    teeth, found = teeth_of(scene_of(context)), []
    crowns = [crown.design.design, crown.obj]
    for number, tooth in enumerate(teeth):
        begin, end = number / len(teeth), (number + 1) / len(teeth)
        if tooth.obj in crowns:
            raise SettingError(
                "It is the crown itself, not another tooth.",
                subject=tooth.obj.name,
                remedy="Take it out of neighbours and antagonist.",
            )
        bridge.check_usable(tooth.obj)
        checksum = yield from scaled(bridge.checksum_steps(mesh_of(tooth.obj)), begin, begin)
        where = crown.design.frame.shown_to_mm(tooth.obj)
        reading = bridge.read_mesh_steps(tooth.obj, where, context.evaluated_depsgraph_get())
        mesh = yield from scaled(reading, begin, end)
        found.append(ToothInput(mesh, tooth.kind, tooth.side, where, checksum))
    return tuple(found)


def directions_of(crown: CrownInput, teeth: Sequence[ToothInput]) -> AreaSettings:
    """Return the directions in the design's frame, as far as the neighbours tell them."""
    from ...standalone_core.fit.contacts.mesial import mesial_direction

    sides = [(tooth.mesh, tooth.side) for tooth in teeth]
    return AreaSettings(mesial_direction=mesial_direction(crown.design.mesh, sides))
