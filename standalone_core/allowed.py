"""What the value of a setting can be: numbers, words, directions; and what is wrong with others.

Every kind takes a value as Python, a study file or Blender hand it over (``checked``) or as it was
typed on a command line (``of_text``), and refuses it in the same words.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from numbers import Real
from types import MappingProxyType
from typing import Any, Protocol

from .suggestion import nearest, suggestion
from .words.text import capital, listed


class NotAllowed(Exception):  # noqa: N818 - never leaves this package: an error names its subject
    """A value that a setting cannot have.

    Attributes
    ----------
    reason, remedy : str
        Full sentences, as of a ``CuspwiseError``.
    at : str or int or None
        The key or place inside a value of several parts.
    """

    def __init__(self, reason: str, remedy: str, at: str | int | None = None) -> None:
        super().__init__(reason, remedy)
        self.reason, self.remedy, self.at = reason, remedy, at


class Allowed(Protocol):
    """A kind of value."""

    @property
    def allowed(self) -> str:
        """What is allowed, in words that follow "Give"."""

    def checked(self, given: Any) -> Any:
        """Return the value as settings hold it; raise ``NotAllowed`` for any other."""

    def of_text(self, text: str) -> Any:
        """Return the value that was typed; raise ``NotAllowed`` for any other."""


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

    def checked(self, given: Any) -> float | int:
        """Return a finite number within the limits."""
        if isinstance(given, bool) or not isinstance(given, Real):
            raise NotAllowed(f"It is {shown(given)}, not a number.", self._remedy(given))
        value = as_float(given)
        if self.whole and math.isfinite(value) and not value.is_integer():
            raise NotAllowed(f"{shown(given)} is not a whole number.", f"Give {self.allowed}.")
        if not self.holds(value):
            raise NotAllowed(f"{shown(given)} is not allowed.", f"Give {self.allowed}.")
        return (given if isinstance(given, int) else int(value)) if self.whole else value

    def of_text(self, text: str) -> float | int:
        """Return the number that was typed; say what to write in place of a decimal comma."""
        try:
            return self.checked(float(text))
        except ValueError:
            pass
        point = text.strip().replace(",", ".")
        if _number(point) is not None:
            raise NotAllowed(f"{text.strip()} has a decimal comma.", f"Write {point}.")
        raise NotAllowed(f"It is {shown(text)}, not a number.", f"Give {self.allowed}.")

    def holds(self, value: float) -> bool:
        """Tell whether a number is finite and within the limits."""
        above = value > self.low if self.low_open else value >= self.low
        below = value < self.high if self.high_open else value <= self.high
        return above and below and math.isfinite(value)

    def _remedy(self, given: Any) -> str:
        text = given.strip().replace(",", ".") if isinstance(given, str) else ""
        number = _number(text)
        if number is not None and self.holds(number):
            return f"Leave the quotes out: {text}."
        return f"Give {self.allowed}."


@dataclass(frozen=True)
class Flag:
    """Yes or no."""

    allowed: str = "true or false"

    def checked(self, given: Any) -> bool:
        """Return a truth value; words and numbers are not taken for one."""
        if isinstance(given, bool):
            return given
        raise NotAllowed(f"It is {shown(given)}.", "Give true or false, without quotes.")

    def of_text(self, text: str) -> bool:
        """Read ``true`` or ``false``."""
        plain = text.strip().casefold()
        if plain not in ("true", "false"):
            raise NotAllowed(f"It is {shown(text)}.", f"Give {self.allowed}.")
        return plain == "true"


@dataclass(frozen=True)
class Choice:
    """One word of several."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:
        """All words."""
        return listed([f'"{word}"' for word in self.words], "or")

    def checked(self, given: Any) -> str:
        """Return one of the words."""
        if isinstance(given, str) and given in self.words:
            return given
        close = nearest(given, self.words) if isinstance(given, str) else ""
        remedy = f'Did you mean "{close}"? ' if close else ""
        raise NotAllowed(f"It is {shown(given)}.", f"{remedy}Give {self.allowed}.")

    def of_text(self, text: str) -> str:
        """Read a word, with - or _ between its parts."""
        word = text.strip()
        return self.checked(word if word in self.words else word.replace("-", "_"))


@dataclass(frozen=True)
class Text:
    """Words for readers."""

    filled: bool = False
    allowed: str = "a text in quotes"

    def checked(self, given: Any) -> str:
        """Return the text without space around it."""
        if not isinstance(given, str):
            raise NotAllowed(f"It is {shown(given)}, not a text.", f"Give {self.allowed}.")
        if self.filled and not given.strip():
            raise NotAllowed("It is empty.", f"Give {self.allowed}.")
        return given.strip()

    def of_text(self, text: str) -> str:
        """Return the text without space around it."""
        return self.checked(text)


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

    def checked(self, given: Any) -> tuple[str, ...]:
        """Return the names in their order."""
        for problem in self.problems(given):
            raise problem
        return tuple(name.strip() for name in given)

    def of_text(self, text: str) -> tuple[str, ...]:
        """Read names with commas between."""
        return self.checked([name.strip() for name in text.split(",") if name.strip()])

    def problems(self, given: Any) -> Iterator[NotAllowed]:
        """Say all that is wrong with a list, each with its place in it where it has one."""
        wrong = list(not_texts(given, f"Give {self.allowed}."))
        yield from wrong
        if wrong:
            return
        names = [name.strip() for name in given]
        if not names and not self.empty:
            yield NotAllowed("It is an empty list.", f"Give {self.allowed}.")
        for place, name in enumerate(names):
            if self.known is not None and name not in self.known:
                yield no_such(self.thing, name, self.known, place)
            elif name in names[:place]:
                yield NotAllowed(f"{shown(name)} is in the list twice.", "Name it once.", place)


@dataclass(frozen=True)
class Places(Names):
    """A list of different comparisons, each an area and a measure with a space between."""

    thing: str = "comparison"
    measures: tuple[str, ...] = ()

    @property
    def _example(self) -> str:
        return f'"margin {self.measures[0]}"'

    def checked(self, given: Any) -> tuple[str, ...]:
        """Return the comparisons in their order."""
        return tuple(" ".join(name.split()) for name in super().checked(given))

    def problems(self, given: Any) -> Iterator[NotAllowed]:
        """Say all that is wrong with a list, each with its place in it where it has one."""
        wrong = list(super().problems(given))
        yield from wrong
        if wrong:
            return
        for place, name in enumerate(given):
            area, _, measure = name.strip().rpartition(" ")
            if not area.strip():
                reason = f"{shown(name)} is not an area and a measure."
                yield NotAllowed(reason, f"Write it as {self._example}.", place)
            elif measure not in self.measures:
                yield no_such("measure", measure, self.measures, place)


@dataclass(frozen=True)
class Direction:
    """A direction in the design's frame."""

    allowed: str = "three numbers that are not all 0, such as [1.0, 0.0, 0.0]"

    def checked(self, given: Any) -> tuple[float, ...]:
        """Return three numbers."""
        numbers = _finite(given)
        if len(numbers) != 3 or not any(numbers) or math.hypot(*numbers) == math.inf:
            raise NotAllowed(f"It is {shown(given)}, not a direction.", f"Give {self.allowed}.")
        return numbers

    def of_text(self, text: str) -> tuple[float, ...]:
        """Read ``X,Y,Z``."""
        remedy = "Give three numbers that are not all 0, such as 1,0,0."
        try:
            return self.checked([float(part) for part in text.split(",")])
        except (ValueError, NotAllowed):
            raise NotAllowed(f"It is {shown(text)}, not a direction.", remedy) from None


@dataclass(frozen=True)
class Spot:
    """A place in the design's frame, mm."""

    allowed: str = "three numbers, mm, such as [1.2, -4.5, 3.0]"

    def checked(self, given: Any) -> tuple[float, ...]:
        """Return three numbers."""
        numbers = _finite(given)
        if len(numbers) != 3:
            raise NotAllowed(f"It is {shown(given)}, not a place.", f"Give {self.allowed}.")
        return numbers

    def of_text(self, text: str) -> tuple[float, ...]:
        """Read ``X,Y,Z``."""
        return self.checked([_number(part) for part in text.split(",")])


@dataclass(frozen=True)
class Points:
    """Places in space, as many as there are."""

    allowed: str = "(k, 3) finite coordinates in mm"

    def checked(self, given: Any) -> tuple[tuple[float, ...], ...]:
        """Return a row of three numbers per place."""
        rows = tuple(map(_finite, given)) if _has_parts(given) else ()
        if not rows or any(len(row) != 3 for row in rows):
            raise NotAllowed("It does not hold places.", f"Give {self.allowed}.")
        return rows

    def of_text(self, text: str) -> tuple[tuple[float, ...], ...]:
        """Read places with ; between."""
        return self.checked([[_number(x) for x in row.split(",")] for row in text.split(";")])


@dataclass(frozen=True)
class PerArea:
    """A number for each area that is named."""

    each: Number = Number()

    @property
    def allowed(self) -> str:
        """What is allowed for each area."""
        return f"{self.each.allowed} for each area"

    def checked(self, given: Any) -> Mapping[str, float]:
        """Return a copy that cannot be changed."""
        if not isinstance(given, Mapping):
            raise NotAllowed(f"It is {shown(given)}.", f"Give {self.allowed}.")
        values: dict[str, float] = {}
        for area, value in given.items():
            try:
                values[area] = self.each.checked(value)
            except NotAllowed as problem:
                raise NotAllowed(problem.reason, problem.remedy, area) from None
        return MappingProxyType(values)

    def of_text(self, text: str) -> float:
        """Read the number of one area."""
        return self.each.of_text(text)


def not_texts(given: Any, remedy: str) -> Iterator[NotAllowed]:
    """Say what is wrong with a list that is to hold texts."""
    if isinstance(given, str) or not _has_parts(given) or isinstance(given, Mapping):
        hint = f"Put it in brackets: [{shown(given)}]." if isinstance(given, str) else ""
        yield NotAllowed(f"It is {shown(given)}, not a list.", hint or remedy)
        return
    for place, item in enumerate(given):
        if not isinstance(item, str):
            words = shown(item)
            reason = f"{capital(words)} is not a text."
            yield NotAllowed(reason, "Put it in quotes.", place)


def no_such(thing: str, word: str, known: Sequence[str], at: str | int | None = None) -> NotAllowed:
    """Say that a name is not known, and what was probably meant or all that are known."""
    remedy = suggestion(word, known) or f"Choose from {', '.join(known)}."
    return NotAllowed(f"There is no {thing} called {shown(word)}.", remedy, at)


def shown(value: Any) -> str:
    """Show a value in a sentence."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 60 else f'"{value[:57]}…"'
    if isinstance(value, Real):
        return f"{as_float(value):.12g}"
    if isinstance(value, (date, time)):
        return f"the date or time {value}"
    return _shown_parts(value) if _has_parts(value) else str(value)


def _shown_parts(value: Any) -> str:
    if isinstance(value, Mapping):
        return "a table"
    parts = list(value)
    inside = ", ".join(shown(item) for item in parts[:4])
    return f"the list [{inside}{', …' if len(parts) > 4 else ''}]"


def as_float(number: Any) -> float:
    """Return a number as float, also a whole one with more digits than a float can hold."""
    try:
        return float(number)
    except OverflowError:
        return math.inf if number > 0 else -math.inf


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _has_parts(value: Any) -> bool:
    """Tell whether a value is a list, tuple or array."""
    return isinstance(value, Iterable) and hasattr(value, "__len__") and hasattr(value, "__iter__")


def _finite(given: Any) -> tuple[float, ...]:
    """Return the numbers of a list; none if one of them is no finite number."""
    parts = list(given) if _has_parts(given) and not isinstance(given, (str, Mapping)) else []
    plain = all(isinstance(part, Real) and not isinstance(part, bool) for part in parts)
    numbers = tuple(as_float(part) for part in parts) if plain else ()
    return numbers if all(map(math.isfinite, numbers)) else ()
