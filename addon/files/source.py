"""What is kept on an object of the file that it came from. Needs no Blender."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

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


def facts_of(file: MeshFile) -> str:
    """Return what the core found in a file, to be kept in ``source_facts``."""
    return json.dumps({name: plain(getattr(file, name)) for name in FACTS})


def file_of(obj: Any, mesh: TriangleMesh) -> MeshFile | None:
    """Return the file that an object came from, holding its mesh as it is now; None without."""
    data = getattr(obj, OBJECT_PROPERTIES)
    if not (data.source_file and data.source_facts):
        return None
    facts = json.loads(data.source_facts)
    facts["notes"] = tuple(facts["notes"])
    return MeshFile(mesh=mesh, path=Path(data.source_file), **facts)
