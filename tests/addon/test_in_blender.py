"""What the core refuses, in the words of somebody who has objects, panels and fields."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from cuspwise.addon.blender.in_blender import REMEDIES, in_blender, message
from cuspwise.standalone_core.errors import MeshError, SettingError, SuperimpositionError

CORE = Path(__file__).resolve().parents[2] / "standalone_core"
ROOMS = ("areas", "causes", "deviation", "fit", "mesh", "superimpose", "surface")
# What reads or writes files may speak of them.
FILES = re.compile(
    r"mesh/(files|formats|threemf|write)|areas/(files|carry|entries)|_file|landmarks"
)
OF_FILES = re.compile(r"\b(files?|export|exported|options?|arguments?|command line)\b|--\w", re.I)


def sentences() -> Iterator[tuple[str, str]]:
    """Every text of the core's rooms that Blender may show, with where it stands."""
    for room in ROOMS:
        for path in sorted((CORE / room).rglob("*.py")):
            where = path.relative_to(CORE).as_posix()
            if FILES.search(where):
                continue
            yield from ((where, text) for text in raised(ast.parse(path.read_text("utf-8"))))


def raised(tree: ast.Module) -> Iterator[str]:
    """The reasons and remedies of a module's errors, and the constants they may be."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and any(word.arg == "remedy" for word in node.keywords):
            parts = [*node.args, *(word.value for word in node.keywords)]
        elif isinstance(node, ast.Assign):
            parts = [node.value]
        else:
            continue
        for part in parts:
            for text in ast.walk(part):
                if isinstance(text, ast.Constant) and " " in str(text.value):
                    yield str(text.value)


def test_no_refusal_speaks_of_files_or_options() -> None:
    found = list(sentences())
    assert len(found) > 300
    assert [(where, text) for where, text in found if OF_FILES.search(in_blender(text))] == []


@pytest.mark.parametrize("name", REMEDIES)
def test_every_field_named_is_asked_for_by_an_error(name: str) -> None:
    asked = "\n".join(path.read_text("utf-8") for path in CORE.rglob("*.py"))
    assert re.search(rf'arguments=\("{name}",\)|no_area\(name, area_set, "{name}"\)', asked)


def test_a_remedy_that_asks_for_an_argument_names_the_field() -> None:
    error = SuperimpositionError(
        "It lies 46 mm from the design.",
        subject="Scan 24",
        remedy="Have its position found.",
        arguments=("start",),
    )
    said = "Scan 24: It lies 46 mm from the design. "
    assert message(error) == f"{said}Choose Any Position under Start From."
    assert message(error, {"start": "Press Check Crown."}) == f"{said}Press Check Crown."
    assert str(error) == f"{said}Have its position found."


def test_a_setting_is_called_as_its_field_is() -> None:
    error = SettingError("It is 0.", subject="spacing_mm", remedy="Give more.")
    assert message(error) == "Spacing (mm): It is 0. Give more."
    # An object may be called like a setting.
    assert message(MeshError("It is bad.", subject="force", remedy="")) == "force: It is bad."
