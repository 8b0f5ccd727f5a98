"""Choices about the table of all crowns: in which order, and which of them."""

from typing import Any

import bpy

from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import capital
from ..blender.session import scene_of
from ..check import all_scans, crown_rows
from ..identifiers import SCENE_PROPERTIES

Item = tuple[str, str, str, int]
SORTINGS = (
    ("LIST", "As Listed", "In the order of the list of scans"),
    ("NAME", "Name", "By name; crown 10 after crown 9"),
    ("VERDICT", "Verdict", "What asks for a look first: outside, then not decidable"),
    ("AREA", "Area", "The largest mean absolute deviation in the area chosen first"),
)
ALL = ("all", "All", "Leave none out", 0)
STATUSES = [
    ALL,
    *(
        (status, capital(words), f"Only crowns that are {words}", number)
        for number, (status, words) in enumerate(crown_rows.STATUS_WORDS.items(), 1)
    ),
]
# Blender does not hold on to the texts of items that a function returns; without this they go.
_held: dict[str, list[Item]] = {}


def _offered(scene: Any, name: str) -> list[tuple[str, str, str]]:
    """Return what the crowns offer for a choice: key, title, tooltip."""
    rows = all_scans.rows_of(scene)
    if name == "area":
        names = crown_rows.areas_of(rows) or ["whole"]
        return [(n, capital(area_words(n)), "Sort by this area") for n in names]
    titles = {row.group.casefold(): row.group for row in reversed(rows) if row.group}
    groups = [(key, title, "Only this group") for key, title in reversed(titles.items())]
    return [("", "All Groups", "Leave none out"), *groups]


def _choice(name: str, title: str, description: str) -> Any:
    """Return the property of a choice among what the crowns offer, kept by its key."""

    def items(settings: Any, _context: Any) -> list[Item]:
        offered = enumerate(_offered(settings.id_data, name))
        _held[name] = [(key or "all", words, tip, number) for number, (key, words, tip) in offered]
        return _held[name]

    def get(settings: Any) -> int:
        keys = [entry[0] for entry in _offered(settings.id_data, name)]
        key = getattr(settings, f"{name}_key")
        return keys.index(key) if key in keys else 0

    def choose(settings: Any, number: int) -> None:
        keys = [entry[0] for entry in _offered(settings.id_data, name)]
        setattr(settings, f"{name}_key", keys[number] if number < len(keys) else "")

    return bpy.props.EnumProperty(
        name=title, description=description, items=items, get=get, set=choose
    )


class CrownChoices(bpy.types.PropertyGroup):
    """Choices about the table of all crowns."""

    sort_by: bpy.props.EnumProperty(
        name="Sort By", description="In which order the crowns stand", items=SORTINGS
    )
    area: _choice("area", "Area", "The area by whose numbers the crowns are sorted")
    group: _choice("group", "Group", "Which crowns are shown")
    status: bpy.props.EnumProperty(
        name="Verdict", description="Which crowns are shown", items=STATUSES
    )
    area_key: bpy.props.StringProperty(
        description="Key of what was chosen last", options={"HIDDEN"}
    )
    group_key: bpy.props.StringProperty(
        description="Key of what was chosen last", options={"HIDDEN"}
    )


def filters_of(context: bpy.types.Context) -> tuple[str, str]:
    """Return the group and the status that crowns are chosen by; empty where all are."""
    chosen = getattr(scene_of(context), SCENE_PROPERTIES).crowns
    chosen_ones = (chosen.group, chosen.status)
    group, status = ("" if key == ALL[0] else key for key in chosen_ones)
    return group, status
