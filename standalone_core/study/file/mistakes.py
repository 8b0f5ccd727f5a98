"""All mistakes of a file at once, each with its line and what to do about it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ...errors import CuspwiseError
from ...readable import readable
from ...words.text import listed


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
        What is wrong and what can be done, as full sentences; lines to be pasted stand below.
    """

    file: Path
    line: int | None
    key: str
    reason: str
    remedy: str

    @property
    def text(self) -> str:
        """The mistake on one line, but for lines to be pasted."""
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
        super().__init__(
            _counted(self.mistakes),
            subject=self.mistakes[0].file,
            remedy="\n".join(["Correct what follows.", *self.lines]),
        )

    def __reduce__(self) -> tuple[object, ...]:
        return type(self), (self.mistakes,)

    @property
    def lines(self) -> tuple[str, ...]:
        """A text per mistake."""
        return tuple(mistake.text for mistake in self.mistakes)


def in_order(mistakes: Iterable[Mistake]) -> tuple[Mistake, ...]:
    """Return mistakes by file, in the order in which files come up, and line; each once."""
    found = list(dict.fromkeys(mistakes))
    files = list(dict.fromkeys(mistake.file for mistake in found))
    return tuple(sorted(found, key=lambda m: (files.index(m.file), m.line or 0)))


def _counted(mistakes: tuple[Mistake, ...]) -> str:
    """Say how many mistakes there are in the first file, and in the others."""
    first, *others = Counter(mistake.file for mistake in mistakes).items()
    count = "is one mistake" if first[1] == 1 else f"are {first[1]} mistakes"
    more = [f"{number} in {file.name}" for file, number in others]
    return f"There {listed([f'{count} in it', *more])}."
