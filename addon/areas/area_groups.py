"""Areas as vertex groups on the design, so that Blender's own painting tools edit them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Set
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.areas.area_set import AREA_NAMES, Area, AreaSet, MarginLine
from ...standalone_core.areas.settings import AreaSettings
from ...standalone_core.areas.support_marks import SUPPORTS, is_support, mark_of
from ...standalone_core.progress import Progress, Steps, run
from ...standalone_core.records import plain
from ...standalone_core.setting import declared_in
from ...standalone_core.words.names import area_words
from ..blender import bridge
from ..blender.session import mesh_of
from ..identifiers import AREA_GROUP_PREFIX, AREA_POINTS_NAME, OBJECT_PROPERTIES
from . import margin_curve

if TYPE_CHECKING:
    from ...standalone_core.mesh.refine import EvaluationMesh
    from ...standalone_core.mesh.triangle_mesh import TriangleMesh

AREAS_VERSION = 1
INSIDE = 0.5  # a vertex of at least this weight lies in the area
READ_AT_ONCE, WRITTEN_AT_ONCE = 5_000, 100_000  # vertices; about 30 ms


@dataclass(frozen=True, eq=False)
class UserAreas:
    """What somebody edited, added or loaded from a file.

    Attributes
    ----------
    vertices : mapping of area name to (k,) int
        The design object's own vertices in each area that was edited or added.
    loaded : mapping of area name to (k,) int
        The same of each area that is as it was loaded.
    document : mapping or None
        Content of the areas file that was loaded, with these areas alone; in the frame.
    margin_line : (k, 3) float or None
        The edited margin line in the design object's own coordinates.
    """

    vertices: Mapping[str, np.ndarray]
    loaded: Mapping[str, np.ndarray]
    document: Mapping[str, Any] | None
    margin_line: np.ndarray | None

    def __bool__(self) -> bool:
        """Tell whether there is anything of the user's."""
        return bool(self.vertices or self.loaded) or self.margin_line is not None

    @property
    def groups(self) -> dict[str, np.ndarray]:
        """The vertices of all these areas, support marks among them."""
        return {**self.vertices, **self.loaded}

    @property
    def checksum(self) -> str:
        """Checksum of all of it but support marks; empty if there is nothing."""
        if self.margin_line is None and all(mark_of(name) for name in self.groups):
            return ""
        digest = hashlib.blake2b(digest_size=16)
        for name, vertices in sorted(self.groups.items()):
            if mark_of(name):
                continue  # measured anew by themselves
            digest.update(f"{name}:{bridge.fingerprint(vertices)};".encode())
        if self.margin_line is not None:
            digest.update(bridge.fingerprint(self.margin_line).encode())
        return digest.hexdigest()


def group_name(area: str) -> str:
    """Return the name of an area's vertex group."""
    return AREA_GROUP_PREFIX + area_words(area)


def area_name(group: str) -> str:
    """Return the area that a vertex group of this name is."""
    words = group.removeprefix(AREA_GROUP_PREFIX)
    return next((name for name in AREA_NAMES if area_words(name) == words), words)


def found_areas(design: bpy.types.Object) -> dict[str, Any] | None:
    """Return what is known of the areas that were found on a design; None if none were."""
    text = getattr(design, OBJECT_PROPERTIES).areas
    document: dict[str, Any] | None = json.loads(text) if text else None
    return document if document and document["version"] == AREAS_VERSION else None


def user_areas(design: bpy.types.Object) -> UserAreas:
    """Return the areas and margin line that are not those found automatically."""
    return run(user_areas_steps(design))


def user_areas_steps(design: bpy.types.Object) -> Steps[UserAreas]:
    """Read as :func:`user_areas` does, step by step."""
    groups = yield from read_groups_steps(design)
    known = found_areas(design)
    fingerprints = {} if known is None else known["fingerprints"]
    edited = {
        name: vertices
        for name, vertices in groups.items()
        if fingerprints.get(name) != bridge.fingerprint(vertices)
    }
    line = margin_curve.read(design)
    if line is not None and (known is None or known["margin_line"] == bridge.fingerprint(line)):
        line = None
    document = _loaded_document(design, groups.keys() - edited.keys())
    held = () if document is None else document["areas"].keys() & groups.keys()
    loaded = {name: groups[name] for name in held}
    return UserAreas(edited, loaded, document, line)


def own_areas(
    edited: UserAreas, evaluation: EvaluationMesh, as_read: TriangleMesh, *, with_loaded: bool
) -> list[Area]:
    """Return the areas of somebody's own on the evaluation points.

    Parameters
    ----------
    edited : UserAreas
    evaluation : EvaluationMesh
        Of the design after repair.
    as_read : TriangleMesh
        The design as it was read, vertex for vertex.
    with_loaded : bool
        Also those that are as they were loaded, by their vertices.
    """
    found = []
    for name, vertices in {**edited.vertices, **(edited.loaded if with_loaded else {})}.items():
        inside = np.zeros(len(as_read.vertices))
        inside[vertices] = 1.0
        carried = bridge.carried_to(evaluation.design.vertices, as_read.vertices, inside)
        points = evaluation.interpolate(np.nan_to_num(carried)) >= INSIDE
        found.append(Area(name, points, origin="user"))
    return found


def own_margin_line(edited: UserAreas, local_to_mm: np.ndarray) -> MarginLine | None:
    """Return the edited margin line in the frame, mm; None if it was not edited."""
    if edited.margin_line is None:
        return None
    points = edited.margin_line @ local_to_mm[:3, :3].T + local_to_mm[:3, 3]
    return MarginLine(points, closed=True, origin="user")


def replace_areas_steps(
    design: bpy.types.Object, area_set: AreaSet, mesh: TriangleMesh, local_to_mm: np.ndarray
) -> Steps[None]:
    """Put areas loaded from a file in the place of all that were there.

    Parameters are those of :func:`write_areas`.
    """
    from ...standalone_core.areas.files import areas_document

    for group in [g for g in design.vertex_groups if g.name.startswith(AREA_GROUP_PREFIX)]:
        design.vertex_groups.remove(group)
    properties = getattr(design, OBJECT_PROPERTIES)
    properties.areas = ""
    automatic = replace(
        area_set,
        areas={name: replace(area, origin="automatic") for name, area in area_set.areas.items()},
    )
    if properties.margin_line is not None:
        properties.margin_line.data.splines.clear()
    nothing = UserAreas({}, {}, None, None)
    yield from write_areas_steps(design, automatic, mesh, local_to_mm, nothing)
    document = areas_document(area_set)
    points = document.pop("points_mm")
    properties.area_points = bridge.new_mesh(AREA_POINTS_NAME, np.array(points))
    properties.areas_document = json.dumps(document)


def _loaded_document(design: bpy.types.Object, unchanged: Set[str]) -> dict[str, Any] | None:
    """Return what was loaded from an areas file, with the areas that are still as they were."""
    properties = getattr(design, OBJECT_PROPERTIES)
    if not properties.areas_document or properties.area_points is None:
        return None
    document: dict[str, Any] = json.loads(properties.areas_document)
    if not unchanged & document["areas"].keys():
        return None
    kept = {n: entry for n, entry in document["areas"].items() if n in {*unchanged, "whole"}}
    places = bridge.positions(properties.area_points).astype(np.float64)
    return {**document, "areas": kept, "points_mm": places}


def write_areas(
    design: bpy.types.Object,
    area_set: AreaSet,
    mesh: TriangleMesh,
    local_to_mm: np.ndarray,
    edited: UserAreas | None = None,
) -> None:
    """Write the automatic areas as vertex groups and the margin line as a curve.

    Groups and lines that somebody edited stay as they are.

    Parameters
    ----------
    design : bpy.types.Object
    area_set : AreaSet
    mesh : TriangleMesh
        The design as it was read, vertex for vertex.
    local_to_mm : (4, 4) float
        From the object's own coordinates to the mesh's.
    edited : UserAreas, optional
        As they were read; read now if not given.
    """
    run(write_areas_steps(design, area_set, mesh, local_to_mm, edited))


def write_areas_steps(
    design: bpy.types.Object,
    area_set: AreaSet,
    mesh: TriangleMesh,
    local_to_mm: np.ndarray,
    edited: UserAreas | None = None,
) -> Steps[None]:
    """Write as :func:`write_areas` does, step by step."""
    if edited is None:
        edited = yield from user_areas_steps(design)
    known = found_areas(design)
    fingerprints: dict[str, str] = {} if known is None else dict(known["fingerprints"])
    _drop_missing(design, area_set, edited, fingerprints)
    for name, area in area_set.areas.items():
        if name in ("whole", SUPPORTS) or name in edited.vertices or area.origin != "automatic":
            continue
        inside = area.points[: len(area_set.evaluation.design.vertices)]
        carried = bridge.carried_to(
            mesh.vertices, area_set.evaluation.design.vertices, inside.astype(float)
        )
        vertices = np.flatnonzero(carried >= INSIDE)
        written, group = bridge.fingerprint(vertices), group_name(name)
        if written != fingerprints.get(name) or group not in design.vertex_groups:
            yield from write_group_steps(design, group, vertices)
        fingerprints[name] = written
    line = None if known is None else known["margin_line"]
    if edited.margin_line is None and area_set.margin_line is not None:
        points = _to_local(area_set.margin_line.points_mm, local_to_mm)
        line = margin_curve.write(design, points, area_set.margin_line.closed)
    document = {
        "version": AREAS_VERSION,
        "fingerprints": fingerprints,
        "margin_line": line,
        "margin_length_mm": area_set.margin_line.length_mm if area_set.margin_line else None,
        "size_mm2": {
            name: area_set.area_mm2(name) for name in area_set.areas if not is_support(name)
        },
        "missing": dict(area_set.missing),
        "warnings": list(area_set.warnings),
        "settings": made_by(area_set.settings),
        "insertion": plain(area_set.insertion),
        "edited": sorted(edited.vertices),
    }
    getattr(design, OBJECT_PROPERTIES).areas = json.dumps(document)


def made_by(settings: AreaSettings) -> dict[str, Any]:
    """Return what areas were found with, as plain data, where it is not the default."""
    declared = declared_in(AreaSettings)
    values = {name: getattr(settings, name) for name in declared}
    return {n: plain(value) for n, value in values.items() if value != declared[n].default}


def remove(design: bpy.types.Object, area: str) -> None:
    """Delete the vertex group of an area."""
    group = design.vertex_groups.get(group_name(area))
    if group is not None:
        design.vertex_groups.remove(group)


def without(edited: UserAreas, area: str) -> UserAreas:
    """Return what is somebody's own but for an area."""
    vertices = {name: own for name, own in edited.vertices.items() if name != area}
    loaded = {name: own for name, own in edited.loaded.items() if name != area}
    document = edited.document
    if document is not None:
        areas = {name: entry for name, entry in document["areas"].items() if name != area}
        document = {**document, "areas": areas}
    return replace(edited, vertices=vertices, loaded=loaded, document=document)


def _drop_missing(
    design: bpy.types.Object,
    area_set: AreaSet,
    edited: UserAreas,
    fingerprints: dict[str, str],
) -> None:
    """Delete the groups that were found before, are as they were found, and are found no more."""
    for name in set(fingerprints) - set(area_set.areas) - set(edited.groups):
        remove(design, name)
        del fingerprints[name]


def read_groups(design: bpy.types.Object) -> dict[str, np.ndarray]:
    """Return the vertices of every area's vertex group."""
    return run(read_groups_steps(design))


def read_groups_steps(design: bpy.types.Object) -> Steps[dict[str, np.ndarray]]:
    """Read as :func:`read_groups` does, step by step."""
    names = {
        group.index: area_name(group.name)
        for group in design.vertex_groups
        if group.name.startswith(AREA_GROUP_PREFIX)
    }
    found: dict[str, list[int]] = {name: [] for name in names.values()}
    count = len(mesh_of(design).vertices) if names else 0
    for begin in range(0, count, READ_AT_ONCE):
        yield Progress("Reading the areas", begin / count)
        for vertex in mesh_of(design).vertices[begin : begin + READ_AT_ONCE]:
            for member in vertex.groups:
                if member.group in names and member.weight >= INSIDE:
                    found[names[member.group]].append(vertex.index)
    return {name: np.array(vertices, dtype=np.int64) for name, vertices in found.items()}


def names(design: bpy.types.Object) -> list[str]:
    """Return the areas that a design has vertex groups of, in the order of its groups."""
    groups = (g.name for g in design.vertex_groups if g.name.startswith(AREA_GROUP_PREFIX))
    return [area_name(group) for group in groups]


def listing(design: bpy.types.Object) -> str:
    """Return which areas a design has, support marks apart, as text; reads no vertex."""
    return "\n".join(sorted(name for name in names(design) if not mark_of(name)))


def write_group(design: bpy.types.Object, name: str, vertices: np.ndarray) -> None:
    """Make a vertex group hold exactly these vertices."""
    run(write_group_steps(design, name, vertices))


def write_group_steps(design: bpy.types.Object, name: str, vertices: np.ndarray) -> Steps[None]:
    """Write as :func:`write_group` does, step by step."""
    progress = Progress("Writing the areas", 0.0)
    if name in design.vertex_groups:
        count = len(mesh_of(design).vertices)
        for begin in range(0, count, WRITTEN_AT_ONCE):
            end = min(begin + WRITTEN_AT_ONCE, count)
            design.vertex_groups[name].remove(range(begin, end))
            yield progress
    else:
        design.vertex_groups.new(name=name)
    for begin in range(0, len(vertices), WRITTEN_AT_ONCE):
        part = vertices[begin : begin + WRITTEN_AT_ONCE].tolist()
        design.vertex_groups[name].add(part, 1.0, "REPLACE")
        yield progress


def _to_local(points_mm: np.ndarray, local_to_mm: np.ndarray) -> np.ndarray:
    back = np.linalg.inv(local_to_mm)
    local: np.ndarray = points_mm @ back[:3, :3].T + back[:3, 3]
    return local
