"""The file that an object came from, kept on the object: where, what, and in which unit."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import bpy

from ...standalone_core.mesh.files import MeshFile
from ...standalone_core.mesh.triangle_mesh import TriangleMesh
from ...standalone_core.records import plain
from ..identifiers import OBJECT_PROPERTIES

FACTS = (
    "format",
    "sha256",
    "unit",
    "unit_guessed",
    "scale_to_mm",
    "vertices_in_file",
    "nan_vertices",
    "notes",
)


def keep(obj: bpy.types.Object, found: MeshFile) -> None:
    """Keep with an object which file it came from, and what was found in it."""
    data: Any = getattr(obj, OBJECT_PROPERTIES)
    data.source_file = str(found.path)
    data.source_facts = json.dumps({name: plain(getattr(found, name)) for name in FACTS})


def file_of(obj: bpy.types.Object, mesh: TriangleMesh) -> MeshFile | None:
    """Return the file that an object came from, holding the mesh as it is now; None without."""
    data: Any = getattr(obj, OBJECT_PROPERTIES)
    if not (data.source_file and data.source_facts):
        return None
    facts = json.loads(data.source_facts)
    facts["notes"] = tuple(facts["notes"])
    return MeshFile(mesh=mesh, path=Path(data.source_file), **facts)
