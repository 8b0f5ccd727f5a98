"""The study file that Blender writes beside the meshes. Needs no Blender."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...standalone_core.causes.settings import ProductionFacts
from ...standalone_core.deviation.tolerances import ANY_AREA
from ...standalone_core.errors import StudyError
from ...standalone_core.study.plan import EVERY_AREA

if TYPE_CHECKING:
    from ...standalone_core.study.file.keys import Section


STUDY_FILE, RESULTS, DESIGN, AREAS = "study.toml", "study_results", "design.ply", "areas.json"
SCANS = "scans"
MARK = "# Written by Cuspwise in Blender"
_HEAD = f"""\
{MARK}, and written anew by every Run Study there: to change it, copy it under
# another name beside it. The command line runs it with: cuspwise study {STUDY_FILE}
# Not a medical device: it supports, and never replaces, the judgement of a licensed
# professional and local rules. Patient names do not belong in files or their names.
"""
_NOT_SAID = (None, ProductionFacts().way)
SAME_START = {"landmarks": "in_place"}  # scans are written where their landmarks lay them


@dataclass(frozen=True)
class FileGroup:
    """A group of crowns.

    Attributes
    ----------
    name, title : str
        Short, and for readers.
    scans : tuple of str
        From the study's folder.
    production : mapping of str
        What is said of how they were produced; None for what is not known.
    """

    name: str
    title: str
    scans: tuple[str, ...]
    production: Mapping[str, Any] = field(default_factory=dict)


def study_file_text(
    title: str, groups: Sequence[FileGroup], choices: Mapping[str, Any], *, with_areas: bool
) -> str:
    """Return the text of the study file.

    Parameters
    ----------
    title : str
    groups : sequence of FileGroup
    choices : mapping
        The scene's, as :func:`.study_scene.choices_of` gives them.
    with_areas : bool
        Whether the areas come from a file, or are found.
    """
    return _HEAD + "\n".join(_lines(title, groups, choices, with_areas)) + "\n"


def refuse_foreign(folder: Path) -> None:
    """Refuse a folder that holds something else than a study of ours.

    Raises
    ------
    StudyError
        With what is there.
    """
    if not folder.exists():
        return
    if not folder.is_dir():
        reason = "It is a file, not a folder."
    elif _is_ours(folder / STUDY_FILE) or not any(folder.iterdir()):
        return
    else:
        reason = "It holds other files, which the study's own could replace."
    raise StudyError(reason, subject=folder, remedy="Choose a new or an empty folder.")


def unique_name(words: str, taken: Sequence[str]) -> str:
    """Return words as the name of a group or file that no other one has, capitals or not."""
    from ...standalone_core.study.file.groups import group_name
    from ...standalone_core.study.file.study_sections import REPEATS

    used = {REPEATS.name, *(name.casefold() for name in taken)}
    name = group_name(words)
    numbered = (name if n == 1 else f"{name[:35].rstrip()}_{n}" for n in range(1, len(used) + 2))
    return next(choice for choice in numbered if choice.casefold() not in used)


def _is_ours(file: Path) -> bool:
    try:
        with file.open(encoding="utf-8", errors="replace") as stream:
            return stream.readline().startswith(MARK)
    except OSError:
        return False


def _lines(
    title: str, groups: Sequence[FileGroup], choices: Mapping[str, Any], with_areas: bool
) -> Iterator[str]:
    from ...standalone_core.study.file.check_sections import CAUSES
    from ...standalone_core.study.file.new_text import toml_text

    yield f"title = {toml_text(title)}"
    yield f"design = {toml_text(DESIGN)}"
    for name in ("question", "earlier"):
        if choices.get(name):
            yield f"{name} = {toml_text(choices[name])}"
    if choices.get("force"):
        yield "force = true"
    for group in groups:
        yield from _group_lines(group)
    yield from _limit_lines(choices)
    yield from _mark_lines(choices.get("support_marks", {}))
    if choices.get("causes"):
        yield f"\n[{CAUSES.name}]"
        yield from (f"{name} = {toml_text(value)}" for name, value in choices["causes"].items())
    yield from _analysis_lines(choices)
    yield from _measuring_lines(choices, with_areas)


def _group_lines(group: FileGroup) -> Iterator[str]:
    from ...standalone_core.study.file.new_text import toml_key, toml_text

    yield f"\n[groups.{toml_key(group.name)}]"
    yield f"title = {toml_text(group.title)}"
    yield "scans = ["
    yield from (f"  {toml_text(scan)}," for scan in group.scans)
    yield "]"
    known = {name: fact for name, fact in group.production.items() if fact not in _NOT_SAID}
    yield from (f"{name} = {toml_text(fact)}" for name, fact in known.items())


def _limit_lines(choices: Mapping[str, Any]) -> Iterator[str]:
    """Write what crowns are judged by."""
    from ...standalone_core.study.file.check_sections import VERDICTS
    from ...standalone_core.study.file.keys import NOT_SET
    from ...standalone_core.study.file.new_text import toml_key, toml_text

    yield "\n[tolerances_um]"
    limits = {**dict.fromkeys(NOT_SET.check.tolerances.tolerances_um), **choices["tolerances_um"]}
    for area, limit in limits.items():
        yield f"{toml_key(area)} = {toml_text(limit or 'none')}"
    yield from _area_lines("scanner_um", ANY_AREA, choices["scanner_um"], choices["scanners_um"])
    yield "\n[verdicts]"
    for name in ("max_unmatched_um", "max_unmatched_mm2", "max_missing_mm"):
        yield f"{name} = {toml_text(choices[name])}"
    yield from _changed(VERDICTS, choices["verdicts"])


def _analysis_lines(choices: Mapping[str, Any]) -> Iterator[str]:
    """Write how the groups are compared."""
    from ...standalone_core.study.file.new_text import toml_text
    from ...standalone_core.study.file.study_sections import ANALYSIS

    yield "\n[analysis]"
    yield f"primary_area = {toml_text(choices['primary_area'])}"
    yield f"primary_measure = {toml_text(choices['primary_measure'])}"
    for name in ("secondary", "measures"):
        if choices[name] is not None:
            yield f"{name} = {toml_text(choices[name])}"
    yield from _changed(ANALYSIS, choices["analysis"])
    limits = choices["equivalence_um"], choices["equivalences_um"]
    yield from _area_lines("equivalence_um", EVERY_AREA, *limits)


def _measuring_lines(choices: Mapping[str, Any], with_areas: bool) -> Iterator[str]:
    """Write how crowns are measured, and on which areas."""
    from ...standalone_core.study.file.check_sections import AREAS as AREAS_TABLE
    from ...standalone_core.study.file.check_sections import MEASURING, SUPERIMPOSITION
    from ...standalone_core.study.file.new_text import toml_text

    if with_areas:
        yield f"\n[areas]\nfile = {toml_text(AREAS)}"
    elif choices["areas"]:
        yield "\n[areas]"
        yield from _changed(AREAS_TABLE, choices["areas"])
    yield '\n[measuring]\ndesign_unit = "mm"\nscan_unit = "mm"'
    yield f"spacing_mm = {toml_text(choices['spacing_mm'])}"
    yield f"search_mm = {toml_text(choices['search_mm'])}"
    yield from _changed(MEASURING, {**choices["points"], **choices["verdicts"]})
    yield "\n[superimposition]"
    yield f"start = {toml_text(SAME_START.get(choices['start'], choices['start']))}"
    yield f"fit_areas = {toml_text(choices['fit_areas'])}"
    yield from _changed(SUPERIMPOSITION, choices["superimpose"])


def _changed(table: Section, changes: Mapping[str, Any]) -> Iterator[str]:
    """Write those changes that are keys of a table."""
    from ...standalone_core.study.file.new_text import toml_text

    for name, value in changes.items():
        if table.key(name) is not None:
            yield f"{name} = {toml_text(value)}"


def _area_lines(
    table: str, every: str, usual: float, of_areas: Mapping[str, float]
) -> Iterator[str]:
    """Write a table with a number per area, one of them for all that are not named."""
    from ...standalone_core.study.file.new_text import toml_key, toml_text

    numbers = {**({every: usual} if usual else {}), **of_areas}
    if numbers:
        yield f"\n[{table}]"
        yield from (f"{toml_key(area)} = {toml_text(value)}" for area, value in numbers.items())


def _mark_lines(limits: Mapping[str, float]) -> Iterator[str]:
    """Write the limits of support marks that are not the usual ones."""
    from ...standalone_core.study.file.check_sections import SUPPORT_MARKS
    from ...standalone_core.study.file.keys import NOT_SET
    from ...standalone_core.study.file.new_text import toml_text

    usual = NOT_SET.check.mark
    changed = {name: value for name, value in limits.items() if value != getattr(usual, name)}
    if changed:
        yield f"\n[{SUPPORT_MARKS}]"
        yield from (f"{name} = {toml_text(value)}" for name, value in changed.items())
