"""A place in a study file, where mistakes are noted with the line that they stand on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from .mistakes import Mistake
from .toml_lines import KeyPath


@dataclass(frozen=True)
class Place:
    """Where a value stands; shares the list of mistakes with all places of its file.

    Attributes
    ----------
    file : pathlib.Path
        The study file.
    lines : mapping of key path to int
        Of all its keys and list items.
    mistakes : list of Mistake
        What has been found so far.
    path : key path
        This place.
    force : bool
        Whether numbers that are hardly meant are taken as they are.
    """

    file: Path
    lines: Mapping[KeyPath, int]
    mistakes: list[Mistake] = field(default_factory=list)
    path: KeyPath = ()
    force: bool = False

    def __truediv__(self, part: str | int) -> Place:
        """Return the place of a key or list item in this one."""
        return replace(self, path=(*self.path, part))

    @property
    def folder(self) -> Path:
        """The folder that paths in the file are relative to."""
        return self.file.parent

    @property
    def line(self) -> int | None:
        """The line of this place, or of the innermost table around it that is in the file."""
        for length in range(len(self.path), 0, -1):
            if self.path[:length] in self.lines:
                return self.lines[self.path[:length]]
        return None

    @property
    def key(self) -> str:
        """The dotted key, without places in lists."""
        return ".".join(part for part in self.path if isinstance(part, str))

    def wrong(self, reason: str, remedy: str) -> None:
        """Note a mistake."""
        self.mistakes.append(Mistake(self.file, self.line, self.key, reason, remedy))
