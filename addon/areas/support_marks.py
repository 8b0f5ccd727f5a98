"""Support marks on the design: vertex groups, so that Blender's own tools edit them.

A mark is an area whose vertex group is named “Area: support: …” or “Area: sprue: …”. One
that was made as a circle keeps centre and radius beside its group and is measured as exactly
that circle, however coarse the mesh is; once the group or the mesh is edited, the group counts.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.areas.support_marks import (
    MarkKind,
    SupportMark,
    is_support,
    mark_area_name,
    mark_of,
)
from ...standalone_core.errors import AreaError
from ..blender import bridge, frames
from ..blender.session import mesh_of
from ..identifiers import AREA_GROUP_PREFIX, OBJECT_PROPERTIES
from . import area_groups

if TYPE_CHECKING:
    from ...standalone_core.mesh.triangle_mesh import TriangleMesh

NAME_LENGTH = 40  # Blender cuts the names of vertex groups off at 63 bytes, prefix and all


@dataclass(frozen=True, eq=False)
class Target:
    """A design made ready for marking.

    Attributes
    ----------
    design : bpy.types.Object
    local_to_mm : (4, 4) float
        From the object's own coordinates to the design's frame, mm.
    as_read : TriangleMesh
        In the frame, vertex for vertex the object's.
    repaired : TriangleMesh
        The same after repair, whose faces hang together.
    checksum : str
        Of the object's own mesh.
    """

    design: bpy.types.Object
    local_to_mm: np.ndarray
    as_read: TriangleMesh
    repaired: TriangleMesh
    checksum: str


def target(design: bpy.types.Object, scene: bpy.types.Scene, depsgraph: Any) -> Target:
    """Read a design to make marks on it.

    Raises
    ------
    CuspwiseError
        What is wrong with it and what to do.
    """
    from ...standalone_core.checked_mesh import checked_surface

    bridge.check_usable(design)
    local_to_mm = frames.frame_of(design, scene).local_to_mm(design)
    as_read = bridge.read_mesh_object(design, local_to_mm, depsgraph)
    repaired = checked_surface(as_read).mesh
    return Target(design, local_to_mm, as_read, repaired, bridge.checksum(mesh_of(design)))


# What there is -------------------------------------------------------------------------------


def mark_of_group(group: bpy.types.VertexGroup) -> tuple[MarkKind, str] | None:
    """Return kind and name of the mark that a vertex group is; None if it is not one."""
    if not group.name.startswith(AREA_GROUP_PREFIX):
        return None
    return mark_of(area_groups.area_name(group.name))


def names(design: bpy.types.Object) -> list[str]:
    """Return the area names of a design's marks, in the order of its vertex groups."""
    groups = (g for g in design.vertex_groups if mark_of_group(g))
    return [area_groups.area_name(group.name) for group in groups]


def chosen(design: bpy.types.Object) -> str | None:
    """Return the area name of the mark chosen in the list; None if none is."""
    index = getattr(design, OBJECT_PROPERTIES).mark_index
    if not 0 <= index < len(design.vertex_groups):
        return None
    group = design.vertex_groups[index]
    return area_groups.area_name(group.name) if mark_of_group(group) else None


def circles(design: bpy.types.Object) -> dict[str, dict[str, Any]]:
    """Return what is kept of the marks made as circles, by area name, fresh or not.

    ``centre`` in the object's own coordinates, ``radius_mm``, and the fingerprints of ``mesh``
    and ``vertices`` that tell whether the mark still is that circle.
    """
    text = getattr(design, OBJECT_PROPERTIES).mark_circles
    kept: dict[str, dict[str, Any]] = json.loads(text) if text else {}
    return kept


def marked(
    design: bpy.types.Object,
    local_to_mm: np.ndarray,
    groups: Mapping[str, np.ndarray],
    mesh: str,
) -> tuple[SupportMark, ...]:
    """Return the marks that are circles still, in the design's frame.

    Parameters
    ----------
    design : bpy.types.Object
    local_to_mm : (4, 4) float
    groups : mapping of area name to (k,) int
        The vertices of every mark's group.
    mesh : str
        Checksum of the object's own mesh.
    """
    kept = circles(design)
    if not kept:
        return ()
    found = []
    for area, vertices in groups.items():
        named = mark_of(area)
        circle = _circle_of(area, vertices, kept, groups) if named else None
        if named is None or circle is None or circle["mesh"] != mesh:
            continue
        centre = local_to_mm @ np.append(np.array(circle["centre"], dtype=np.float64), 1.0)
        x, y, z = centre[:3].tolist()
        found.append(SupportMark(named[1], (x, y, z), circle["radius_mm"], named[0]))
    return tuple(found)


def _circle_of(
    area: str,
    vertices: np.ndarray,
    kept: Mapping[str, dict[str, Any]],
    groups: Mapping[str, np.ndarray],
) -> dict[str, Any] | None:
    """Return the circle that a group is as it was written, also under another name."""
    now = bridge.fingerprint(vertices)
    if area in kept:
        return kept[area] if kept[area]["vertices"] == now else None
    # Renamed in Blender's own list of vertex groups.
    lost = (c for name, c in kept.items() if name not in groups and c["vertices"] == now)
    return next(lost, None) if len(vertices) else None


def middle_mm(
    design: bpy.types.Object, area: str, frame: frames.Frame
) -> tuple[float, float, float] | None:
    """Return the middle of a mark in the frame, mm; None if it holds no vertex."""
    circle = circles(design).get(area)
    if circle is not None:
        centre = np.array(circle["centre"])
    else:
        vertices = area_groups.read_groups(design)[area]
        if not len(vertices):
            return None
        centre = bridge.positions(mesh_of(design))[vertices].astype(np.float64).mean(axis=0)
    x, y, z = (frame.local_to_mm(design) @ np.append(centre, 1.0))[:3].tolist()
    return x, y, z


def checksum(design: bpy.types.Object, groups: Mapping[str, np.ndarray] | None = None) -> str:
    """Return a checksum of all marks; empty if there are none.

    Reads every vertex's groups, if the vertices of every mark's group are not given.
    """
    if groups is None:
        groups = area_groups.read_groups(design) if names(design) else {}
    kept = circles(design)
    parts = []
    for area, vertices in sorted(groups.items()):
        if mark_of(area):
            circle = _circle_of(area, vertices, kept, groups)
            parts.append([bridge.fingerprint(vertices), circle])
    return bridge.fingerprint(np.frombuffer(json.dumps(parts).encode(), np.uint8)) * bool(parts)


def without_marks(document: dict[str, Any]) -> dict[str, Any]:
    """Return a check's document in which marks have their own rows alone.

    They can then be marked, renamed and measured anew without touching anything else.
    """
    patches = [
        {**patch, "areas": _without_marks(patch["areas"]) or ["whole"]}
        for patch in document["patches"]
    ]
    pieces = [{**piece, "areas": _without_marks(piece["areas"])} for piece in document["unmatched"]]
    rows = {
        part: [row for row in document[part] if not is_support(row["area"])]
        for part in ("measures", "verdicts")
    }
    return {**document, **rows, "patches": patches, "unmatched": pieces}


def _without_marks(names: Iterable[str]) -> list[str]:
    return [name for name in names if not is_support(name)]


# What is done to them ------------------------------------------------------------------------


def mark(on: Target, centre: np.ndarray, radius_mm: float, kind: MarkKind, name: str = "") -> str:
    """Make a round mark; return its area name.

    Parameters
    ----------
    on : Target
    centre : (3,) float
        In the object's own coordinates, on its surface.
    radius_mm : float
    kind : {"support", "sprue"}
    name : str
        The next free number if it is empty.

    Raises
    ------
    AreaError
        The place is off the surface.
    """
    area = mark_area_name(kind, unique_name(on.design, name))
    _write_circle(on, area, centre, radius_mm)
    _choose(on.design, area)
    return area


def resize(on: Target, area: str, radius_mm: float) -> None:
    """Give a mark that was made as a circle another radius."""
    _write_circle(on, area, np.array(circles(on.design)[area]["centre"]), radius_mm)


def assign(design: bpy.types.Object, vertices: np.ndarray, kind: MarkKind) -> str:
    """Make a mark of some vertices; return its area name."""
    area = mark_area_name(kind, unique_name(design))
    area_groups.write_group(design, area_groups.group_name(area), vertices)
    _choose(design, area)
    return area


def remove(design: bpy.types.Object, area: str) -> None:
    """Delete a mark, and choose another one."""
    before = names(design)
    design.vertex_groups.remove(design.vertex_groups[area_groups.group_name(area)])
    kept = circles(design)
    kept.pop(area, None)
    _keep_circles(design, kept)
    left = [name for name in before if name != area]
    if left:
        _choose(design, left[min(before.index(area), len(left) - 1)])


def rename(design: bpy.types.Object, area: str, kind: MarkKind, name: str) -> str:
    """Give a mark another kind or name; return its new area name."""
    new = mark_area_name(kind, name)
    if new == area:
        return area
    own = mark_of(area)
    others = {found[1] for n in names(design) if n != area and (found := mark_of(n))}
    if name in others or own is None:
        new = mark_area_name(kind, unique_name(design, name))
    design.vertex_groups[area_groups.group_name(area)].name = area_groups.group_name(new)
    kept = circles(design)
    if area in kept:
        kept[new] = kept.pop(area)
        _keep_circles(design, kept)
    return new


def forget_edited_circles(design: bpy.types.Object, groups: Mapping[str, np.ndarray]) -> None:
    """Drop the circles of marks that were painted, deleted or renamed since.

    ``groups`` are the vertices of every mark's group.
    """
    kept = circles(design)
    fresh = {}
    for area, vertices in groups.items():
        circle = _circle_of(area, vertices, kept, groups) if mark_of(area) else None
        if circle is not None:
            fresh[area] = circle
    if fresh != kept:
        _keep_circles(design, fresh)


def unique_name(design: bpy.types.Object, wanted: str = "") -> str:
    """Return a name that no mark of the design has: the one wanted, or a number."""
    taken = {found[1] for name in names(design) if (found := mark_of(name))}
    wanted = wanted.strip()
    if wanted and wanted not in taken:
        return wanted
    stem = f"{wanted} " if wanted else ""
    return next(f"{stem}{k}" for k in range(1, len(taken) + 2) if f"{stem}{k}" not in taken)


def _write_circle(on: Target, area: str, centre: np.ndarray, radius_mm: float) -> None:
    from ...standalone_core.areas.mark_discs import disc_points

    centre_mm = (on.local_to_mm @ np.append(centre.astype(np.float64), 1.0))[:3]
    try:
        inside = disc_points(on.repaired, centre_mm, radius_mm)
    except AreaError as error:
        raise AreaError(error.reason, subject=on.design.name, remedy=error.remedy) from error
    carried = bridge.carried_to(
        on.as_read.vertices, on.repaired.vertices, inside.astype(np.float64)
    )
    vertices = np.flatnonzero(carried >= area_groups.INSIDE)
    area_groups.write_group(on.design, area_groups.group_name(area), vertices)
    kept = circles(on.design)
    kept[area] = {
        "centre": [float(x) for x in centre],
        "radius_mm": float(f"{radius_mm:.6g}"),  # Blender keeps float32
        "mesh": on.checksum,
        "vertices": bridge.fingerprint(vertices),
    }
    _keep_circles(on.design, kept)


def _keep_circles(design: bpy.types.Object, kept: Mapping[str, Any]) -> None:
    getattr(design, OBJECT_PROPERTIES).mark_circles = json.dumps(kept) if kept else ""


def _choose(design: bpy.types.Object, area: str) -> None:
    """Choose a mark in the list and for painting, without moving the view."""
    data = getattr(design, OBJECT_PROPERTIES)
    data.mark_quiet = True
    data.mark_index = design.vertex_groups[area_groups.group_name(area)].index
    data.mark_quiet = False
    design.vertex_groups.active_index = data.mark_index
