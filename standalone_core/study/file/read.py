"""Study files: TOML that says what a study asks, read and checked as a whole."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from ...errors import CuspwiseError
from ...setting import changed
from ..cannot_show import cannot_show
from ..plan import StudyPlan
from .check_sections import FORCE, SUPPORT_MARKS
from .cross_checks import check_together, landmark_pairs, plan_notes
from .fit_checks import read_fit
from .fit_sections import FORCE_FIT
from .groups import read_groups
from .keys import NOT_SET
from .mistakes import Mistake, StudyFileError
from .old_names import with_new_names
from .place import Place
from .study_sections import SETTINGS, TOP
from .support_marks import read_marks
from .tables import GROUPS, Tables, read_tables
from .toml_lines import key_lines
from .value_types import what_is_there

STUDY_FILE = "study.toml"
"""Name of the study file of a folder."""

_ERROR_LINE = re.compile(r" ?\(at (?:line (\d+), column \d+|end of document)\)")
_REMEDIES = (
    (
        r"Unescaped|hex value|Unicode scalar",
        "In double quotes \\ has a meaning of its own: write paths with / instead.",
    ),
    (
        r"twice|overwrite|immutable|Duplicate|already",
        "A key or table is there twice: keep one, or give one another name.",
    ),
    (r"Expected '='", "Write key = value; remarks start with #."),
    (r"Unclosed array", "Close the list with ]."),
    (r"Illegal character|Unterminated", "Close the text with a quote on the same line."),
    (r"Expected newline", "Write one key to a line; numbers have a point, not a comma."),
    (
        r"key|statement",
        "Write names in quotes if they hold more than the letters a–z, digits, - and _.",
    ),
    (r"Invalid value", "Put texts in quotes; numbers have a point; true and false are small."),
)


def study_file_of(path: str | Path) -> Path:
    """Return a study file: the one named, or ``study.toml`` of the folder named."""
    named = Path(path)
    return named / STUDY_FILE if named.is_dir() else named


def read_plan(path: str | Path) -> StudyPlan:
    """Read a study file and check it as a whole.

    Parameters
    ----------
    path : str or pathlib.Path
        A TOML file, or a folder with a ``study.toml``; paths in it are relative to its folder.
        The README lists its keys.

    Returns
    -------
    StudyPlan
        With all scans found; no mesh has been read.

    Raises
    ------
    StudyFileError
        With every mistake in the file: its line, what is allowed, what was probably meant.
    """
    file = study_file_of(path)
    text = _text(file)
    document = _document(file, text)
    document, place = with_new_names(document, Place(file, key_lines(text)))
    tables = read_tables(document, place)
    design = tables.values[""].get("design")
    groups = read_groups(tables.groups, place / GROUPS, design)
    marks = read_marks(tables.marks, place / SUPPORT_MARKS)
    pairs = landmark_pairs(tables.values, place / "superimposition")
    check_together(tables.values, place, [mark.area_name for mark in marks])
    fit = read_fit(tables.values, groups, place)
    if place.mistakes:
        raise StudyFileError(place.mistakes)
    changes = _changes(tables)
    if pairs is not None:
        changes["check.superimpose.landmarks_design_mm"] = pairs.design_mm.tolist()
        changes["check.superimpose.landmarks_scan_mm"] = pairs.scan_mm.tolist()
    changes["check.marks"] = marks
    changes = _with_fit(changes, fit)
    changes |= {"path": file, "groups": groups, "notes": plan_notes(groups)}
    changes.setdefault("title", f"Study of {changes['design'].stem}")
    plan = _plan(changes, file)
    return replace(plan, notes=(*plan.notes, *cannot_show(plan)))


def _text(file: Path) -> str:
    """Return the text of a study file, whatever a text editor put before its first sign."""
    try:
        return file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = problem.object[: problem.start].count(b"\n") + 1
        raise StudyFileError(
            [Mistake(file, line, "", "It is not UTF-8 text.", "Save it as UTF-8.")]
        ) from problem
    except OSError as problem:
        folder = " It is a folder." if file.is_dir() else ""
        remedy = what_is_there(file) if not file.exists() else "Name the study file itself."
        reason = f"The study file cannot be read ({problem.strerror or problem}).{folder}"
        raise StudyFileError([Mistake(file, None, "", reason, remedy)]) from problem


def _document(file: Path, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        found = _ERROR_LINE.search(str(problem))
        number = found.group(1) if found else None
        line = int(number) if number else text.rstrip().count("\n") + 1
        reason = f"{_ERROR_LINE.sub('', str(problem))}."
        remedy = next((r for pattern, r in _REMEDIES if re.search(pattern, reason)), "")
        raise StudyFileError([Mistake(file, line, "", reason, remedy)]) from problem
    except (RecursionError, ValueError) as problem:  # brackets in brackets; endless digits
        reason = "It holds numbers that are too long, or too many brackets inside each other."
        raise StudyFileError(
            [Mistake(file, None, "", reason, "Make a new file with 'cuspwise new'.")]
        ) from problem


def _changes(tables: Tables) -> dict[str, Any]:
    """Return what a study file sets, by the dotted attribute of the plan."""
    changes: dict[str, Any] = {}
    for section in (TOP, *SETTINGS):
        values = tables.values[section.name]
        if section.free is not None:
            changes[section.free.target] = values
        for key in section.keys:
            if key.target and key.name in values:
                changes[key.target] = values[key.name]
    limits = {
        area: None if limit == "none" else limit
        for area, limit in changes["check.tolerances.tolerances_um"].items()
    }
    changes["check.tolerances.tolerances_um"] = NOT_SET.check.tolerances.changed(
        limits
    ).tolerances_um
    return changes


def _with_fit(changes: Mapping[str, Any], fit: Mapping[str, Any]) -> dict[str, Any]:
    """Add what is found of fit to what a file sets; without a fit, nothing of it is set."""
    if "fit" in fit:
        kept = {name: value for name, value in changes.items() if not name.startswith("fit.")}
        return {**kept, **fit}
    force = changes.get(FORCE.target, False)
    return {**changes, **fit, FORCE_FIT: force}


def _plan(changes: Mapping[str, Any], file: Path) -> StudyPlan:
    """Make the plan; what it refuses, though every key was allowed, is a mistake too."""
    try:
        plan: StudyPlan = changed(NOT_SET, changes)
    except CuspwiseError as error:
        mistake = Mistake(file, None, error.subject, error.reason, error.remedy)
        raise StudyFileError([mistake]) from error
    return plan
