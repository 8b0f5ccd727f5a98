"""Make a study file from a folder of scans."""

from __future__ import annotations

import csv
import glob
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ...atomic import atomic_write
from ...errors import StudyError
from ...mesh.formats import SUFFIX_FORMATS
from ...readable import readable, way_from
from ...words.text import capital, listed
from ..plan import StudyPlan
from .csv_rows import read_csv
from .groups import group_name, matching, meshes_in, natural
from .mistakes import StudyFileError
from .new_text import NewGroup, NewStudy, study_text
from .read import STUDY_FILE, read_plan
from .study_sections import REPEATS

_RESULTS = ("study.json", "check.json", "kept")  # whose folder holds results, not scans
_DESIGN = "design"
_DIE, _NEIGHBOUR, _ANTAGONIST = "die", "neighbour", "antagonist"
_EXAMINER_COLUMNS = {"crown", "examiner"}
_REPEAT_COLUMNS = {"file", "crown", "operator", "trial"}


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


@dataclass(frozen=True)
class _Teeth:
    """Die, neighbours and antagonist in a folder."""

    die: Path | None = None
    neighbours: tuple[Path, ...] = ()
    antagonist: Path | None = None

    @property
    def files(self) -> set[Path]:
        return {file for file in (self.die, *self.neighbours, self.antagonist) if file}


@dataclass(frozen=True)
class _Found:
    """What a folder holds."""

    design: Path
    groups: Mapping[str, tuple[Path, ...]]
    left_out: tuple[Path, ...]
    examiners: Path | None
    repeats: Path | None
    teeth: _Teeth = field(default_factory=_Teeth)


def new_study(
    folder: str | Path,
    *,
    design: str | Path | None = None,
    out: str | Path | None = None,
    force: bool = False,
) -> WrittenStudy:
    """Write a study file for a folder of scans, with every setting in it as a remark.

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
    force : bool
        Replace a file that is there.

    Returns
    -------
    WrittenStudy

    Raises
    ------
    StudyError
        No folder, no scans, no design or several, names that cannot be groups, or the file is
        there.
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
    if target.is_dir():
        raise StudyError(
            "It is a folder, not a file.",
            subject=target,
            remedy="Name a file.",
            arguments=("out",),
        )
    if target.exists() and not force:
        raise StudyError(
            "It is there already.",
            subject=target,
            remedy="Choose another name, or replace it.",
            arguments=("out", "force"),
        )
    found = _look(root, None if design is None else Path(design))
    text = study_text(_described(root, found, target.absolute().parent))
    try:
        atomic_write(target, text)
    except UnicodeEncodeError as problem:
        raise StudyError(
            "The name of a file or folder in it is not text.",
            subject=root,
            remedy="Rename it with letters, digits, - and _.",
        ) from problem
    return WrittenStudy(target, read_plan(target), found.left_out)


def _look(root: Path, design: Path | None) -> _Found:
    examiners = _table(root, _EXAMINER_COLUMNS)
    repeats = _table(root, _REPEAT_COLUMNS)
    subfolders = [f for f in root.iterdir() if f.is_dir() and not _passed_over(f)]
    scans = {f: _meshes_below(f) for f in sorted(subfolders, key=natural)}
    loose = meshes_in(root)
    design = _design(root, design, [*loose, *(s for f in scans.values() for s in f)])
    teeth = _teeth(loose)
    again = _listed_in(repeats) | {os.path.realpath(file) for file in teeth.files}
    groups = {
        folder.name: tuple(file for file in files if not _same(file, design))
        for folder, files in scans.items()
        if not {os.path.realpath(file) for file in files} <= {os.path.realpath(design), *again}
    }
    single = tuple(s for s in loose if not _same(s, design) and os.path.realpath(s) not in again)
    if not groups and not single:
        raise StudyError(
            "There are no scans in it.",
            subject=root,
            remedy=f"Put the scans ({', '.join(SUFFIX_FORMATS)}) of each group in a subfolder.",
        )
    if not groups:
        return _Found(design, {"crowns": single}, (), examiners, repeats, teeth)
    return _Found(design, groups, single, examiners, repeats, teeth)


def _teeth(loose: Sequence[Path]) -> _Teeth:
    """Find the teeth among mesh files by the first word of their names; none without one die."""
    named: dict[str, list[Path]] = {}
    for file in loose:
        word = re.match("[a-z]*", file.stem.casefold())
        named.setdefault(word.group().removesuffix("s") if word else "", []).append(file)
    dies, against = named.get(_DIE, []), named.get(_ANTAGONIST, [])
    if len(dies) != 1:
        return _Teeth()
    return _Teeth(
        dies[0], tuple(named.get(_NEIGHBOUR, ())), against[0] if len(against) == 1 else None
    )


def _passed_over(folder: Path) -> bool:
    return folder.name.startswith(".") or any((folder / name).exists() for name in _RESULTS)


def _meshes_below(folder: Path) -> list[Path]:
    """Mesh files of a folder; if it has none of its own, those of folders in it."""
    own = meshes_in(folder)
    if own:
        return own
    inner = [f for f in folder.iterdir() if f.is_dir() and not _passed_over(f)]
    return [file for f in sorted(inner, key=natural) for file in _meshes_below(f)]


def _design(root: Path, given: Path | None, meshes: Sequence[Path]) -> Path:
    if given is not None:
        if not given.is_file():
            raise StudyError(
                "There is no such file.",
                subject=given,
                remedy="Name the design.",
                arguments=("design",),
            )
        return given
    found = [file for file in meshes if file.stem.casefold().startswith(_DESIGN)]
    if len(found) == 1:
        return found[0]
    if found:
        names = listed([file.relative_to(root).as_posix() for file in found[:5]])
        reason = f"{len(found)} files could be the design: {names}."
    else:
        reason = f"No mesh file in it has a name that starts with {_DESIGN}."
    raise StudyError(reason, subject=root, remedy="Name the design.", arguments=("design",))


def _table(root: Path, columns: set[str]) -> Path | None:
    """Return the first CSV file that has these columns."""
    return next((file for file in sorted(root.glob("*.csv")) if _columns(file) >= columns), None)


def _columns(file: Path) -> set[str]:
    try:
        with file.open(encoding="utf-8-sig") as stream:
            header = stream.readline(10_000).replace(";", ",").replace("\t", ",")
    except (OSError, UnicodeDecodeError):
        return set()
    return {cell.strip().casefold() for cell in next(csv.reader([header]), [])}


def _listed_in(repeats: Path | None) -> set[str]:
    """Real paths of the scans that a table of repeated scans lists."""
    if repeats is None:
        return set()
    try:
        rows = read_csv(repeats, ("file",), tuple(_REPEAT_COLUMNS)).rows
    except StudyFileError:  # all its mistakes are listed when the study is run
        return set()
    return {os.path.realpath(repeats.parent / row.cells["file"]) for row in rows}


def _described(root: Path, found: _Found, home: Path) -> NewStudy:
    """Describe what was found by paths from the study file's folder."""

    def if_found(file: Path | None) -> str | None:
        return None if file is None else _named_from(file, home)

    names: list[str] = []
    for folder in found.groups:
        names.append(_new_name(group_name(folder), names))
    groups = tuple(
        NewGroup(name, _title(folder), _patterns(files, home), len(files))
        for name, (folder, files) in zip(names, found.groups.items(), strict=True)
    )
    return NewStudy(
        title=_title(root.resolve().name) or "Study",
        design=_named_from(found.design, home),
        groups=groups,
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


def _same(one: Path, other: Path) -> bool:
    return os.path.realpath(one) == os.path.realpath(other)


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
