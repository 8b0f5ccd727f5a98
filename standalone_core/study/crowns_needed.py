"""How many crowns a study needs, from the spread that a pilot showed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from ..areas.support_marks import new_area_name
from ..csv_text import cell_text, csv_text
from ..errors import FileError, SettingError
from ..records import plain
from ..statistics.sample_size import SampleSize, size_for_difference, size_for_equivalence
from ..words.names import MEASURE_WORDS, area_words
from ..words.text import count_words
from .aim import CAUTIOUS, Aim, Spread

SIZES_SCHEMA_VERSION = 1
ONE_GROUP, OTHER_GROUP = "first", "second"

DOCUMENT = "study.json"


@dataclass(frozen=True)
class SizeRow:
    """Crowns per group for one pair of groups.

    Attributes
    ----------
    first, second : Spread
    size : SampleSize
        From the standard deviations as they are.
    cautious : SampleSize or None
        From their upper limits, for a pilot of known size.
    """

    first: Spread
    second: Spread
    size: SampleSize
    cautious: SampleSize | None


@dataclass(frozen=True)
class CrownsNeeded:
    """How many crowns of each group a study needs.

    Attributes
    ----------
    aim : Aim
        What it is to show.
    rows : tuple of SizeRow
        Per pair of groups, with the power for each number of crowns.
    """

    aim: Aim
    rows: tuple[SizeRow, ...]

    @property
    def n(self) -> int:
        """Crowns per group that are enough for every pair of groups."""
        return _largest(self.rows)

    @property
    def sentences(self) -> tuple[str, ...]:
        """How many, and what that rests on."""
        return size_sentences(self.rows, self.aim)


def crowns_needed(
    spread: float | tuple[float, float] | str | Path,
    *,
    difference_um: float | None = None,
    equivalence_um: float | None = None,
    true_difference_um: float = 0.0,
    power: float = 0.8,
    alpha: float = 0.05,
    area: str = "margin",
    measure: str = "mean_abs_um",
) -> CrownsNeeded:
    """Compute how many crowns per group a study needs, to find a difference or show equivalence.

    The least n at which Welch's t test (two-sided), or the two one-sided tests of equivalence,
    reach the power; formulas and sources at :mod:`.statistics.sample_size`. For a pilot, also with
    the one-sided 80 % upper limit of each standard deviation (Browne, Statistics in Medicine 14,
    1995: 1933–1940), since a pilot's spread is as often too small as too large.

    Parameters
    ----------
    spread : float, (float, float), str or pathlib.Path
        Standard deviation between crowns, µm, of both groups or of each; or the ``study.json`` of
        a pilot.
    difference_um : float, optional
        A difference of means that is to be found if it is there, µm.
    equivalence_um : float, optional
        A margin, ± µm, that the difference is to be shown to lie within; exactly one of the two.
    true_difference_um : float
        For equivalence: the difference that may really be there, µm.
    power, alpha : float
        Chances of success, and of a false alarm, 0 to 1.
    area, measure : str
        Which measure of the pilot; deviations from design to scan.

    Returns
    -------
    CrownsNeeded

    Raises
    ------
    SettingError
        A number outside what is allowed, no aim or two, an area or measure that the pilot has not.
    FileError
        The pilot cannot be read.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.crowns_needed(3.2, difference_um=5).n
    8
    >>> cuspwise.crowns_needed((3.2, 4.0), equivalence_um=5, power=0.9).n
    13
    """
    aim = Aim(difference_um, equivalence_um, true_difference_um, power, alpha)
    return CrownsNeeded(aim, plan_sizes(spreads_of(spread, area, measure), aim))


def spreads_of(
    spread: float | tuple[float, float] | str | Path, area: str, measure: str
) -> tuple[Spread, ...]:
    """Return the spreads that are given as numbers, or those of a pilot."""
    if isinstance(spread, str | Path):
        return read_pilot(spread, area, measure)
    first, other = spread if isinstance(spread, tuple) else (spread, spread)
    return Spread(ONE_GROUP, first), Spread(OTHER_GROUP, other)


def plan_sizes(spreads: Iterable[Spread], aim: Aim) -> tuple[SizeRow, ...]:
    """Return the crowns per group for every pair of groups; one group counts for both.

    Raises
    ------
    SettingError
        No group, or a number outside what is allowed.
    """
    known = tuple(spreads)
    if not known:
        raise SettingError(
            "No spread is known.", subject="plan", remedy="Give a standard deviation, or a pilot."
        )
    pairs = list(combinations(known, 2)) or [(known[0], known[0])]
    return tuple(_row(first, second, aim) for first, second in pairs)


def read_pilot(file: str | Path, area: str, measure: str) -> tuple[Spread, ...]:
    """Read the spread of every group of a measured study.

    Parameters
    ----------
    file : str or pathlib.Path
        ``study.json`` of a study's results, their folder, or the study's.
    area, measure : str
        Deviations from design to scan; the measure in µm.

    Raises
    ------
    FileError
        It cannot be read, or is no study.
    SettingError
        There is no such area or measure, or no group has two crowns with it.
    """
    crowns = _crowns(_document_of(Path(file)))
    rows = [
        (crown["group"], {**row, "area": new_area_name(row["area"])})
        for crown in crowns
        for row in crown["measures"]
        if row["direction"] == "design_to_scan"
    ]
    area = new_area_name(area)
    _refuse_unknown(area, dict.fromkeys(row["area"] for _, row in rows), "area")
    lengths = [name for name in MEASURE_WORDS if name.endswith("_um")]
    _refuse_unknown(measure, lengths, "measure")
    values: dict[str, list[float]] = {}
    for group, row in rows:
        if row["area"] == area and row[measure] is not None:
            values.setdefault(group, []).append(float(row[measure]))
    spreads = tuple(
        Spread(group, float(np.std(x, ddof=1)), len(x)) for group, x in values.items() if len(x) > 1
    )
    if not spreads:
        raise SettingError(
            f"No group has two crowns with a number for the area {area_words(area)}.",
            subject=Path(file),
            remedy="Measure two crowns or more of a group, or choose another area.",
        )
    return spreads


def size_sentences(rows: Iterable[SizeRow], aim: Aim) -> tuple[str, ...]:
    """Say how many crowns are needed, and what that rests on."""
    rows = tuple(rows)
    sentences = [f"{count_words(_largest(rows), 'crown')} per group are needed {aim.words}."]
    cautious = [row.cautious.n for row in rows if row.cautious is not None]
    if cautious:
        sentences.append(
            f"The pilot's standard deviations are themselves uncertain: with their upper limits "
            f"({100 * CAUTIOUS:g} % sure) it is {count_words(max(cautious), 'crown')}."
        )
    sentences.append(
        "For one comparison by Welch's test; several corrected comparisons need more. Plan for "
        "crowns that get lost."
    )
    return tuple(sentences)


def power_csv(rows: Iterable[SizeRow]) -> str:
    """Write the power for each number of crowns per group, one row each."""
    table: list[tuple[object, ...]] = [
        ("first", "second", "assumed_sd", "crowns_per_group", "power")
    ]
    for row in rows:
        for name, size in (("pilot", row.size), ("upper limit", row.cautious)):
            if size is not None:
                for n, power in zip(size.curve_n, size.curve_power, strict=True):
                    table.append((row.first.group, row.second.group, name, n, cell_text(power, 5)))
    return csv_text(table)


def sizes_document(rows: Iterable[SizeRow], aim: Aim) -> dict[str, Any]:
    """Return the plan as plain data for JSON."""
    rows = tuple(rows)
    return {
        "schema": "cuspwise plan",
        "schema_version": SIZES_SCHEMA_VERSION,
        "aim": plain(aim),
        "crowns_per_group": _largest(rows),
        "rows": plain(rows),
        "sentences": list(size_sentences(rows, aim)),
    }


def _largest(rows: Iterable[SizeRow]) -> int:
    return max(row.size.n for row in rows)


def _row(first: Spread, second: Spread, aim: Aim) -> SizeRow:
    upper = first.upper_sd_um, second.upper_sd_um
    cautious = None if np.isnan(upper).any() else _size(*upper, aim)
    return SizeRow(first, second, _size(first.sd_um, second.sd_um, aim), cautious)


def _size(sd_a: float, sd_b: float, aim: Aim) -> SampleSize:
    if aim.difference_um is not None:
        return size_for_difference(aim.difference_um, sd_a, sd_b, power=aim.power, alpha=aim.alpha)
    assert aim.equivalence_um is not None
    return size_for_equivalence(
        aim.equivalence_um,
        sd_a,
        sd_b,
        difference=aim.true_difference_um,
        power=aim.power,
        alpha=aim.alpha,
    )


def _document_of(named: Path) -> Path:
    """Return the document that is named, or that of the folder named."""
    if not named.is_dir():
        return named
    places = (named / DOCUMENT, named / "study_results" / DOCUMENT)
    return next((file for file in places if file.is_file()), places[0])


def _crowns(file: Path) -> list[Mapping[str, Any]]:
    try:
        document = json.loads(file.read_text(encoding="utf-8"))
        crowns: list[Mapping[str, Any]] = document["crowns"]
        for crown in crowns:
            _ = crown["group"], [(row["area"], row["direction"]) for row in crown["measures"]]
    except OSError as error:
        raise FileError(
            f"It cannot be read ({error.strerror or error}).",
            subject=file,
            remedy="Give the study.json of a study's results.",
        ) from error
    except (ValueError, KeyError, TypeError) as error:
        raise FileError(
            "It holds no measured study.",
            subject=file,
            remedy="Give the study.json that 'cuspwise study' wrote.",
        ) from error
    return crowns


def _refuse_unknown(name: str, known: Iterable[str], subject: str) -> None:
    if name not in (names := list(known)):
        raise SettingError(
            f"There is no {name!r}.", subject=subject, remedy=f"Choose from {', '.join(names)}."
        )
