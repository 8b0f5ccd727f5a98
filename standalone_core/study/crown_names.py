"""What the crowns of a study are called."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ..readable import readable

if TYPE_CHECKING:
    from .plan import GroupPlan


def own_names(group: GroupPlan) -> tuple[str, ...]:
    """Return what a group's crowns are called in it: as they are listed, or by their files."""
    return group.crowns or tuple(readable(scan.stem) for scan in group.scans)


def crown_names(groups: Sequence[GroupPlan]) -> dict[Path, str]:
    """Return a name per scan, as :meth:`.StudyPlan.crown_names` says."""
    candidates = {
        scan: (
            name,
            f"{group.name}/{name}",
            f"{group.name}/{readable(scan.name)}",
            readable(f"{group.name}/{scan.parent.name}/{scan.name}"),
            readable(scan.as_posix()),
        )
        for group in groups
        for scan, name in zip(group.scans, own_names(group), strict=True)
    }
    counts: dict[str, int] = {}
    for names in candidates.values():
        for name in dict.fromkeys(names):
            counts[name] = counts.get(name, 0) + 1
    return {
        scan: next((name for name in names if counts[name] == 1), names[-1])
        for scan, names in candidates.items()
    }
