"""What the values of a study file can be beyond settings: each kind reads one, or says why not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from ...allowed import Allowed, Names, NotAllowed, Number, Text, not_texts, shown
from ...readable import readable
from ...setting import Setting
from ...suggestion import suggestion
from .place import Place
from .slashes import as_written, slash_remedy


class Kind(Protocol):
    """A kind of value that is more than a setting's."""

    @property
    def allowed(self) -> str:
        """What is allowed, in words that follow "Give"."""

    def read(self, given: Any, place: Place) -> Any:
        """Return the value as a plan holds it; note every mistake, and return None if any."""


def read_value(kind: Kind | Allowed | Setting, given: Any, place: Place) -> Any:
    """Return a value as a plan holds it; note every mistake, and return None if any."""
    names = kind.allowed if isinstance(kind, Setting) else kind
    if isinstance(names, Names):
        noted = list(names.problems(given))
        for problem in noted:
            note(problem, place)
        whole = not any(problem.at is None for problem in noted)
        texts = whole and all(isinstance(name, str) for name in given)
        return tuple(name.strip() for name in given) if texts else None
    if hasattr(kind, "read"):
        return kind.read(given, place)
    try:
        return kind.checked(given)
    except NotAllowed as problem:
        note(problem, place)
        return None


def note(problem: NotAllowed, place: Place) -> None:
    """Note what is wrong with a value, at the part that it is about."""
    (place if problem.at is None else place / problem.at).wrong(problem.reason, problem.remedy)


@dataclass(frozen=True)
class Fact:
    """Anything that can be said in a few words, a number or a date."""

    allowed: str = "a text in quotes, a number or a date"

    def read(self, given: Any, place: Place) -> str | None:
        """Return it as text."""
        if isinstance(given, (list, dict)):
            place.wrong(f"It is {shown(given)}.", f"Give {self.allowed}.")
            return None
        return given.strip() if isinstance(given, str) else _time_or_number(given)


@dataclass(frozen=True)
class Limit:
    """A tolerance: a number above 0, or "none", which takes the usual one away."""

    allowed: str = 'a number of µm above 0, or "none"'

    def read(self, given: Any, place: Place) -> float | str | None:
        """Return the number, or ``"none"``."""
        if isinstance(given, str) and given.strip().casefold() == "none":
            return "none"
        if isinstance(given, str):
            place.wrong(f"It is {shown(given)}.", f"Give {self.allowed}.")
            return None
        number: float | None = read_value(Number(), given, place)
        return number


@dataclass(frozen=True)
class Words:
    """A list of words for the categories of a score."""

    allowed: str = "a list of two or more texts, the best category first"

    def read(self, given: Any, place: Place) -> tuple[str, ...] | None:
        """Return the words."""
        texts = read_texts(given, place, f"Give {self.allowed}.")
        if texts is None:
            return None
        if len(texts) < 2 or len(set(texts)) < len(texts) or not all(texts):
            place.wrong("It has fewer than two categories, or two alike.", f"Give {self.allowed}.")
            return None
        return tuple(texts)


@dataclass(frozen=True)
class File:
    """A file that is there, by its path from the study file's folder."""

    allowed: str = "the path of a file, from this file's folder"

    def read(self, given: Any, place: Place) -> Path | None:
        """Return the path, joined to the folder."""
        text: str | None = read_value(Text(filled=True, allowed=self.allowed), given, place)
        if text is None:
            return None
        file: Path = place.folder / text
        if there(file):
            return file
        if there(file, Path.is_dir):
            place.wrong(f"{shown(text)} is a folder.", f"Give {self.allowed}.")
        else:
            place.wrong(
                f"There is no file {shown(as_written(text))}.", why_no_file(text, place.folder)
            )
        return None


@dataclass(frozen=True)
class MeshFile:
    """A mesh file that is there, by its path from the study file's folder."""

    allowed: str = "the path of a mesh file, from this file's folder"

    def read(self, given: Any, place: Place) -> Path | None:
        """Return the path, joined to the folder."""
        from ...mesh.formats import SUFFIX_FORMATS  # needs numpy, which options are made without

        file = File(self.allowed).read(given, place)
        if file is None or file.suffix.lower() in SUFFIX_FORMATS:
            return file
        place.wrong(
            f"{readable(file.name)} is no mesh file.",
            f"Mesh files end in {', '.join(SUFFIX_FORMATS)}.",
        )
        return None


@dataclass(frozen=True)
class Patterns:
    """Paths of mesh files; ``*`` stands for any part of a name, ``**`` for any folders."""

    allowed: str = 'a list of paths, in which * stands for any part of a name: ["milled/*.stl"]'

    def read(self, given: Any, place: Place) -> tuple[str, ...] | None:
        """Return the patterns as they are; a single one need not be in a list."""
        texts = read_texts(
            [given] if isinstance(given, str) else given, place, f"Give {self.allowed}."
        )
        if texts is None:
            return None
        if not texts or not all(texts):
            what = "One of its paths is empty." if texts else "It is an empty list."
            place.wrong(what, f"Give {self.allowed}.")
            return None
        return tuple(texts)


def read_texts(given: Any, place: Place, remedy: str) -> list[str] | None:
    """Return a list of texts without space around them; note what is not one."""
    noted = list(not_texts(given, remedy))
    for problem in noted:
        note(problem, place)
    return None if noted else [item.strip() for item in given]


def there(file: Path, is_kind: Callable[[Path], bool] = Path.is_file) -> bool:
    """Whether a file or folder is there; not if no name can be so long, or hold such signs."""
    try:
        return is_kind(file)
    except (OSError, ValueError):
        return False


def why_no_file(path: str, folder: Path) -> str:
    r"""Say how a path from a folder may have been meant, or that \ is written /."""

    def why(name: str) -> str:
        return "" if there(folder / name) else what_is_there(folder / name)

    return slash_remedy(path, why)


def what_is_there(file: Path) -> str:
    """Say how the name of a file that is not there may have been meant."""
    parent = file.parent
    if not there(parent, Path.is_dir):
        return f"There is no folder {parent.name} either. {_like(parent)}".rstrip()
    return _like(file) or "Check the name; paths start from this file's folder."


def _like(file: Path) -> str:
    try:
        names = sorted(entry.name for entry in file.parent.iterdir())
    except OSError:
        return ""
    return suggestion(file.name, names)


def _time_or_number(value: Any) -> str:
    return shown(value) if isinstance(value, (bool, int, float)) else str(value)
