"""A part of a crown's fit kept in the .blend, on the crown that it belongs to.

The crown, design or scan, carries it as text, and its map as attributes of its mesh. Both go with
the object through saving, undo, renaming, copying and appending.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import bpy
import numpy as np

from ...standalone_core.progress import Progress, Steps
from ..blender import bridge
from ..blender.session import mesh_of
from ..check import store

VERSION = 1
OTHER_VERSION = "It was measured with another version."


@dataclass(frozen=True)
class KeptPart:
    """Where a part is kept.

    Attributes
    ----------
    name : str
        Of the properties that hold it.
    attribute : str
        Beginning of the attributes' names; the part's own number follows, so that a copy of the
        crown that shares its mesh keeps its own map.
    """

    name: str
    attribute: str

    def of(self, crown: bpy.types.Object | None) -> dict[str, Any] | None:
        """Return what is kept; None without it, or from a version not known here."""
        text = getattr(_data(crown), self.name) if crown is not None else ""
        kept = _read(text) if text else None
        return kept if kept is not None and kept.get("version") == VERSION else None

    def is_unknown(self, crown: bpy.types.Object) -> bool:
        """Tell whether something is kept that this version does not know."""
        return bool(getattr(_data(crown), self.name)) and self.of(crown) is None

    def keep_steps(
        self,
        crown: bpy.types.Object,
        document: Mapping[str, Any],
        maps: Mapping[str, np.ndarray],
    ) -> Steps[None]:
        """Keep a document and its maps in the place of what was kept before.

        Parameters
        ----------
        crown : bpy.types.Object
        document : mapping of str
            Plain data.
        maps : mapping of str to (n,) float
            At the mesh's vertices; the first one's name is empty.
        """
        yield Progress("Keeping the result", 0.0)
        self.forget(crown)
        number = uuid.uuid4().hex[:8]
        for place, (key, values) in enumerate(maps.items()):
            yield Progress("Keeping the map", (1 + place) / (1 + len(maps)))
            bridge.write_attribute(mesh_of(crown), self._attribute(number, key), "FLOAT", values)
        data = _data(crown)
        setattr(data, f"{self.name}_id", number)
        setattr(data, self.name, json.dumps({"version": VERSION, **document}))
        self.set_reason(crown, "")

    def forget(self, crown: bpy.types.Object) -> None:
        """Drop what is kept, and its maps where no copy of the crown needs them."""
        data, name = _data(crown), f"{self.name}_id"
        number = getattr(data, name)
        setattr(data, name, "")
        setattr(data, self.name, "")
        self.set_reason(crown, "")
        if not number or any(getattr(_data(o), name) == number for o in bpy.data.objects):
            return
        start = self._attribute(number, "")
        for found in [a.name for a in mesh_of(crown).attributes if a.name.startswith(start)]:
            bridge.drop_attribute(mesh_of(crown), found)

    def values(self, crown: bpy.types.Object, key: str = "") -> np.ndarray | None:
        """Return a map at the mesh's vertices, (n,); None if it is not there."""
        number = getattr(_data(crown), f"{self.name}_id")
        return bridge.read_attribute(mesh_of(crown), self._attribute(number, key))

    def reason(self, crown: bpy.types.Object) -> str:
        """Say what changed meanwhile, as far as it was noticed; empty if nothing did."""
        return str(getattr(_data(crown), f"{self.name}_reason"))

    def set_reason(self, crown: bpy.types.Object, reason: str) -> None:
        """Keep what changed; written only when it differs, or Blender updates the object again."""
        if self.reason(crown) != reason:
            setattr(_data(crown), f"{self.name}_reason", reason)

    def _attribute(self, number: str, key: str) -> str:
        return f"{self.attribute} {number} {key}".rstrip()


def _data(crown: bpy.types.Object) -> Any:
    return store.data_of(crown).teeth


@lru_cache(maxsize=16)
def _read(text: str) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(text)
    return kept
