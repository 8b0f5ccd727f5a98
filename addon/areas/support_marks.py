"""Support contacts on the design: vertex groups, so that Blender's own tools edit them.

A contact is an area whose vertex group is named “Area: support: …” or “Area: connector: …”. One
that was marked as a circle keeps centre and radius beside its group and is measured as exactly
that circle, however coarse the mesh is; once the group or the mesh is edited, the group counts.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ...standalone_core.areas.support_marks import (
    ContactKind,
    SupportContact,
    contact_area_name,
    contact_of,
    disc_points,
    is_support,
)
from ...standalone_core.errors import AreaError
from ...standalone_core.mesh.repair import repair_mesh
from ...standalone_core.mesh.triangle_mesh import TriangleMesh
from ..blender import bridge
from ..identifiers import AREA_GROUP_PREFIX, OBJECT_PROPERTIES
from . import groups as area_groups

NAME_LENGTH = 40  # Blender cuts the names of vertex groups off at 63 bytes, prefix and all


@dataclass(frozen=True, eq=False)
class Target:
    """A design made ready to have contacts marked on it.

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
    """Read a design to mark contacts on it.

    Raises
    ------
    CuspwiseError
        What is wrong with it and what to do.
    """
    bridge.check_usable(design)
    local_to_mm = bridge.frame_of(design, scene).local_to_mm(design)
    as_read = bridge.read_mesh_object(design, local_to_mm, depsgraph)
    repaired = repair_mesh(as_read).mesh
    return Target(design, local_to_mm, as_read, repaired, bridge.checksum(design.data))


# What there is -------------------------------------------------------------------------------


def contact_of_group(group: bpy.types.VertexGroup) -> tuple[ContactKind, str] | None:
    """Return kind and name of the contact that a vertex group is; None if it is not one."""
    if not group.name.startswith(AREA_GROUP_PREFIX):
        return None
    return contact_of(area_groups.area_name(group.name))


def names(design: bpy.types.Object) -> list[str]:
    """Return the area names of a design's contacts, in the order of its vertex groups."""
    groups = (g for g in design.vertex_groups if contact_of_group(g))
    return [area_groups.area_name(group.name) for group in groups]


def chosen(design: bpy.types.Object) -> str | None:
    """Return the area name of the contact chosen in the list; None if none is."""
    index = getattr(design, OBJECT_PROPERTIES).contact_index
    if not 0 <= index < len(design.vertex_groups):
        return None
    group = design.vertex_groups[index]
    return area_groups.area_name(group.name) if contact_of_group(group) else None


def circles(design: bpy.types.Object) -> dict[str, dict[str, Any]]:
    """Return what is kept of the contacts marked as circles, by area name, fresh or not.

    ``centre`` in the object's own coordinates, ``radius_mm``, and the fingerprints of ``mesh``
    and ``vertices`` that tell whether the contact still is that circle.
    """
    text = getattr(design, OBJECT_PROPERTIES).contact_circles
    kept: dict[str, dict[str, Any]] = json.loads(text) if text else {}
    return kept


def marked(
    design: bpy.types.Object,
    local_to_mm: np.ndarray,
    groups: Mapping[str, np.ndarray],
    mesh: str,
) -> tuple[SupportContact, ...]:
    """Return the contacts that are circles still, in the design's frame.

    Parameters
    ----------
    design : bpy.types.Object
    local_to_mm : (4, 4) float
    groups : mapping of area name to (k,) int
        The vertices of every contact's group.
    mesh : str
        Checksum of the object's own mesh.
    """
    kept = circles(design)
    if not kept:
        return ()
    found = []
    for area, vertices in groups.items():
        named = contact_of(area)
        circle = _circle_of(area, vertices, kept, groups) if named else None
        if named is None or circle is None or circle["mesh"] != mesh:
            continue
        centre = local_to_mm @ np.append(np.array(circle["centre"], dtype=np.float64), 1.0)
        x, y, z = centre[:3].tolist()
        found.append(SupportContact(named[1], (x, y, z), circle["radius_mm"], named[0]))
    return tuple(found)


def _circle_of(
    area: str,
    vertices: np.ndarray,
    kept: Mapping[str, dict[str, Any]],
    groups: Mapping[str, np.ndarray],
) -> dict[str, Any] | None:
    """Return the circle that a group is as it was written, also under another name."""
    now = area_groups.fingerprint(vertices)
    if area in kept:
        return kept[area] if kept[area]["vertices"] == now else None
    # Renamed in Blender's own list of vertex groups.
    lost = (c for name, c in kept.items() if name not in groups and c["vertices"] == now)
    return next(lost, None) if len(vertices) else None


def middle_mm(
    design: bpy.types.Object, area: str, frame: bridge.Frame
) -> tuple[float, float, float] | None:
    """Return the middle of a contact in the frame, mm; None if it holds no vertex."""
    circle = circles(design).get(area)
    if circle is not None:
        centre = np.array(circle["centre"])
    else:
        vertices = area_groups.read_groups(design)[area]
        if not len(vertices):
            return None
        centre = bridge.positions(design.data)[vertices].astype(np.float64).mean(axis=0)
    x, y, z = (frame.local_to_mm(design) @ np.append(centre, 1.0))[:3].tolist()
    return x, y, z


def checksum(design: bpy.types.Object, groups: Mapping[str, np.ndarray] | None = None) -> str:
    """Return a checksum of all contacts; empty if there are none.

    Reads every vertex's groups, if the vertices of every contact's group are not given.
    """
    if groups is None:
        groups = area_groups.read_groups(design) if names(design) else {}
    kept = circles(design)
    told = []
    for area, vertices in sorted(groups.items()):
        if contact_of(area):
            circle = _circle_of(area, vertices, kept, groups)
            told.append([area_groups.fingerprint(vertices), circle])
    return area_groups.fingerprint(np.frombuffer(json.dumps(told).encode(), np.uint8)) * bool(told)


def without_contacts(document: dict[str, Any]) -> dict[str, Any]:
    """Return a check's document in which contacts are told by their own rows alone.

    They can then be marked, renamed and measured anew without touching anything else.
    """
    patches = [
        {**patch, "areas": _without_contacts(patch["areas"]) or ["whole"]}
        for patch in document["exceedances"]
    ]
    pieces = [
        {**piece, "areas": _without_contacts(piece["areas"])} for piece in document["unmatched"]
    ]
    rows = {
        part: [row for row in document[part] if not is_support(row["area"])]
        for part in ("measures", "verdicts")
    }
    return {**document, **rows, "exceedances": patches, "unmatched": pieces}


def _without_contacts(names: Iterable[str]) -> list[str]:
    return [name for name in names if not is_support(name)]


# What is done to them ------------------------------------------------------------------------


def mark(
    on: Target, centre: np.ndarray, radius_mm: float, kind: ContactKind, name: str = ""
) -> str:
    """Mark a round contact; return its area name.

    Parameters
    ----------
    on : Target
    centre : (3,) float
        In the object's own coordinates, on its surface.
    radius_mm : float
    kind : {"support", "connector"}
    name : str
        The next free number if it is empty.

    Raises
    ------
    AreaError
        The place is off the surface.
    """
    area = contact_area_name(kind, unique_name(on.design, name))
    _write_circle(on, area, centre, radius_mm)
    _choose(on.design, area)
    return area


def resize(on: Target, area: str, radius_mm: float) -> None:
    """Give a contact that was marked as a circle another radius."""
    _write_circle(on, area, np.array(circles(on.design)[area]["centre"]), radius_mm)


def assign(design: bpy.types.Object, vertices: np.ndarray, kind: ContactKind) -> str:
    """Make a contact of some vertices; return its area name."""
    area = contact_area_name(kind, unique_name(design))
    area_groups.write_group(design, area_groups.group_name(area), vertices)
    _choose(design, area)
    return area


def remove(design: bpy.types.Object, area: str) -> None:
    """Delete a contact, and choose another one."""
    before = names(design)
    design.vertex_groups.remove(design.vertex_groups[area_groups.group_name(area)])
    kept = circles(design)
    kept.pop(area, None)
    _keep_circles(design, kept)
    left = [name for name in before if name != area]
    if left:
        _choose(design, left[min(before.index(area), len(left) - 1)])


def rename(design: bpy.types.Object, area: str, kind: ContactKind, name: str) -> str:
    """Give a contact another kind or name; return its new area name."""
    new = contact_area_name(kind, name)
    if new == area:
        return area
    own = contact_of(area)
    others = {found[1] for n in names(design) if n != area and (found := contact_of(n))}
    if name in others or own is None:
        new = contact_area_name(kind, unique_name(design, name))
    design.vertex_groups[area_groups.group_name(area)].name = area_groups.group_name(new)
    kept = circles(design)
    if area in kept:
        kept[new] = kept.pop(area)
        _keep_circles(design, kept)
    return new


def forget_edited_circles(design: bpy.types.Object, groups: Mapping[str, np.ndarray]) -> None:
    """Drop the circles of contacts that were painted, deleted or renamed since.

    ``groups`` are the vertices of every contact's group.
    """
    kept = circles(design)
    fresh = {}
    for area, vertices in groups.items():
        circle = _circle_of(area, vertices, kept, groups) if contact_of(area) else None
        if circle is not None:
            fresh[area] = circle
    if fresh != kept:
        _keep_circles(design, fresh)


def unique_name(design: bpy.types.Object, wish: str = "") -> str:
    """Return a name that no contact of the design has: the wish, or a number."""
    taken = {found[1] for name in names(design) if (found := contact_of(name))}
    wish = wish.strip()
    if wish and wish not in taken:
        return wish
    stem = f"{wish} " if wish else ""
    return next(f"{stem}{k}" for k in range(1, len(taken) + 2) if f"{stem}{k}" not in taken)


def _write_circle(on: Target, area: str, centre: np.ndarray, radius_mm: float) -> None:
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
        "vertices": area_groups.fingerprint(vertices),
    }
    _keep_circles(on.design, kept)


def _keep_circles(design: bpy.types.Object, kept: Mapping[str, Any]) -> None:
    getattr(design, OBJECT_PROPERTIES).contact_circles = json.dumps(kept) if kept else ""


def _choose(design: bpy.types.Object, area: str) -> None:
    """Choose a contact in the list and for painting, without moving the view."""
    data = getattr(design, OBJECT_PROPERTIES)
    data.contact_quiet = True
    data.contact_index = design.vertex_groups[area_groups.group_name(area)].index
    data.contact_quiet = False
    design.vertex_groups.active_index = data.contact_index
