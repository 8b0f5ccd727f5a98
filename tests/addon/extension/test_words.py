"""What Blender shows is said in the words that the whole program uses."""

from __future__ import annotations

import re
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

# An earlier word, where a reader would meet it, for each that is used now: out of date, missing,
# sprue or holding bar, support mark, patch, position, mean absolute.
EARLIER = re.compile(
    r"\bstale|\black|connector|support contact|exceed|\bpose\b|\|d\||\bmarks? marks?\b", re.I
)
LABELS = {
    "fit_area": "Fit On",
    "start": "Start From",
}


def texts(extension: SimpleNamespace) -> Iterator[tuple[str, str]]:
    """Every name and tooltip that is ours, with where it stands."""
    groups = extension.part("addon.properties.registration")
    shown = [*extension.part("addon.operators").CLASSES, *extension.part("addon.panels").CLASSES]
    for cls in (*shown, *groups.CLASSES):
        rna = cls.bl_rna
        yield cls.__name__, f"{rna.name}. {rna.description}"
        yield cls.__name__, f"{getattr(cls, 'bl_label', '')}. {getattr(cls, 'bl_description', '')}"
        for prop in rna.properties:
            yield f"{cls.__name__}.{prop.identifier}", f"{prop.name}. {prop.description}"
            yield from items(f"{cls.__name__}.{prop.identifier}", prop)


def items(where: str, prop: Any) -> Iterator[tuple[str, str]]:
    """The choices of a property."""
    for item in getattr(prop, "enum_items", ()):
        yield f"{where}.{item.identifier}", f"{item.name}. {item.description}"


def test_nothing_shown_has_an_earlier_word(extension: SimpleNamespace) -> None:
    found = list(texts(extension))
    assert len(found) > 200
    assert [(where, text) for where, text in found if EARLIER.search(text)] == []


def test_choices_of_the_superimposition_read_as_sentences(empty: SimpleNamespace) -> None:
    properties = empty.scene.cuspwise.bl_rna.properties
    assert {name: properties[name].name for name in LABELS} == LABELS
    starts = [item.name for item in properties["start"].enum_items]
    assert starts == ["Any Position", "Landmarks", "Present Position"]


def test_restore_position_is_an_operator(empty: SimpleNamespace) -> None:
    assert empty.bpy.ops.cuspwise.restore_position.get_rna_type().name == "Restore Position"
    assert not hasattr(empty.bpy.types, "CUSPWISE_OT_restore_pose")
