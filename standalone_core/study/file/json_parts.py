"""A JSON file of a study's results, read part by part: every part knows the way to itself."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from ...readable import readable, size_words
from .mistakes import Mistake, StudyFileError
from .value_types import what_is_there

MOST_BYTES = 300_000_000
"""Larger files are not read: that takes several times as much memory."""

_WRITTEN_BY = "Give the study.json that 'cuspwise study' wrote"
_ANEW = f"{_WRITTEN_BY}, unchanged; if it is damaged, run that study anew."
_KINDS = {dict: "an object", list: "a list", str: "a text", bool: "true or false"}


@dataclass(frozen=True)
class JsonPart:
    """A part of a JSON file.

    Attributes
    ----------
    file : pathlib.Path
    value : object
        As JSON holds it.
    way : str
        To this part, such as ``crowns[3].group``; empty for the whole.
    """

    file: Path
    value: Any
    way: str = ""

    def __getitem__(self, key: str) -> JsonPart:
        """Return what an object holds under a key; refuse what does not hold it."""
        found = self.get(key)
        if found is None:
            self.refuse(f"{key} is missing.")
        return found

    def get(self, key: str) -> JsonPart | None:
        """Return what an object holds under a key; None if it holds no such key."""
        values = self._of(dict)
        return self._inner(key, values[key]) if key in values else None

    def items(self) -> Iterator[tuple[str, JsonPart]]:
        """Yield the keys of an object with what it holds under them."""
        yield from ((_clean(key), self._inner(key, value)) for key, value in self._of(dict).items())

    def each(self) -> Iterator[JsonPart]:
        """Yield the items of a list."""
        for number, value in enumerate(self._of(list)):
            yield JsonPart(self.file, value, f"{self.way}[{number}]")

    def text(self) -> str:
        """Return a text without signs that steer a terminal."""
        return _clean(self._of(str))

    def number(self) -> float:
        """Return a finite number; NaN where there is none (null)."""
        if self.value is None:
            return math.nan
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            self._refuse_kind("a number")
        try:
            number = float(self.value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            self.refuse("It is not a finite number.")
        return number

    def whole(self) -> int:
        """Return a whole number."""
        if isinstance(self.value, bool) or not isinstance(self.value, int):
            self._refuse_kind("a whole number")
        return int(self.value)

    def refuse(self, reason: str, remedy: str = _ANEW) -> NoReturn:
        """Raise StudyFileError about this part."""
        raise _error(self.file, self.way, reason, remedy)

    def _inner(self, key: str, value: Any) -> JsonPart:
        return JsonPart(self.file, value, f"{self.way}.{_clean(key)}".lstrip("."))

    def _of(self, kind: type) -> Any:
        if not isinstance(self.value, kind):
            self._refuse_kind(_KINDS[kind])
        return self.value

    def _refuse_kind(self, wanted: str) -> NoReturn:
        numbers = "nothing" if self.value is None else "a number"
        self.refuse(f"It is {_KINDS.get(type(self.value), numbers)}, not {wanted}.")


def read_json(file: Path) -> JsonPart:
    """Read a whole JSON file of results.

    Raises
    ------
    StudyFileError
        It cannot be read, is too large, or is no JSON.
    """
    text = _text(file)
    try:
        return JsonPart(file, json.loads(text, parse_constant=_not_json))
    except json.JSONDecodeError as problem:
        reason = f"It is no JSON, or damaged ({problem.msg})."
        raise StudyFileError([Mistake(file, problem.lineno, "", reason, _ANEW)]) from problem
    except (ValueError, RecursionError) as problem:
        told = "too deep" if isinstance(problem, RecursionError) else problem
        raise _error(file, "", f"It is no JSON, or damaged ({told}).", _ANEW) from problem


def _not_json(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def _text(file: Path) -> str:
    try:
        if file.exists() and not file.is_file():
            raise _error(file, "", "It is no file.", f"{_WRITTEN_BY}.")
        size = file.stat().st_size
        if size > MOST_BYTES:
            reason = f"It holds {size_words(size)}; more than {size_words(MOST_BYTES)} is not read."
            remedy = f"{_WRITTEN_BY}; of a very large study, a copy without its part pairs will do."
            raise _error(file, "", reason, remedy)
        return file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise _error(file, "", "It is not UTF-8 text.", _ANEW) from problem
    except (OSError, ValueError) as problem:  # a sign that no name can hold
        told = getattr(problem, "strerror", None) or problem
        raise _error(file, "", f"It cannot be read ({told}).", what_is_there(file)) from problem


def _error(file: Path, way: str, reason: str, remedy: str) -> StudyFileError:
    return StudyFileError([Mistake(file, None, way, reason, remedy)])


def _clean(text: str) -> str:
    return "".join(
        " " if ord(sign) < 32 or 127 <= ord(sign) < 160 else sign for sign in readable(text)
    )
