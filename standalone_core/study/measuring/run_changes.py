"""What became of a study's crowns since its last run: added, gone, other files, other names."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ...errors import FileError
from ...words.text import count_words, some_of
from ..plan import StudyPlan
from .result_store import file_checksum

_DOCUMENT = "study.json"  # the report of the last run; a study kept in part has none


@dataclass(frozen=True)
class RunChanges:
    """What is other than in the last run that was written; crowns by their names.

    Attributes
    ----------
    design : bool
        Whether the design's file has other content.
    added, gone : tuple of str
    changed : tuple of str
        Those whose file has other content.
    again : tuple of str
        Those that were left out then.
    renamed : tuple of (str, str)
        Earlier name and name of crowns whose files are the same.
    moved : tuple of str
        Those in another group under the same name.
    same : int
        How many are as they were.
    """

    design: bool
    added: tuple[str, ...]
    gone: tuple[str, ...]
    changed: tuple[str, ...]
    again: tuple[str, ...]
    renamed: tuple[tuple[str, str], ...]
    moved: tuple[str, ...]
    same: int

    @property
    def sentence(self) -> str:
        """All of it in a sentence; of a design that changed, in a second one."""
        renamed = [f"{before} is {name}" for before, name in self.renamed]
        parts = [
            *_part(self.added, "added"),
            *_part(self.gone, "gone"),
            *_part(self.changed, "with another file"),
            *_part(self.again, "left out then, tried again"),
            *_part(renamed, "renamed"),
            *_part(self.moved, "in another group"),
        ]
        if self.same or not parts:
            parts.append(f"{count_words(self.same, 'crown')} unchanged")
        words = f"Since the last run: {'; '.join(parts)}."
        if not self.design:
            return words
        return f"{words} The design has changed: every crown is measured anew."


@dataclass(frozen=True)
class _Known:
    """A crown of a run: its group, and the checksum of its file; empty if that is not known."""

    group: str
    sha256: str


def changes_since(folder: Path, plan: StudyPlan) -> RunChanges | None:
    """Compare a study's crowns with those of its last run.

    Parameters
    ----------
    folder : pathlib.Path
        Of the results.
    plan : StudyPlan
        Whose files are read once, for their checksums.

    Returns
    -------
    RunChanges or None
        None if no earlier run can be read there.
    """
    try:
        document = json.loads((folder / _DOCUMENT).read_text(encoding="utf-8"))
        before = {
            crown["name"]: _Known(crown["group"], crown["sha256"]) for crown in document["crowns"]
        }
        left_out = {scan["name"]: _Known(scan["group"], "") for scan in document["left_out"]}
        design = document["design"]["sha256"]
        groups = {group["name"] for group in document["plan"]["groups"]}
    except (OSError, ValueError, KeyError, TypeError):
        return None
    before |= {name: scan for name, scan in left_out.items() if scan.group in groups}
    names = plan.crown_names()
    now = {
        names[scan]: _Known(group.name, _checksum(scan))
        for group in plan.groups
        for scan in group.scans
    }
    return _compared(before, now, design=design not in (None, _checksum(plan.design)))


def _checksum(file: Path) -> str:
    with suppress(FileError):  # said when it is to be measured
        return file_checksum(file)
    return ""


def _compared(
    before: Mapping[str, _Known], now: Mapping[str, _Known], *, design: bool
) -> RunChanges:
    renamed = dict(_renamed(before, now))
    both = [name for name in now if name in before]
    same = [name for name in both if before[name].sha256 == now[name].sha256 != ""]
    moved = tuple(name for name in same if before[name].group != now[name].group)
    return RunChanges(
        design=design,
        added=tuple(name for name in now if name not in before and name not in renamed.values()),
        gone=tuple(name for name in before if name not in now and name not in renamed),
        changed=tuple(name for name in both if before[name].sha256 and name not in same),
        again=tuple(name for name in both if not before[name].sha256),
        renamed=tuple(renamed.items()),
        moved=moved,
        same=len(same) - len(moved),
    )


def _renamed(before: Mapping[str, _Known], now: Mapping[str, _Known]) -> Iterator[tuple[str, str]]:
    """Yield the earlier names and the names of crowns whose files are the same."""
    new: dict[str, list[str]] = {}
    for name, crown in now.items():
        if name not in before and crown.sha256:
            new.setdefault(crown.sha256, []).append(name)
    for name, crown in before.items():
        found = new.get(crown.sha256, [])
        if name not in now and found:
            yield name, found.pop(0)


def _part(names: Sequence[str], what: str) -> Iterator[str]:
    if names:
        yield f"{count_words(len(names), 'crown')} {what} ({some_of(names)})"
