"""The answer in one breath."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .names import NO_TOLERANCE, NOT_DECIDABLE, OUTSIDE, WITHIN

DECIDING = (OUTSIDE, NOT_DECIDABLE, WITHIN)
"""Which verdict of an area decides on the crown: the first of these that any has."""


@dataclass(frozen=True)
class Headline:
    """The answer in one breath: a verdict key, a title, and sentences that give the reasons."""

    verdict: str
    title: str
    sentences: tuple[str, ...]


def decisive(verdicts: Iterable[str]) -> str:
    """Return the verdict on a crown from those on its areas.

    Examples
    --------
    >>> decisive(["within", "no_tolerance", "outside"]), decisive(["no_tolerance"])
    ('outside', 'no_tolerance')
    """
    found = set(verdicts)
    return next((verdict for verdict in DECIDING if verdict in found), NO_TOLERANCE)
