"""The answer in one breath."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Headline:
    """The answer in one breath: a verdict key, a title, and sentences that give the reasons."""

    verdict: str
    title: str
    sentences: tuple[str, ...]
