"""What comparing a study with an earlier one yields. All of it is exploratory: nothing is decided.

Differences are now minus earlier; the statistics are therefore given the crowns of now first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ....statistics.describe import Description
    from ....statistics.welch import WelchTest


@dataclass(frozen=True)
class EarlierRow:
    """One group in one area by one measure, earlier and now.

    Attributes
    ----------
    group, area, measure : str
    earlier, now : Description
        Of the crowns of either study; those of both count earlier only.
    test : WelchTest
        Now minus earlier, in the measure's own unit; its p-value is not adjusted.
    reason : str
        Why there is no interval; empty if there is one.
    sentence : str
        The numbers in words; it says nothing of what they mean.
    """

    group: str
    area: str
    measure: str
    earlier: Description
    now: Description
    test: WelchTest
    reason: str
    sentence: str


@dataclass(frozen=True)
class CrownCount:
    """Crowns of a group by their verdict on one area.

    Attributes
    ----------
    tolerance_um : float
        That they were judged by; NaN if there was none.
    within, outside, undecided : int
    """

    tolerance_um: float
    within: int
    outside: int
    undecided: int

    @property
    def n(self) -> int:
        """All of them."""
        return self.within + self.outside + self.undecided


@dataclass(frozen=True)
class EarlierTolerance:
    """The crowns of the rows' groups against the tolerance of one area: counts, no test.

    Attributes
    ----------
    group, area : str
    earlier, now : CrownCount
        By the tolerances of each study.
    """

    group: str
    area: str
    earlier: CrownCount
    now: CrownCount


@dataclass(frozen=True)
class EarlierComparison:
    """A study against an earlier one; exploratory.

    Attributes
    ----------
    title, file : str
        Of the earlier study, and the way to its file from this study's folder.
    versions : mapping of str to str
        What it was computed with.
    why_not : tuple of str
        Why nothing can be compared, as sentences; empty if something is.
    remedy : str
        What can be done about it.
    rows : tuple of EarlierRow
        Per group × area × measure.
    tolerances : tuple of EarlierTolerance
        Per group × area with a tolerance.
    only_earlier, only_now : tuple of str
        Titles of the groups that one of the two studies alone has.
    shared : tuple of str
        Crowns whose scan file is in both, by their names now.
    caution : str
        Why it decides nothing.
    notes : tuple of str
        What else must be known to read the numbers.
    lines : tuple of str
        The most important of it, for a terminal.
    """

    title: str
    file: str
    versions: Mapping[str, str]
    why_not: tuple[str, ...] = ()
    remedy: str = ""
    rows: tuple[EarlierRow, ...] = ()
    tolerances: tuple[EarlierTolerance, ...] = ()
    only_earlier: tuple[str, ...] = ()
    only_now: tuple[str, ...] = ()
    shared: tuple[str, ...] = ()
    caution: str = ""
    notes: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
