"""What a folder of scans holds: design, groups, tables and teeth."""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from ...errors import StudyError
from ...mesh.formats import SUFFIX_FORMATS
from ...words.text import listed
from .crown_list import COLUMNS, read_crown_list
from .csv_rows import decoded, read_csv
from .groups import meshes_in, natural
from .mistakes import StudyFileError
from .place import Place

_RESULTS = ("study.json", "check.json", "kept")  # whose folder holds results, not scans
_DESIGN = "design"
_PUT_SCANS = f"Put the scans ({', '.join(SUFFIX_FORMATS)}) of each group in a subfolder."
_DIE, _NEIGHBOUR, _ANTAGONIST = "die", "neighbour", "antagonist"
_EXAMINER_COLUMNS = {"crown", "examiner"}
_CROWN_COLUMNS = set(COLUMNS)
_REPEAT_COLUMNS = {"file", "crown", "operator", "trial"}


@dataclass(frozen=True)
class Teeth:
    """Die, neighbours and antagonist in a folder."""

    die: Path | None = None
    neighbours: tuple[Path, ...] = ()
    antagonist: Path | None = None

    @property
    def files(self) -> set[Path]:
        """All of them."""
        return {file for file in (self.die, *self.neighbours, self.antagonist) if file}


@dataclass(frozen=True)
class Found:
    """What a folder holds.

    Attributes
    ----------
    design : pathlib.Path
    groups : mapping of folder or group name to tuple of pathlib.Path
        The scans of each.
    left_out : tuple of pathlib.Path
        Meshes that are none of what is here.
    examiners, repeats, crowns : pathlib.Path or None
        Tables of scores, of repeated scans and of the crowns.
    teeth : Teeth
    """

    design: Path
    groups: Mapping[str, tuple[Path, ...]] = field(default_factory=dict)
    left_out: tuple[Path, ...] = ()
    examiners: Path | None = None
    repeats: Path | None = None
    crowns: Path | None = None
    teeth: Teeth = field(default_factory=Teeth)


@dataclass(frozen=True)
class Scans:
    """What a folder holds for whoever looks at scans, with or without a study.

    Attributes
    ----------
    designs : tuple of pathlib.Path
        Files whose names say that they are the design; more than one leave it open which is.
    groups : mapping of str to tuple of pathlib.Path
        The scans of each subfolder, by its name; those in the folder itself have no name.
    teeth : Teeth
        Die, neighbours and antagonist, which are no scans.
    """

    designs: tuple[Path, ...]
    groups: Mapping[str, tuple[Path, ...]]
    teeth: Teeth


def scans_in(root: Path) -> Scans:
    """Look for the scans in a folder and in its subfolders, each of which makes a group.

    Raises
    ------
    StudyError
        There is no mesh file in it, or it cannot be looked into.
    """
    try:
        loose = meshes_in(root)
        found = {"": loose, **{f.name: _meshes_below(f) for f in _subfolders(root)}}
    except OSError as error:
        raise StudyError(
            f"It cannot be looked into ({error.strerror or error}).",
            subject=root,
            remedy="Check the path and the permissions.",
        ) from error
    every = [file for files in found.values() for file in files]
    if not every:
        raise StudyError("There are no scans in it.", subject=root, remedy=_PUT_SCANS)
    teeth = _teeth(loose)
    designs = named_design(every)
    others = teeth.files | set(designs)
    groups = {name: tuple(f for f in files if f not in others) for name, files in found.items()}
    return Scans(tuple(designs), {name: files for name, files in groups.items() if files}, teeth)


def look(root: Path, design: Path | None, *, use_list: bool = True) -> Found:
    """Look what a folder holds.

    Parameters
    ----------
    root : pathlib.Path
    design : pathlib.Path or None
        If it is known already.
    use_list : bool
        Whether a list of crowns in the folder tells the groups, rather than its subfolders.

    Raises
    ------
    StudyError
        There are no scans, no design, or several.
    StudyFileError
        With every mistake of the list of crowns.
    """
    scans = {f: _meshes_below(f) for f in _subfolders(root)}
    loose = meshes_in(root)
    every = [*loose, *(file for files in scans.values() for file in files)]
    found = Found(
        design=_design(root, design, every),
        examiners=_table(root, _EXAMINER_COLUMNS),
        repeats=_table(root, _REPEAT_COLUMNS),
        crowns=_table(root, _CROWN_COLUMNS, but=_REPEAT_COLUMNS) if use_list else None,
        teeth=_teeth(loose),
    )
    if found.crowns is not None:
        return _as_listed(found, found.crowns, every)
    return _by_folders(found, root, scans, loose)


def _as_listed(found: Found, crowns: Path, every: Sequence[Path]) -> Found:
    """Add the groups that a list of crowns tells."""
    place = Place(crowns, {})
    groups = read_crown_list(crowns, {}, place, found.design).groups
    if place.mistakes:
        raise StudyFileError(place.mistakes)
    listed_files = [file for g in groups for file in (*g.scans, *g.dies, *g.seated)]
    used = {os.path.realpath(file) for file in (found.design, *found.teeth.files, *listed_files)}
    used |= _listed_in(found.repeats)
    left_out = tuple(file for file in every if os.path.realpath(file) not in used)
    return replace(found, groups={g.name: g.scans for g in groups}, left_out=left_out)


def _by_folders(
    found: Found, root: Path, scans: Mapping[Path, Sequence[Path]], loose: Sequence[Path]
) -> Found:
    """Add a group for each subfolder that holds scans, or one of the scans in the folder."""
    design = os.path.realpath(found.design)
    again = _listed_in(found.repeats) | {os.path.realpath(file) for file in found.teeth.files}
    groups = {
        folder.name: tuple(file for file in files if os.path.realpath(file) != design)
        for folder, files in scans.items()
        if not {os.path.realpath(file) for file in files} <= {design, *again}
    }
    single = tuple(file for file in loose if os.path.realpath(file) not in {design, *again})
    if not groups and not single:
        raise StudyError(
            "There are no scans in it.",
            subject=root,
            remedy=_PUT_SCANS,
        )
    if not groups:
        return replace(found, groups={"crowns": single})
    return replace(found, groups=groups, left_out=single)


def _teeth(loose: Sequence[Path]) -> Teeth:
    """Find the teeth among mesh files by the first word of their names; none without one die."""
    named: dict[str, list[Path]] = {}
    for file in loose:
        word = re.match("[a-z]*", file.stem.casefold())
        named.setdefault(word.group().removesuffix("s") if word else "", []).append(file)
    dies, against = named.get(_DIE, []), named.get(_ANTAGONIST, [])
    if len(dies) != 1:
        return Teeth()
    return Teeth(
        dies[0], tuple(named.get(_NEIGHBOUR, ())), against[0] if len(against) == 1 else None
    )


def _passed_over(folder: Path) -> bool:
    return folder.name.startswith(".") or any((folder / name).exists() for name in _RESULTS)


def _meshes_below(folder: Path) -> list[Path]:
    """Mesh files of a folder; if it has none of its own, those of folders in it."""
    own = meshes_in(folder)
    if own:
        return own
    return [file for f in _subfolders(folder) for file in _meshes_below(f)]


def _subfolders(folder: Path) -> list[Path]:
    return sorted((f for f in folder.iterdir() if f.is_dir() and not _passed_over(f)), key=natural)


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
    found = named_design(meshes)
    if len(found) == 1:
        return found[0]
    if found:
        names = listed([file.relative_to(root).as_posix() for file in found[:5]])
        reason = f"{len(found)} files could be the design: {names}."
    else:
        reason = f"No mesh file in it has a name that starts with {_DESIGN}."
    raise StudyError(reason, subject=root, remedy="Name the design.", arguments=("design",))


def named_design(meshes: Sequence[Path]) -> list[Path]:
    """Return the mesh files whose names say that they are the design."""
    return [file for file in meshes if file.stem.casefold().startswith(_DESIGN)]


def _table(root: Path, columns: set[str], but: Collection[str] = ()) -> Path | None:
    """Return the first CSV file that has these columns, and not all of some others."""
    for file in sorted(root.glob("*.csv")):
        there = _columns(file)
        if there >= columns and not (but and there >= set(but)):
            return file
    return None


def _columns(file: Path) -> set[str]:
    try:
        with file.open("rb") as stream:
            header = decoded(stream.readline(10_000)).replace(";", ",").replace("\t", ",")
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
