"""Study files: TOML that says what a study asks, read and checked as a whole."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ...errors import CuspwiseError
from ...setting import changed
from ..cannot_show import cannot_show
from ..plan import StudyPlan
from .check_sections import FORCE, SUPPORT_MARKS
from .cross_checks import check_together, landmark_pairs, plan_notes
from .crown_list import CrownList, read_crown_list
from .fit_checks import read_fit
from .fit_sections import FORCE_FIT
from .groups import read_groups
from .keys import NOT_SET
from .mistakes import Mistake, StudyFileError
from .old_names import with_new_names
from .place import Place
from .study_sections import CROWNS, EXAMINERS, SETTINGS, TOP
from .support_marks import read_marks
from .tables import GROUPS, Tables, read_tables
from .toml_document import read_document
from .value_types import what_is_there

STUDY_FILE = "study.toml"
"""Name of the study file of a folder."""


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
        docs/study.md lists its keys.

    Returns
    -------
    StudyPlan
        With all scans found; no mesh has been read.

    Raises
    ------
    StudyFileError
        With every mistake in the file: its line, what is allowed, what was probably meant.
    """
    found = read_study_file(path)
    if found.plan is None:
        raise StudyFileError(found.mistakes)
    return found.plan


@dataclass(frozen=True)
class StudyFile:
    """A study file as far as it can be read.

    Attributes
    ----------
    plan : StudyPlan or None
        None if there is any mistake.
    known : StudyPlan
        What is known of it: its design, crowns and scores, to check the tables that belong to it.
    doubtful : frozenset of str
        Columns of those tables that cannot be checked, as there are mistakes in what they name.
    mistakes : tuple of Mistake
    """

    plan: StudyPlan | None
    known: StudyPlan
    doubtful: frozenset[str]
    mistakes: tuple[Mistake, ...]


def read_study_file(path: str | Path) -> StudyFile:
    """Read a study file as :func:`read_plan` does, and what can be known of one with mistakes.

    Raises
    ------
    StudyFileError
        It cannot be read, or is no TOML.
    """
    file = study_file_of(path)
    document, place = read_document(file, _text(file))
    document, place = with_new_names(document, place)
    tables = read_tables(document, place)
    listed = _crowns(tables, place)
    marks = read_marks(tables.marks, place / SUPPORT_MARKS)
    pairs = landmark_pairs(tables.values, place / "superimposition")
    check_together(tables.values, place, [mark.area_name for mark in marks])
    fit = read_fit(tables.values, listed.groups, place, whole=listed.whole)
    changes = _changes(tables)
    if pairs is not None:
        changes["check.superimpose.landmarks_design_mm"] = pairs.design_mm.tolist()
        changes["check.superimpose.landmarks_scan_mm"] = pairs.scan_mm.tolist()
    changes["check.marks"] = marks
    changes = _with_fit(changes, fit)
    changes |= {"path": file, "groups": listed.groups, "notes": plan_notes(listed.groups)}
    plan = None if place.mistakes else _plan(changes, place)
    doubtful = frozenset(_doubtful(place, whole=listed.whole))
    mistakes = sorted(place.mistakes, key=lambda mistake: mistake.file != file)
    return StudyFile(plan, _known(changes), doubtful, tuple(mistakes))


def _crowns(tables: Tables, place: Place) -> CrownList:
    """Read all crowns, from their list or as the groups' scans; note every mistake."""
    values, groups = tables.values, place / GROUPS
    design = values[""].get("design")
    if (place / CROWNS.name / "file").path not in place.lines:
        found = read_groups(tables.groups, groups, design)
        amiss = any(mistake.key.endswith(".scans") for mistake in place.mistakes)
        return CrownList(found, len(found) == len(tables.groups) > 0 and not amiss)
    if "file" not in values[CROWNS.name]:
        return CrownList()
    try:
        return read_crown_list(values[CROWNS.name]["file"], tables.groups, groups, design)
    except StudyFileError as error:
        place.mistakes.extend(error.mistakes)
        return CrownList()


def _doubtful(place: Place, *, whole: bool) -> Iterator[str]:
    """Yield the columns of tables that cannot be checked against what they name."""
    if not whole:
        yield "crown"
    words = f"{EXAMINERS.name}."
    for mistake in place.mistakes:
        if mistake.key.startswith(words):
            yield mistake.key.removeprefix(words)


def _known(changes: Mapping[str, Any]) -> StudyPlan:
    """Return a plan of what is known, though there be mistakes in the rest."""
    kept = ("path", "groups", "design", "examiners", "repeats", "earlier")
    known = {name: changes[name] for name in kept if name in changes}
    known |= {name: value for name, value in changes.items() if name.startswith("scores.words")}
    plan: StudyPlan = changed(
        NOT_SET, {**known, "scores.acceptable": 0, "fit": None, FORCE.target: True}
    )
    return plan


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


def _plan(changes: Mapping[str, Any], place: Place) -> StudyPlan | None:
    """Make the plan; what it refuses, though every key was allowed, is a mistake too."""
    title = f"Study of {changes['design'].stem}"
    try:
        plan: StudyPlan = changed(NOT_SET, {"title": title, **changes})
    except CuspwiseError as error:
        place.mistakes.append(Mistake(place.file, None, error.subject, error.reason, error.remedy))
        return None
    return replace(plan, notes=(*plan.notes, *cannot_show(plan)))
