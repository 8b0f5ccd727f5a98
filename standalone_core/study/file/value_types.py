"""What the values of a study file can be: each kind reads one, or says what is wrong with it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from ...words.text import capital, listed
from .mistakes import nearest, suggestion
from .place import Place


class Kind(Protocol):
    """A kind of value."""

    @property
    def allowed(self) -> str:
        """What is allowed, in words that follow "Give"."""

    def read(self, given: Any, place: Place) -> Any:
        """Return the value as a plan holds it; note every mistake, and return None if any."""


@dataclass(frozen=True)
class Text:
    """Words for readers."""

    filled: bool = False
    allowed: str = "a text in quotes"

    def read(self, given: Any, place: Place) -> str | None:
        """Return the text without space around it."""
        if not isinstance(given, str):
            place.wrong(f"It is {shown(given)}, not a text.", f"Give {self.allowed}.")
            return None
        if self.filled and not given.strip():
            place.wrong("It is empty.", f"Give {self.allowed}.")
            return None
        return given.strip()


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
class Flag:
    """Yes or no."""

    allowed: str = "true or false"

    def read(self, given: Any, place: Place) -> bool | None:
        """Return a truth value; words and numbers are not taken for one."""
        if isinstance(given, bool):
            return given
        place.wrong(f"It is {shown(given)}.", "Give true or false, without quotes.")
        return None


@dataclass(frozen=True)
class Number:
    """A number between limits; a limit itself is allowed unless it is ``open``."""

    low: float = 0.0
    high: float = math.inf
    low_open: bool = True
    high_open: bool = False
    whole: bool = False

    @property
    def allowed(self) -> str:
        """The range in words."""
        kind = "a whole number" if self.whole else "a number"
        low = f"above {self.low:g}" if self.low_open else f"of {self.low:g} or more"
        if not math.isfinite(self.high):
            return f"{kind} {low}"
        if not self.low_open and not self.high_open:
            return f"{kind} from {self.low:g} to {self.high:.12g}"
        return f"{kind} {low} and {'below' if self.high_open else 'up to'} {self.high:.12g}"

    def read(self, given: Any, place: Place) -> float | int | None:
        """Return a finite number within the limits."""
        if isinstance(given, bool) or not isinstance(given, (int, float)):
            place.wrong(f"It is {shown(given)}, not a number.", self._remedy(given))
            return None
        value = _float(given)
        if self.whole and math.isfinite(value) and not value.is_integer():
            place.wrong(f"{shown(given)} is not a whole number.", f"Give {self.allowed}.")
            return None
        if not self._holds(value):
            place.wrong(f"{shown(given)} is not allowed.", f"Give {self.allowed}.")
            return None
        return int(value) if self.whole else value

    def _holds(self, value: float) -> bool:
        above = value > self.low if self.low_open else value >= self.low
        below = value < self.high if self.high_open else value <= self.high
        return above and below and math.isfinite(value)

    def _remedy(self, given: Any) -> str:
        text = given.strip().replace(",", ".") if isinstance(given, str) else ""
        try:
            bare = self._holds(float(text))
        except ValueError:
            bare = False
        if bare:
            return f"Leave the quotes out: {text}."
        return f"Give {self.allowed}."


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
        return Number().read(given, place)


@dataclass(frozen=True)
class Choice:
    """One word of several."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:
        """All words."""
        return listed([f'"{word}"' for word in self.words], "or")

    def read(self, given: Any, place: Place) -> str | None:
        """Return one of the words."""
        if isinstance(given, str) and given in self.words:
            return given
        close = nearest(given, self.words) if isinstance(given, str) else ""
        remedy = f'Did you mean "{close}"? ' if close else ""
        place.wrong(f"It is {shown(given)}.", f"{remedy}Give {self.allowed}.")
        return None


@dataclass(frozen=True)
class Names:
    """A list of different names; of known ones only, if those are given."""

    known: tuple[str, ...] | None = None
    empty: bool = True
    thing: str = "name"

    @property
    def allowed(self) -> str:
        """What the list holds."""
        if self.known is None:
            return f"a list of {self.thing}s in quotes, such as [{self._example}]"
        return f"a list of {self.thing}s, out of {', '.join(self.known)}"

    @property
    def _example(self) -> str:
        return '"occlusal", "margin"' if self.thing == "area" else '"one", "two"'

    def read(self, given: Any, place: Place) -> tuple[str, ...] | None:
        """Return the names in the order of the file, so that all of them can be checked."""
        texts = read_texts(given, place, f"Give {self.allowed}.")
        if texts is None:
            return None
        if not texts and not self.empty:
            place.wrong("It is an empty list.", f"Give {self.allowed}.")
            return None
        for index, text in enumerate(texts):
            if self.known is not None and text not in self.known:
                no_such(self.thing, text, self.known, place / index)
            elif text in texts[:index]:
                (place / index).wrong(f"{shown(text)} is in the list twice.", "Name it once.")
        return tuple(texts)


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
class Direction:
    """A direction in the design's frame."""

    allowed: str = "three numbers that are not all 0, such as [1.0, 0.0, 0.0]"

    def read(self, given: Any, place: Place) -> tuple[float, ...] | None:
        """Return three numbers."""
        numbers = _three_numbers(given)
        if not 0 < math.hypot(*numbers) < math.inf:
            place.wrong(f"It is {shown(given)}, not a direction.", f"Give {self.allowed}.")
            return None
        return numbers


@dataclass(frozen=True)
class Spot:
    """A place in the design's frame, mm."""

    allowed: str = "three numbers, mm, such as [1.2, -4.5, 3.0]"

    def read(self, given: Any, place: Place) -> tuple[float, ...] | None:
        """Return three numbers."""
        numbers = _three_numbers(given)
        if not numbers:
            place.wrong(f"It is {shown(given)}, not a place.", f"Give {self.allowed}.")
            return None
        return numbers


@dataclass(frozen=True)
class File:
    """A file that is there, by its path from the study file's folder."""

    allowed: str = "the path of a file, from this file's folder"

    def read(self, given: Any, place: Place) -> Path | None:
        """Return the path, joined to the folder."""
        text = Text(filled=True, allowed=self.allowed).read(given, place)
        if text is None:
            return None
        file = place.folder / text
        try:
            there, folder = file.is_file(), file.is_dir()
        except (OSError, ValueError):  # too long a name, or a sign that no name can hold
            there = folder = False
        if there:
            return file
        if folder:
            place.wrong(f"{shown(text)} is a folder.", f"Give {self.allowed}.")
        else:
            place.wrong(f"There is no file {shown(text)}.", what_is_there(file))
        return None


@dataclass(frozen=True)
class Patterns:
    """Paths of scans; ``*`` stands for any part of a name, ``**`` for any folders."""

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


def _three_numbers(given: Any) -> tuple[float, ...]:
    """Return three finite numbers; none if that is not what is given."""
    parts = given if isinstance(given, list) else []
    plain = all(isinstance(n, (int, float)) and not isinstance(n, bool) for n in parts)
    numbers = tuple(_float(part) for part in parts) if plain else ()
    return numbers if len(numbers) == 3 and all(map(math.isfinite, numbers)) else ()


def read_texts(given: Any, place: Place, remedy: str) -> list[str] | None:
    """Return a list of texts without space around them; note what is not one."""
    if not isinstance(given, list):
        hint = f" Put it in brackets: [{shown(given)}]." if isinstance(given, str) else ""
        place.wrong(f"It is {shown(given)}, not a list.", hint.strip() or remedy)
        return None
    good = True
    for index, item in enumerate(given):
        if not isinstance(item, str):
            (place / index).wrong(f"{capital(shown(item))} is not a text.", "Put it in quotes.")
            good = False
    return [item.strip() for item in given] if good else None


def no_such(thing: str, word: str, known: Sequence[str], place: Place) -> None:
    """Note a name that is not known, with what was probably meant or all that are known."""
    remedy = suggestion(word, known) or f"Choose from {', '.join(known)}."
    place.wrong(f"There is no {thing} called {shown(word)}.", remedy)


def what_is_there(file: Path) -> str:
    """Say how the name of a file that is not there may have been meant."""
    parent = file.parent
    if not parent.is_dir():
        return f"There is no folder {parent.name} either. {_like(parent)}".rstrip()
    return _like(file) or "Check the name; paths start from this file's folder."


def _like(file: Path) -> str:
    try:
        names = sorted(entry.name for entry in file.parent.iterdir())
    except OSError:
        return ""
    return suggestion(file.name, names)


def shown(value: Any) -> str:
    """Show a value of a file in a sentence."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 60 else f'"{value[:57]}…"'
    if isinstance(value, (int, float)):
        return f"{_float(value):.12g}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        inside = ", ".join(shown(item) for item in value[:4])
        return f"the list [{inside}{', …' if len(value) > 4 else ''}]"
    return f"the date or time {value}"


def _time_or_number(value: Any) -> str:
    return shown(value) if isinstance(value, (bool, int, float)) else str(value)


def _float(number: float) -> float:
    """Return a number as float, also a whole one with more digits than a float can hold."""
    try:
        return float(number)
    except OverflowError:
        return math.inf if number > 0 else -math.inf
