"""How examiners score a crown, and what their numbers mean."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from ..allowed import Number
from ..setting import Rule, check_fields, setting
from ..words.text import listed

SCORES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "gap": ("no gap felt", "gap just felt", "gap clearly felt"),
        "contact": ("as wanted", "a little light or tight", "open, or will not pass"),
        "seating": ("seats fully", "seats after adjustment", "does not seat"),
    }
)
"""What examiners score, with the words for 0, 1, 2, …, best first; words of our own."""


@dataclass(frozen=True)
class ScoreScale:
    """How examiners score: 0 is best, each further number a worse category.

    Attributes
    ----------
    words : mapping of str to tuple of str
        For each item that is scored, the words for its categories, best first.
    acceptable : int
        The worst score with which a crown can still be placed.
    """

    words: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: SCORES)
    acceptable: int = setting(
        1,
        Number(0, low_open=False, whole=True),
        "The worst score with which a crown can still be placed.",
    )

    def __post_init__(self) -> None:
        """Refuse what is no score; keep the words from change."""
        check_fields(self, _SCORE_RULES)
        object.__setattr__(self, "words", MappingProxyType(dict(self.words)))

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the words, since a read-only mapping cannot be."""
        return type(self), (dict(self.words), self.acceptable)


def _beyond_words(scale: ScoreScale) -> str:
    counts = {item: len(words) for item, words in scale.words.items()}
    fewest = min(counts, key=lambda item: counts[item])
    if scale.acceptable < counts[fewest]:
        return ""
    return f"{scale.acceptable} is not a score of {fewest}, which has 0 to {counts[fewest] - 1}."


_SCORE_RULES = (
    Rule(("acceptable",), _beyond_words, f"Give a score that all of {listed(tuple(SCORES))} have."),
)
