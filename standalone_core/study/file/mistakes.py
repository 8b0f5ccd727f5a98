"""All mistakes of a file at once, each with its line and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ...errors import CuspwiseError
from ...readable import readable


@dataclass(frozen=True)
class Mistake:
    """One thing in a file that cannot be used.

    Attributes
    ----------
    file : pathlib.Path
    line : int or None
        From 1 on; None for what is absent.
    key : str
        The key or column, dotted: ``analysis.alpha``; empty if the mistake is not about one.
    reason, remedy : str
        What is wrong and what can be done, as full sentences.
    """

    file: Path
    line: int | None
    key: str
    reason: str
    remedy: str

    @property
    def text(self) -> str:
        """The mistake on one line."""
        line = "" if self.line is None else f":{self.line}"
        key = f"{self.key}: " if self.key else ""
        words = f"{self.file.name or self.file}{line}: {key}{self.reason} {self.remedy}"
        return readable(words).rstrip()


class StudyFileError(CuspwiseError):
    """A study file, or a table that belongs to it, with mistakes.

    Attributes
    ----------
    mistakes : tuple of Mistake
        By file and line.
    """

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes = in_order(mistakes)
        first = self.mistakes[0]
        number = len(self.mistakes)
        super().__init__(
            f"There {'is one mistake' if number == 1 else f'are {number} mistakes'} in it.",
            subject=first.file,
            remedy="\n".join(["Correct what follows.", *self.lines]),
        )

    def __reduce__(self) -> tuple[object, ...]:
        return type(self), (self.mistakes,)

    @property
    def lines(self) -> tuple[str, ...]:
        """One line of text per mistake."""
        return tuple(mistake.text for mistake in self.mistakes)


def in_order(mistakes: Iterable[Mistake]) -> tuple[Mistake, ...]:
    """Return mistakes by file, in the order in which files come up, and line; each once."""
    found = list(dict.fromkeys(mistakes))
    files = list(dict.fromkeys(mistake.file for mistake in found))
    return tuple(sorted(found, key=lambda m: (files.index(m.file), m.line or 0)))
