"""Names that any text, table or terminal can hold, and places and sizes in words."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path, PurePath

from .words.text import signed_number


def readable(name: str | PurePath) -> str:
    r"""Return a name with the bytes that are no UTF-8 written as ``\xff``; any other as it is.

    Python holds such bytes of a file's name as lone surrogates, which no UTF-8 file can take.

    Examples
    --------
    >>> print(readable("crown_\udcff.stl"), readable("Krone ü.stl"))
    crown_\xff.stl Krone ü.stl
    """
    text = str(name)
    if text.isascii():
        return text
    try:
        return text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    except UnicodeEncodeError:  # a surrogate that stands for no byte
        return text.encode("utf-8", "backslashreplace").decode("utf-8")


def way_from(folder: str | PurePath, path: Path) -> str | None:
    """Return the way from a folder to a file, with ``/``; None where there is none.

    Links on the way are followed, but the file's own name is kept. On another drive there is no
    way.
    """
    place = os.path.join(os.path.realpath(path.parent), path.name)
    try:
        return Path(os.path.relpath(place, os.path.realpath(folder))).as_posix()
    except ValueError:
        return None


def place_words(place: Sequence[float], digits: int = 1) -> str:
    """Return coordinates in words, without their unit.

    Examples
    --------
    >>> place_words((1.2, -0.34, 0.0)), place_words((1.2, -0.34, 0.0), digits=2)
    ('(1.2, −0.3, 0.0)', '(1.20, −0.34, 0.00)')
    """
    inner = ", ".join(signed_number(value + 0.0, f".{digits}f") for value in place)
    return f"({inner})"


def size_words(count: int) -> str:
    """Return a count of bytes in words.

    Examples
    --------
    >>> size_words(12_300), size_words(461_900_000), size_words(2_340_000_000)
    ('0.1 MB', '461.9 MB', '2.3 GB')
    """
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{max(0.1, count / 1e6):.1f} MB"
