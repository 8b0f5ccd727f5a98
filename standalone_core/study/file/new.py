"""Make a study file from a folder of scans."""

from __future__ import annotations

import glob
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ...atomic import atomic_write
from ...errors import StudyError
from ...readable import readable, way_from
from ...words.text import capital
from ..plan import StudyPlan
from .folder_contents import Found, look
from .groups import group_name, matching
from .new_list import LIST_FILE, list_text
from .new_text import NewGroup, NewStudy, study_text
from .read import STUDY_FILE, read_plan
from .study_sections import REPEATS


@dataclass(frozen=True)
class WrittenStudy:
    """A study file that was written.

    Attributes
    ----------
    path : pathlib.Path
    plan : StudyPlan
        The file, read back.
    left_out : tuple of pathlib.Path
        Mesh files in the folder that are in no group.
    """

    path: Path
    plan: StudyPlan
    left_out: tuple[Path, ...]


def new_study(
    folder: str | Path,
    *,
    design: str | Path | None = None,
    out: str | Path | None = None,
    list_crowns: bool = False,
    force: bool = False,
) -> WrittenStudy:
    """Write a study file for a folder of scans, with every setting in it as a remark.

    A CSV file in the folder with the columns ``crown``, ``group`` and ``file`` is taken for the
    list of its crowns.

    Parameters
    ----------
    folder : str or pathlib.Path
        Its subfolders become groups; without subfolders that hold scans, the scans in it are
        one group. Folders of results are passed over. If one mesh file in it is called ``die``,
        alone or before other words, crowns are seated on it; files called ``neighbour`` and
        ``antagonist`` are the teeth beside and against the crown then.
    design : str or pathlib.Path, optional
        By default the only mesh file whose name starts with ``design``, in the folder or one of
        its subfolders.
    out : str or pathlib.Path, optional
        The file to write; ``study.toml`` in the folder by default.
    list_crowns : bool
        Write such a list too, ``crowns.csv`` beside the study file, to be completed by hand.
    force : bool
        Replace files that are there.

    Returns
    -------
    WrittenStudy

    Raises
    ------
    StudyError
        No folder, no scans, no design or several, names that cannot be groups, or a file is
        there.
    StudyFileError
        With every mistake of a list of crowns in the folder.
    FileError
        The file cannot be written.

    Examples
    --------
    >>> import cuspwise
    >>> folder = cuspwise.demo_study("trial").parent
    >>> written = cuspwise.new_study(folder, force=True)
    >>> [(group.name, len(group.scans)) for group in written.plan.groups]
    [('milled', 2), ('printed', 2)]
    """
    root = Path(folder)
    target = Path(out) if out is not None else root / STUDY_FILE
    if not root.is_dir():
        reason = "It is a file, not a folder." if root.exists() else "There is no such folder."
        raise StudyError(reason, subject=root, remedy="Name the folder that holds the scans.")
    _refuse_target(target, ("out", "force"), force=force)
    crowns = target.with_name(LIST_FILE) if list_crowns else None
    if crowns is not None:
        _refuse_target(crowns, ("list_crowns", "force"), force=force)
    found = look(root, None if design is None else Path(design), use_list=not list_crowns)
    described = _described(root, found, target.absolute().parent, crowns or found.crowns)
    texts = {target: study_text(described)}
    if crowns is not None:
        texts[crowns] = _list_text(found, described, target.absolute().parent)
    _write(texts, root)
    return WrittenStudy(target, read_plan(target), found.left_out)


def _refuse_target(target: Path, arguments: tuple[str, str], *, force: bool) -> None:
    """Refuse a file that is a folder or, unless forced, that is there."""
    if target.is_dir():
        raise StudyError(
            "It is a folder, not a file.",
            subject=target,
            remedy="Name a file." if "out" in arguments else "Rename the folder.",
            arguments=("out",),
        )
    if target.exists() and not force:
        choice = "Choose another name" if "out" in arguments else "Leave it out to use this file"
        raise StudyError(
            "It is there already.",
            subject=target,
            remedy=f"{choice}, or replace it.",
            arguments=arguments,
        )


def _write(texts: Mapping[Path, str], root: Path) -> None:
    try:
        for file, text in texts.items():
            atomic_write(file, text)
    except UnicodeEncodeError as problem:
        raise StudyError(
            "The name of a file or folder in it is not text.",
            subject=root,
            remedy="Rename it with letters, digits, - and _.",
        ) from problem


def _list_text(found: Found, described: NewStudy, home: Path) -> str:
    """Return the text of a list of the crowns that were found."""
    named = zip(described.groups, found.groups.values(), strict=True)
    return list_text(
        {group.name: [(scan, _named_from(scan, home)) for scan in scans] for group, scans in named}
    )


def _described(root: Path, found: Found, home: Path, crowns: Path | None) -> NewStudy:
    """Describe what was found by paths from the study file's folder."""

    def if_found(file: Path | None) -> str | None:
        return None if file is None else _named_from(file, home)

    names: list[str] = []
    for folder in found.groups:
        names.append(_new_name(group_name(folder), names))
    groups = tuple(
        NewGroup(name, _title(folder), _patterns(files, home) if crowns is None else (), len(files))
        for name, (folder, files) in zip(names, found.groups.items(), strict=True)
    )
    return NewStudy(
        title=_title(root.resolve().name) or "Study",
        design=_named_from(found.design, home),
        groups=groups,
        crowns=if_found(crowns),
        examiners=if_found(found.examiners),
        repeats=if_found(found.repeats),
        die=if_found(found.teeth.die),
        neighbours=tuple(_named_from(file, home) for file in found.teeth.neighbours),
        antagonist=if_found(found.teeth.antagonist),
    )


def _new_name(name: str, taken: Sequence[str]) -> str:
    """Return a name that no other group has, and that is not that of the repeated scans."""
    used = {REPEATS.name, *(other.casefold() for other in taken)}
    numbered = (name if n == 1 else f"{name[:30]}_{n}" for n in range(1, len(used) + 2))
    return next(choice for choice in numbered if choice.casefold() not in used)


def _patterns(files: Sequence[Path], home: Path) -> tuple[str, ...]:
    """Patterns that match just these files; their own names where a pattern matches more."""
    patterns: list[str] = []
    for folder in dict.fromkeys(file.parent for file in files):
        for suffix in dict.fromkeys(f.suffix for f in files if f.parent == folder):
            mine = [f for f in files if f.parent == folder and f.suffix == suffix]
            pattern = f"{glob.escape(_named_from(folder, home))}/*{suffix}"
            matched = {os.path.realpath(f) for f in matching(pattern, home)}
            exact = matched == {os.path.realpath(f) for f in mine}
            patterns += [pattern] if exact else [_named_from(file, home) for file in mine]
    return tuple(dict.fromkeys(pattern.removeprefix("./") for pattern in patterns))


def _title(name: str) -> str:
    words = " ".join(name.replace("_", " ").split())
    return capital(words)


def _named_from(path: Path, home: Path) -> str:
    """Path from a folder, with ``/``; as it is where there is no way, on another drive."""
    if readable(path) != str(path):
        raise StudyError(
            "Its name is not UTF-8, so that no study file can name it.",
            subject=path,
            remedy="Rename it.",
        )
    return way_from(home, path) or path.absolute().as_posix()
