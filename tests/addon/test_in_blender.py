"""What the core refuses, in the words of somebody who has objects, panels and fields."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from calls import OF_LINES
from cuspwise.addon.blender.in_blender import REMEDIES, in_blender, message
from cuspwise.addon.study.file import FileGroup, study_file_text
from cuspwise.standalone_core.errors import (
    CuspwiseError,
    MeshError,
    SettingError,
    SuperimpositionError,
)
from cuspwise.standalone_core.study.file.inputs import read_study

CORE = Path(__file__).resolve().parents[2] / "standalone_core"
ROOMS = ("areas", "causes", "deviation", "fit", "mesh", "superimpose", "surface")
# What reads or writes files may speak of them.
FILES = re.compile(
    r"mesh/(files|formats|threemf|write)|areas/(files|carry|entries)|_file|landmarks"
)
OF_STUDIES = ("study/measuring", "study/analysis", "*.py", "tray/*.py")
NO_BLENDER = {"study/measuring/executors.py"}  # never used there
USUAL = {
    **{name: {} for name in ("superimpose", "support_marks", "points", "areas", "verdicts")},
    **{name: {} for name in ("scanners_um", "equivalences_um", "analysis", "causes")},
    **dict.fromkeys(("scanner_um", "equivalence_um"), 0.0),
    **dict.fromkeys(("secondary", "measures"), None),
    **{"start": "auto", "fit_areas": [], "spacing_mm": 0.1, "search_mm": 1.0},
    **{"tolerances_um": {"whole": 50.0}, "primary_area": "whole", "primary_measure": "rms_um"},
    **{"max_unmatched_um": 50.0, "max_unmatched_mm2": 0.2, "max_missing_mm": 1.0},
}
"""The choices of a scene."""
OF_FILES = re.compile(r"\b(files?|export|exported|options?|arguments?|command line)\b|--\w", re.I)


def sentences(rooms: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Every text of the core's rooms that Blender may show, with where it stands."""
    for room in rooms:
        for path in sorted(CORE.glob(room if room.endswith(".py") else f"{room}/**/*.py")):
            where = path.relative_to(CORE).as_posix()
            if FILES.search(where) or where in NO_BLENDER:
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
    found = list(sentences(ROOMS))
    assert len(found) > 300
    assert [(where, text) for where, text in found if OF_FILES.search(in_blender(text))] == []


def test_no_refusal_of_a_study_speaks_of_its_file_or_options() -> None:
    """It has a folder, and what lies there are files."""
    found = list(sentences(OF_STUDIES))
    assert len(found) > 100
    assert [(where, text) for where, text in found if OF_LINES.search(in_blender(text))] == []


def refused(folder: Path, choices: dict[str, Any]) -> CuspwiseError:
    """What a study of these choices, written as Blender writes it, is refused for."""
    names = tuple(f"scans/a/{number}.ply" for number in range(3))
    (folder / "scans/a").mkdir(parents=True)
    for name in ("design.ply", *names):
        (folder / name).write_text("ply")
    text = study_file_text("Study", [FileGroup("a", "A", names)], choices, with_areas=False)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    with pytest.raises(CuspwiseError) as caught:
        read_study(folder)
    return caught.value


@pytest.mark.parametrize(
    ("choices", "said"),
    [
        ({"measures": ["mean_um"]}, "Main Measure: root mean square deviation is not ticked"),
        ({"primary_area": "contact_mesial"}, "Main Area: Contact areas .* Set Mesial under Areas"),
        ({"primary_area": "own"}, 'Main Area: There is no area called "own".'),
        ({"secondary": ["margin mean_abs_um", "fossae p10_um"]}, "Further Comparisons: 10th"),
        ({"secondary": ["contact_distal rms_um"]}, "Further Comparisons: Contact areas are found"),
        ({"fit_areas": ["contact_distal"]}, "Fit On: Contact areas are found only if"),
        ({"analysis": {"alpha": 0.0}}, r"Alpha: 0 is not allowed"),
        ({"earlier": "/nowhere/study.json"}, "Earlier Study: There is no file"),
        ({"earlier": "/"}, "Earlier Study: .* Choose the study.json in it"),
        ({"earlier": __file__}, "test_in_blender.py: It is no JSON.* Choose the study.json"),
        ({"tolerances_um": {"own": 5.0}}, r"Tolerance \(µm\), own: There is no area"),
        ({"tolerances_um": {"axial": 0.05}}, r"Tolerance \(µm\), axial walls: .*“Take Unusual"),
        ({"equivalences_um": {"own": 5.0}}, r"Equivalence Limit \(µm\), own: There is no area"),
        ({"causes": {"scanner_scale_permille": 1e9}}, "Scanner"),
        ({"areas": {"fossa_gap_mm": 0.9, "fossa_ball_radius_mm": 0.5}}, "Fossa"),
        ({"superimpose": {"doubt_mm": 0.5}}, "Doubt From"),
    ],
)
def test_a_study_is_refused_by_what_the_panels_call_it(
    tmp_path: Path, choices: dict[str, Any], said: str
) -> None:
    words = message(refused(tmp_path, {**USUAL, **choices}))
    assert re.match(said, words)
    assert not OF_LINES.search(words)
    assert not re.search(r"\b[a-z]+_[a-z_]+\b", words.replace(Path(__file__).name, ""))


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
