"""All crowns side by side: a row for each, by verdict, name or an area. Needs no Blender."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from ...standalone_core.areas.support_marks import mark_of
from ...standalone_core.csv_text import csv_text
from ...standalone_core.deviation.support_marks import MarkResult
from ...standalone_core.deviation.verdict import Verdict
from ...standalone_core.records import with_tuples
from ...standalone_core.report.check.sentences import SHORT_VERDICTS, marks_line
from ...standalone_core.tray.result import TrayCrown
from ...standalone_core.words.names import (
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    WITHIN,
    area_words,
)
from ...standalone_core.words.text import count_words, micrometres

FAILED, OUT_OF_DATE, NOT_CHECKED = "failed", "out_of_date", "not_checked"
ORDER = (FAILED, OUTSIDE, NOT_DECIDABLE, OUT_OF_DATE, NOT_CHECKED, WITHIN, NO_TOLERANCE)
"""What asks for a look comes first."""
STATUS_WORDS = {
    FAILED: "could not be checked",
    OUTSIDE: "outside",
    NOT_DECIDABLE: "not decidable",
    OUT_OF_DATE: "out of date",
    NOT_CHECKED: "not checked",
    WITHIN: "within",
    NO_TOLERANCE: "without tolerance",
}


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
    crown : TrayCrown or None
        What was measured, also of a crown that is out of date; its names are empty.
    """

    name: str
    group: str
    status: str
    reason: str
    crown: TrayCrown | None

    def of_area(self, area: str) -> Verdict | None:
        """Return the verdict on an area; None without one."""
        return None if self.crown is None else self.crown.of_area(area)

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """All areas; support marks are none."""
        found = () if self.crown is None else self.crown.verdicts
        return tuple(verdict for verdict in found if not mark_of(verdict.area))

    @property
    def worst(self) -> Verdict | None:
        """The area that decides: of those that do, the one that takes most of its limit."""
        decides = self.crown.verdict if self.crown else ""
        deciding = [found for found in self.verdicts if found.verdict == decides]
        return max(deciding, key=_share, default=None)


GONE = Row("", "", NOT_CHECKED, "", None)
"""Stands for an entry of the list whose scan is no longer in the scene, or is there twice."""


@lru_cache(maxsize=256)
def measured(text: str, version: int) -> TrayCrown | None:
    """Return what a kept result says, if it is of a version; a panel asks at every drawing."""
    kept = json.loads(text) if text else {}
    if kept.get("version") != version:
        return None
    document = kept["check"]
    return TrayCrown(
        name="",
        design="",
        scan="",
        verdicts=tuple(Verdict(**_numbers(row)) for row in document["verdicts"]),
        marks=tuple(MarkResult(**_numbers(with_tuples(row))) for row in document.get("marks", ())),
        superimposition=document["superimposition"]["verdict"],
        warnings=tuple(document["warnings"]),
    )


def numbers(found: Verdict) -> str:
    """Say the mean absolute deviation of an area against its limit."""
    limit = f" of {found.tolerance_um:g}" if math.isfinite(found.tolerance_um) else ""
    return f"{micrometres(found.mean_abs_um)}{limit} µm"


def areas_of(rows: Sequence[Row]) -> list[str]:
    """Return all areas that were judged of any crown, in the order of the tables."""
    return list(dict.fromkeys(found.area for row in rows for found in row.verdicts))


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
    numbers = range(len(rows))
    if sort_by == "NAME":
        return sorted(numbers, key=lambda number: _natural(rows[number].name))
    if sort_by == "VERDICT":
        return sorted(numbers, key=lambda number: _urgency(rows[number]))
    if sort_by == "AREA":
        return sorted(numbers, key=lambda number: -_number(rows[number], area))
    return list(numbers)


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


def wide_text(rows: Sequence[Row], design: str) -> str:
    """Return crowns by areas as tab-separated text: a line for each crown, for a spreadsheet."""
    areas = areas_of(rows)
    heads = [f"{area_words(area)}{words}" for area in areas for words in (" (µm)", "", " limit")]
    table = [["crown", "group", "design", "verdict", *heads, "support marks", "reason"]]
    for row in rows:
        cells = [text for area in areas for text in _cells(row.of_area(area))]
        marks = marks_line(row.crown.marks) if row.crown and row.crown.marks else ""
        status = STATUS_WORDS[row.status]
        table.append([row.name, row.group, design, status, *cells, marks, row.reason])
    return csv_text(table, "\t")


def short(row: Row) -> str:
    """Say of a crown in a few words where it is worst; a number first, which must not be cut."""
    found = row.worst
    if row.status == FAILED:
        return "no result"  # what it says at length has no room in a row
    if row.status == NOT_CHECKED or found is None:
        return STATUS_WORDS[row.status]
    if math.isnan(found.mean_abs_um):
        return area_words(found.area)
    return f"{micrometres(found.mean_abs_um)} µm {area_words(found.area)}"


def _cells(found: Verdict | None) -> tuple[str, str, str]:
    """Return number, verdict and limit of an area."""
    if found is None:
        return "", "", ""
    number, limit = (
        f"{value:.2f}" if math.isfinite(value) else ""
        for value in (found.mean_abs_um, found.tolerance_um)
    )
    return number, SHORT_VERDICTS[found.verdict], limit


def _urgency(row: Row) -> tuple[float, ...]:
    worst = row.worst
    return ORDER.index(row.status), -_share(worst) if worst else 0.0


def _share(found: Verdict) -> float:
    """Return how much of its limit an area takes up; less than none where that is not known."""
    share = found.mean_abs_um / found.tolerance_um
    return share if math.isfinite(share) else -1.0


def _numbers(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row of plain data, its missing numbers as NaN."""
    return {name: math.nan if value is None else value for name, value in row.items()}


def _number(row: Row, area: str) -> float:
    found = row.of_area(area)
    return -1.0 if found is None or math.isnan(found.mean_abs_um) else found.mean_abs_um


def _natural(name: str) -> list[tuple[int, str]]:
    """Return a key by which crown 10 comes after crown 9."""
    parts = re.findall(r"\d+|\D+", name.casefold())
    return [(int(part), "") if part.isdigit() else (-1, part) for part in parts]
