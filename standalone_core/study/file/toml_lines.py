"""On which line of a TOML file each key and list item stands, which ``tomllib`` does not say."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left

KeyPath = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")  # between statements, and inside brackets
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:\\.|(?!""").)*""""{0,2}'
    r"|'''(?:(?!''').)*''''{0,2}"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}\n#]*")  # a number, truth value or time, up to what ends it


def key_lines(text: str) -> dict[KeyPath, int]:
    """Find the lines of all keys of a TOML document.

    Parameters
    ----------
    text : str
        A document that ``tomllib`` reads without an error.

    Returns
    -------
    dict of key path to int
        Line of each table, key and list item, from 1 on; that of a table is where it is first
        named. A path holds keys as str and places in lists as int, as one would index the
        parsed document: ``("groups", "milled", "scans", 0)``.
    """
    return _Locator(text.replace("\r\n", "\n")).lines


class _Locator:
    """Walks once through a valid document and notes where things stand."""

    def __init__(self, text: str) -> None:
        self.lines: dict[KeyPath, int] = {}
        self._text = text
        self._at = 0
        self._breaks = [match.start() for match in re.finditer("\n", text)]
        self._tables: dict[KeyPath, int] = {}  # how many an array of tables holds so far
        table: KeyPath = ()
        while self._skip(_BLANK) < len(text):
            if text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)

    def _skip(self, pattern: re.Pattern[str]) -> int:
        """Go past what the pattern matches here; return where that leads."""
        match = pattern.match(self._text, self._at)
        if match is not None:
            self._at = match.end()
        return self._at

    def _take(self, pattern: re.Pattern[str]) -> str:
        start = self._at
        return self._text[start : self._skip(pattern)]

    def _next_is(self, sign: str) -> bool:
        """Whether this sign comes next; if so, go past it."""
        found = self._text.startswith(sign, self._at)
        if found:
            self._at += len(sign)
        return found

    def _note(self, path: KeyPath, position: int) -> None:
        self.lines.setdefault(path, bisect_left(self._breaks, position) + 1)

    def _key(self) -> list[str]:
        """Read a key, which may be dotted, with the space around it."""
        parts: list[str] = []
        while True:
            self._skip(_SPACE)
            if self._text[self._at] in "\"'":
                (part,) = tomllib.loads(f"{self._take(_STRING)} = 0")
            else:
                part = self._take(_BARE)
            parts.append(part)
            self._skip(_SPACE)
            if not self._next_is("."):
                return parts

    def _inside(self, path: KeyPath, part: str) -> KeyPath:
        """Path of a key in a table; for an array of tables, in the last one so far."""
        path = (*path, part)
        return (*path, self._tables[path] - 1) if path in self._tables else path

    def _header(self) -> KeyPath:
        """Read ``[a.b]`` or ``[[a.b]]``; return the path of the table that it opens."""
        start = self._at
        several = self._next_is("[[")
        self._at += 0 if several else 1
        *parents, last = self._key()
        self._at += 2 if several else 1
        path: KeyPath = ()
        for part in parents:
            path = self._inside(path, part)
            self._note(path, start)
        if several:
            array = (*path, last)
            self._note(array, start)
            self._tables[array] = self._tables.get(array, 0) + 1
        path = self._inside(path, last)
        self._note(path, start)
        return path

    def _pair(self, table: KeyPath) -> None:
        """Read ``a.b = value``."""
        start = self._at
        path = table
        for part in self._key():
            path = (*path, part)
            self._note(path, start)
        self._at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        if self._next_is("["):
            self._items(path)
        elif self._next_is("{"):
            self._inline_table(path)
        elif self._text[self._at] in "\"'":
            self._skip(_STRING)
        else:
            self._skip(_SCALAR)

    def _items(self, path: KeyPath) -> None:
        """Read a list from behind its opening bracket to behind the closing one."""
        index = 0
        while True:
            self._skip(_BLANK)
            if self._next_is("]"):
                return
            self._note((*path, index), self._at)
            self._value((*path, index))
            self._skip(_BLANK)
            self._next_is(",")
            index += 1

    def _inline_table(self, path: KeyPath) -> None:
        while True:
            self._skip(_BLANK)
            if self._next_is("}"):
                return
            self._pair(path)
            self._skip(_BLANK)
            self._next_is(",")
