"""All crowns side by side: a row for each, by verdict, name or an area. Needs no Blender."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from ...standalone_core.deviation.support_marks import MarkResult
from ...standalone_core.deviation.verdict import Verdict
from ...standalone_core.records import with_tuples
from ...standalone_core.report.check.sentences import headline
from ...standalone_core.words.names import (
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    WITHIN,
    area_words,
)
from ...standalone_core.words.text import count_words, micrometres

FAILED, OUT_OF_DATE, NOT_CHECKED = "failed", "out_of_date", "not_checked"
ORDER = (OUTSIDE, NOT_DECIDABLE, FAILED, OUT_OF_DATE, NOT_CHECKED, WITHIN, NO_TOLERANCE)
"""What asks for a look comes first."""
STATUS_WORDS = {
    OUTSIDE: "outside",
    NOT_DECIDABLE: "not decidable",
    FAILED: "could not be checked",
    OUT_OF_DATE: "out of date",
    NOT_CHECKED: "not checked",
    WITHIN: "within",
    NO_TOLERANCE: "without tolerance",
}


@dataclass(frozen=True)
class AreaCell:
    """A crown in one area.

    Attributes
    ----------
    area, verdict : str
    mean_abs_um : float
        NaN where it was not measured.
    limit_um : float
        NaN without one.
    """

    area: str
    verdict: str
    mean_abs_um: float
    limit_um: float

    @property
    def share(self) -> float:
        """How much of the limit it takes up; less than none where that is not known."""
        found = self.mean_abs_um / self.limit_um
        return found if math.isfinite(found) else -1.0

    @property
    def numbers(self) -> str:
        """Mean absolute deviation against its limit."""
        limit = f" of {self.limit_um:g}" if math.isfinite(self.limit_um) else ""
        return f"{micrometres(self.mean_abs_um)}{limit} µm"


@dataclass(frozen=True)
class Measured:
    """What was measured of a crown.

    Attributes
    ----------
    verdict : str
        The one that decides.
    cells : mapping of str to AreaCell
        By area.
    marks : tuple of MarkResult
    """

    verdict: str
    cells: Mapping[str, AreaCell]
    marks: tuple[MarkResult, ...]

    @property
    def worst(self) -> AreaCell | None:
        """The area that decides: of those that do, the one that takes most of its limit."""
        deciding = [cell for cell in self.cells.values() if cell.verdict == self.verdict]
        return max(deciding, key=lambda cell: cell.share, default=None)


@dataclass(frozen=True)
class Row:
    """One crown.

    Attributes
    ----------
    name, group : str
    status : str
        Of :data:`ORDER`.
    reason : str
        Why it could not be checked, or is out of date.
    measured : Measured or None
        Also of a crown that is out of date.
    """

    name: str
    group: str
    status: str
    reason: str
    measured: Measured | None

    def cell(self, area: str) -> AreaCell | None:
        """Return the crown's numbers in an area; None without any."""
        return None if self.measured is None else self.measured.cells.get(area)


GONE = Row("", "", NOT_CHECKED, "", None)
"""Stands for an entry of the list whose scan is no longer in the scene, or is there twice."""


@lru_cache(maxsize=256)
def measured(text: str, version: int) -> Measured | None:
    """Return what a kept result says, if it is of a version; a panel asks at every drawing."""
    kept = json.loads(text) if text else {}
    if kept.get("version") != version:
        return None
    document = kept["check"]
    verdicts = [
        Verdict(**{name: math.nan if value is None else value for name, value in row.items()})
        for row in document["verdicts"]
    ]
    cells = {
        found.area: AreaCell(found.area, found.verdict, found.mean_abs_um, found.tolerance_um)
        for found in verdicts
    }
    marks = tuple(MarkResult(**with_tuples(row)) for row in document.get("marks", ()))
    return Measured(headline(verdicts).verdict, cells, marks)


def areas_of(rows: Sequence[Row]) -> list[str]:
    """Return all areas that were judged of any crown, in the order of the tables."""
    return list(dict.fromkeys(area for row in rows if row.measured for area in row.measured.cells))


def order_of(rows: Sequence[Row], sort_by: str, area: str = "") -> list[int]:
    """Return the numbers of the rows in an order.

    Parameters
    ----------
    rows : sequence of Row
    sort_by : str
        ``LIST`` as they are listed, ``NAME``, ``VERDICT`` the most urgent first and of these the
        one that takes most of its limit, ``AREA`` the largest mean absolute deviation first.
    area : str
    """
    keys = {
        "LIST": lambda row: (),
        "NAME": lambda row: _natural(row.name),
        "VERDICT": _urgency,
        "AREA": lambda row: -_number(row, area),
    }
    return sorted(range(len(rows)), key=lambda number: keys[sort_by](rows[number]))


def is_shown(row: Row, group: str, status: str) -> bool:
    """Tell whether a row passes a filter; an empty one lets all pass."""
    of_group, of_status = (
        not group or row.group.casefold() == group,
        not status or row.status == status,
    )
    return row is not GONE and of_group and of_status


def sum_of(rows: Sequence[Row]) -> str:
    """Say how many crowns there are of each kind."""
    counts = Counter(row.status for row in rows if row is not GONE)
    parts = [f"{counts[status]} {STATUS_WORDS[status]}" for status in ORDER if counts[status]]
    return f"{count_words(counts.total(), 'crown')}: {', '.join(parts)}."


def short(row: Row) -> str:
    """Say of a crown in a few words where it is worst; a number first, which must not be cut."""
    found = row.measured.worst if row.measured else None
    if row.status in (FAILED, NOT_CHECKED) or found is None:
        return STATUS_WORDS[row.status]
    if math.isnan(found.mean_abs_um):
        return area_words(found.area)
    return f"{micrometres(found.mean_abs_um)} {area_words(found.area)}"


def _urgency(row: Row) -> tuple[float, ...]:
    worst = row.measured.worst if row.measured else None
    return ORDER.index(row.status), -worst.share if worst else 0.0


def _number(row: Row, area: str) -> float:
    found = row.cell(area)
    return -1.0 if found is None or math.isnan(found.mean_abs_um) else found.mean_abs_um


def _natural(name: str) -> list[tuple[int, str]]:
    """Return a key by which crown 10 comes after crown 9."""
    parts = re.findall(r"\d+|\D+", name.casefold())
    return [(int(part), "") if part.isdigit() else (-1, part) for part in parts]
