"""Paths that were written with back-slashes, and how to write them."""

from __future__ import annotations

import re
from collections.abc import Callable

# What TOML makes of a back-slash and the letter after it, in a text in double quotes.
_ESCAPES = {"\b": "/b", "\t": "/t", "\n": "/n", "\f": "/f", "\r": "/r", "\x1b": "/e", "\\": "/"}
_WRITTEN = {sign: text.replace("/", "\\") for sign, text in _ESCAPES.items()}
_IN_QUOTES = re.compile(r'"[^"\n]*"')


def with_slashes(path: str) -> str:
    r"""Return a path with / for \, also where TOML took one as the start of a sign.

    Examples
    --------
    >>> with_slashes("milled\\m1.stl"), with_slashes("milled\new.stl")
    ('milled/m1.stl', 'milled/new.stl')
    """
    return "".join(_ESCAPES.get(sign, sign) for sign in path)


def as_written(path: str) -> str:
    r"""Return a path as it stands in a study file: with \ and n where TOML made a new line."""
    return "".join(_WRITTEN.get(sign, sign) for sign in path)


def line_with_slashes(line: str) -> str:
    r"""Return a line of TOML with / for \ in its texts in double quotes."""
    return _IN_QUOTES.sub(lambda text: text.group().replace("\\", "/"), line)


def slash_remedy(path: str, why: Callable[[str], str]) -> str:
    r"""Say how to write a path that was not found, as it holds \; else why it was not found.

    Parameters
    ----------
    path : str
        As it was read; it may be a pattern.
    why : function
        Says of a path why it was not found; empty if it was.
    """
    meant = with_slashes(path)
    if meant == path:
        return why(path)
    return f'Write / instead: "{meant}". {why(meant)}'.rstrip()
