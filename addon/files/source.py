"""What is kept on an object of the file that it came from. Needs no Blender."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from ...standalone_core.records import plain
from ..identifiers import OBJECT_PROPERTIES

if TYPE_CHECKING:
    from ...standalone_core.mesh.files import MeshFile

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


def origin_of(obj: Any) -> dict[str, Any]:
    """Say where an object's surface comes from: its name, its file, what was found in it."""
    data = getattr(obj, OBJECT_PROPERTIES)
    facts = json.loads(data.source_facts) if data.source_facts else {}
    return {"object": obj.name, "path": data.source_file or None, **facts}
