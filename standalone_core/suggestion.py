"""What was probably meant by a word that is not known."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

_SHORTEST = 3  # one letter more or less makes too many words of two


def suggestion(word: str, known: Iterable[str]) -> str:
    """Return what was probably meant as a question, or an empty text.

    Capitals, spaces and hyphens do not count, nor does a part that was left out or added.
    """
    close = nearest(word, known)
    return f"Did you mean {close}?" if close else ""


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known word most like this one, or an empty text; mm is no likely m."""
    if len(word) < _SHORTEST:
        return ""
    plain = {_plain(name): name for name in known}
    sought = _plain(word)
    close = get_close_matches(sought, plain, n=1, cutoff=0.65)
    if close:
        return plain[close[0]]
    parts = [name for name in plain if min(len(name), len(sought)) > 3 and _share(name, sought)]
    return plain[parts[0]] if len(parts) == 1 else ""


def _plain(word: str) -> str:
    return word.strip().casefold().replace(" ", "_").replace("-", "_")


def _share(name: str, sought: str) -> bool:
    return name.startswith(sought) or sought.startswith(name) or name.endswith(f"_{sought}")
