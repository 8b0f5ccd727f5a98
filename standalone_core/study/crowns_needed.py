"""How many crowns a study needs, from the spread that a pilot showed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from ..csv_text import cell_text, csv_text
from ..deviation.direction import Direction
from ..errors import SettingError
from ..records import plain
from ..statistics.rank_sum import least_by_ranks, smallest_p
from ..statistics.sample_size import (
    METHODS,
    SampleSize,
    size_for_difference,
    size_for_equivalence,
)
from ..words.text import count_words, listed
from .aim import CAUTIOUS, Aim, Spread
from .pilot import read_pilot
from .plan import Lead

SIZES_SCHEMA_VERSION = 2
ONE_GROUP, OTHER_GROUP = "first", "second"
PILOT, WITHOUT_ODD, UPPER = "pilot", "without odd crowns", "upper limit"
"""What a plan's standard deviations are, in tables."""
POWER_COLUMNS = ("first", "second", "assumed_sd", "crowns_per_group", "power")


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
    without_odd : SampleSize or None
        From those without the pilot's odd crowns, if it has any.
    """

    first: Spread
    second: Spread
    size: SampleSize
    cautious: SampleSize | None
    without_odd: SampleSize | None = None

    @property
    def sizes(self) -> Iterator[tuple[str, SampleSize]]:
        """Every plan with what its standard deviations are."""
        named = {
            PILOT: self.size,
            WITHOUT_ODD: self.without_odd,
            UPPER: self.cautious,
        }
        yield from ((name, size) for name, size in named.items() if size is not None)


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
    direction: Direction | None = None,
    lead: Lead = "welch",
    comparisons: int = 1,
) -> CrownsNeeded:
    """Compute how many crowns per group a study needs, to find a difference or show equivalence.

    The least n at which the test that will decide (two-sided), or the two one-sided tests of
    equivalence, reach the power; formulas and sources at :mod:`.statistics.sample_size`. For a
    pilot, also with the one-sided 80 % upper limit of each standard deviation (Browne, Statistics
    in Medicine 14, 1995: 1933–1940), since a pilot's spread is as often too small as too large,
    and without the crowns that it found odd.

    Parameters
    ----------
    spread : float, (float, float), str or pathlib.Path
        Standard deviation between crowns, µm, of both groups or of each; or the ``study.json`` of
        a pilot.
    difference_um : float, optional
        A difference of means that is to be found if it is there, µm.
    equivalence_um : float, optional
        An equivalence limit, ± µm, that the difference is to be shown to keep; exactly one of the
        two.
    true_difference_um : float
        For equivalence: the difference that may really be there, µm.
    power, alpha : float
        Chances of success, and of a false alarm, 0 to 1.
    area, measure : str
        Which measure of the pilot.
    direction : {"design_to_scan", "scan_to_design"}, optional
        That of the pilot's deviations; the one that it was judged in if it is left out.
    lead : "welch", "ranks" or "trimmed"
        The test that will decide.
    comparisons : int
        How many orders of comparisons share alpha: pairs of groups, and twice as many if
        differences and equivalence are both tested.

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
    aim = Aim(
        difference_um,
        equivalence_um,
        true_difference_um,
        power,
        alpha,
        lead=lead,
        comparisons=comparisons,
    )
    return CrownsNeeded(aim, plan_sizes(spreads_of(spread, area, measure, direction), aim))


def spreads_of(
    spread: float | tuple[float, float] | str | Path,
    area: str,
    measure: str,
    direction: Direction | None = None,
) -> tuple[Spread, ...]:
    """Return the spreads that are given as numbers, or those of a pilot."""
    if isinstance(spread, str | Path):
        return read_pilot(spread, area, measure, direction)
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


def size_sentences(rows: Iterable[SizeRow], aim: Aim) -> tuple[str, ...]:
    """Say how many crowns are needed, and what that rests on."""
    rows = tuple(rows)
    needed = count_words(_largest(rows), "crown")
    test = METHODS[aim.lead]
    sentences = [f"{needed} per group are needed {aim.words}. Power of {test}."]
    what = rows[0].first.what
    if what:
        sentences.append(f"The spread is the pilot's of: {what}.")
    odd = [name for row in rows for one in (row.first, row.second) for name in one.odd]
    without = [row.without_odd.n for row in rows if row.without_odd is not None]
    if without:
        names = listed(tuple(dict.fromkeys(odd)))
        sentences.append(
            f"The pilot holds {names}, unlike the others of their group: without them it would be "
            f"{count_words(max(without), 'crown')}. Plan with them unless it is known why."
        )
    cautious = [row.cautious.n for row in rows if row.cautious is not None]
    if cautious:
        sentences.append(
            f"The pilot's standard deviations are themselves uncertain: with their upper limits "
            f"({100 * CAUTIOUS:g} % sure) it is {count_words(max(cautious), 'crown')}."
        )
    sentences += [*_limits(aim), "Plan for crowns that get lost."]
    return tuple(sentences)


def _limits(aim: Aim) -> Iterator[str]:
    """Say what so small a study can never show, and over what its level is shared."""
    if aim.comparisons == 1:
        yield (
            "For the primary comparison of two groups, tested for one thing. Every pair of groups "
            "has an order of comparisons, and two if differences and equivalence are both tested: "
            "give their number, for they share α and need more crowns."
        )
    else:
        yield (
            f"α is shared by {aim.comparisons} orders of comparisons: {aim.alpha_each:.2g} for "
            f"the first of each."
        )
    if aim.lead == "ranks":
        # Equivalence is shown by one-sided tests, whose smallest p is half as large.
        sides = 2 if aim.difference_um is None else 1
        least = least_by_ranks(sides * aim.alpha_each)
        yield (
            f"By ranks fewer than {least} crowns per group can show nothing at all: even groups "
            f"wholly apart give p = {smallest_p(least - 1, least - 1) / sides:.2g}."
        )


def power_rows(rows: Iterable[SizeRow]) -> Iterator[dict[str, Any]]:
    """Yield the power of every plan for each number of crowns per group."""
    for row in rows:
        for name, size in row.sizes:
            for n, power in zip(size.curve_n.tolist(), size.curve_power.tolist(), strict=True):
                yield {
                    "first": row.first.group,
                    "second": row.second.group,
                    "assumed_sd": name,
                    "crowns_per_group": n,
                    "power": power,
                }


def power_csv(rows: Iterable[SizeRow]) -> str:
    """Write the power for each number of crowns per group, one row each."""
    table: list[tuple[object, ...]] = [POWER_COLUMNS]
    table += [tuple(map(cell_text, row.values())) for row in power_rows(rows)]
    return csv_text(table)


def sizes_document(rows: Iterable[SizeRow], aim: Aim) -> dict[str, Any]:
    """Return the plan as plain data for JSON."""
    rows = tuple(rows)
    return {
        "schema": "cuspwise plan",
        "schema_version": SIZES_SCHEMA_VERSION,
        "aim": plain(aim),
        "crowns_per_group": _largest(rows),
        "power": list(power_rows(rows)),
        "rows": plain(rows),
        "sentences": list(size_sentences(rows, aim)),
    }


def _largest(rows: Iterable[SizeRow]) -> int:
    return max(row.size.n for row in rows)


def _row(first: Spread, second: Spread, aim: Aim) -> SizeRow:
    without = _without_odd_um(first), _without_odd_um(second)
    odd = (*first.odd, *second.odd)
    return SizeRow(
        first=first,
        second=second,
        size=_size(first.sd_um, second.sd_um, aim),
        cautious=_size_if_known(first.upper_sd_um, second.upper_sd_um, aim),
        without_odd=_size_if_known(*without, aim) if odd else None,
    )


def _without_odd_um(spread: Spread) -> float:
    return spread.without_odd_um if spread.odd else spread.sd_um


def _size_if_known(sd_a: float, sd_b: float, aim: Aim) -> SampleSize | None:
    return None if np.isnan([sd_a, sd_b]).any() else _size(sd_a, sd_b, aim)


def _size(sd_a: float, sd_b: float, aim: Aim) -> SampleSize:
    if aim.difference_um is not None:
        return size_for_difference(
            aim.difference_um,
            sd_a,
            sd_b,
            power=aim.power,
            alpha=aim.alpha_each,
            test=aim.lead,
        )
    assert aim.equivalence_um is not None
    return size_for_equivalence(
        aim.equivalence_um,
        sd_a,
        sd_b,
        difference=aim.true_difference_um,
        power=aim.power,
        alpha=aim.alpha_each,
        test=aim.lead,
    )
