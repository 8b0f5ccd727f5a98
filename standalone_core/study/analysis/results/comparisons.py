"""What comparing groups of crowns yields: tests, effects and conclusions.

Rows hold the results of the statistics themselves. Differences are always those of ``second``
minus ``first``; the statistics are therefore given the second group first. Numbers that could not
be computed are NaN, and ``reason`` says why. Numbers of a measure are in its own unit: µm, or a
share from 0 to 1 for ``within_tolerance``.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from ....statistics.equivalence import Equivalence, Outcome, ShiftWithin
from ....statistics.rank_sum import Shift

if TYPE_CHECKING:
    from ....statistics.many_groups import DunnPair, GamesHowellPair, ManyGroups
    from ....statistics.permutation import PrecisionTest
    from ....statistics.rank_sum import MannWhitney
    from ....statistics.reasons import Reason
    from ....statistics.trimmed import TrimmedTest
    from ....statistics.two_groups import TwoGroups
    from ....statistics.welch import WelchTest
    from ...plan import Lead


Standing = Literal["primary", "secondary", "family", "exploratory"]
"""What a comparison may claim: as the plan's order has it, as one of a family with a level of its
own, or nothing."""


@dataclass(frozen=True)
class Adjusted:
    """A p-value that allows for other claims of its order or family, and how many tests it holds.

    NaN and none for an exploratory comparison, or one that was not computed.
    """

    p: float
    family: int


@dataclass(frozen=True)
class EquivalenceRow:
    """Is the difference surely within ± ``limit``?

    Attributes
    ----------
    limit : float
        The plan's equivalence limit of this area, µm; NaN if it has none.
    level : float
        Of the interval that is to be drawn against the limit: 1 − 2α.
    lead : "welch", "ranks" or "trimmed"
        Whether means were tested, the shift by ranks, or trimmed means.
    test : Equivalence, ShiftWithin or None
        None where nothing was tested.
    untested : str
        Why not; empty otherwise.
    p_adjusted : float
        The larger of the two one-sided tests' p, adjusted with the claims that it shares its
        level with; NaN for an exploratory comparison.
    equivalent : bool
        Whether ``p_adjusted`` ≤ α.
    """

    limit: float
    level: float
    lead: Lead = "welch"
    test: Equivalence | ShiftWithin | None = None
    untested: str = ""
    p_adjusted: float = np.nan
    equivalent: bool = False

    @property
    def low(self) -> float:
        """Lower end of the interval at ``level``."""
        return np.nan if self.test is None else _with_interval(self.test).ci_low

    @property
    def high(self) -> float:
        """Upper end of the interval at ``level``."""
        return np.nan if self.test is None else _with_interval(self.test).ci_high

    @property
    def p_value(self) -> float:
        """The larger of the two one-sided tests' p."""
        return np.nan if self.test is None else self.test.p_equivalence

    @property
    def reason(self) -> str:
        """Why there is no such test."""
        return self.untested if self.test is None else str(self.test.reason)


class Difference(ABC):
    """Second minus first, as a leading result has it."""

    @property
    @abstractmethod
    def leading(self) -> WelchTest | TrimmedTest | Shift | PrecisionTest:
        """The result that gives the difference and its interval."""

    @property
    def difference(self) -> float:
        """Second minus first."""
        leading = self.leading
        return leading.estimate if isinstance(leading, Shift) else leading.difference

    @property
    def low(self) -> float:
        """Lower end of the difference's interval."""
        return self.leading.ci_low

    @property
    def high(self) -> float:
        """Upper end of the difference's interval."""
        return self.leading.ci_high


class LedByTest(Difference):
    """A difference by the test of two groups that the plan chose to lead.

    Attributes
    ----------
    tests : TwoGroups
    lead : "welch", "ranks" or "trimmed"
    """

    tests: TwoGroups
    lead: Lead

    @property
    def leading(self) -> WelchTest | TrimmedTest | Shift:
        """The leading test's difference of means or trimmed means, or shift."""
        if self.lead == "ranks":
            return self.tests.shift
        return self.tests.trimmed if self.lead == "trimmed" else self.tests.welch

    @property
    def p_value(self) -> float:
        """Of the leading test, as it is."""
        return _leading_test(self.tests, self.lead).p


@dataclass(frozen=True, kw_only=True)
class Contrast(Difference):
    """Two groups in one area by one measure.

    Attributes
    ----------
    area, measure, first, second : str
    standing : str
        What it may claim, see :data:`Standing`.
    adjusted : Adjusted
        The p-value that decides.
    equivalence : EquivalenceRow
    outcome : Outcome
        ``different``: sure that they differ, not that it is less than the limit;
        ``equivalent``: sure that the difference is within the limit;
        ``different_within_limit``: both; ``undecided``: neither; ``not_computed``;
        ``exploratory``: nothing was to be decided.
    scanner_limit : float
        Smallest difference between means of so many crowns that the scanner can show, µm; NaN if
        unknown.
    reason : str
        Why it is ``not_computed``.
    sentence : str
        The outcome in plain words with the numbers.
    """

    area: str
    measure: str
    first: str
    second: str
    standing: Standing
    adjusted: Adjusted
    equivalence: EquivalenceRow
    outcome: Outcome
    scanner_limit: float = np.nan
    reason: str = ""
    sentence: str = ""

    @property
    @abstractmethod
    def p_value(self) -> float:
        """Of the leading test, as it is."""

    @property
    def primary(self) -> bool:
        """Whether this is the plan's primary comparison."""
        return self.standing == "primary"

    @property
    def below_scanner(self) -> bool:
        """Whether the scanner could not show so small a difference."""
        return abs(self.difference) < self.scanner_limit


@dataclass(frozen=True, kw_only=True)
class Comparison(LedByTest, Contrast):
    """Two groups' trueness; the crown is the unit.

    Attributes
    ----------
    tests : TwoGroups
        Of ``second`` against ``first``.
    lead : "welch", "ranks" or "trimmed"
        The test that decides, by means, by ranks with the Hodges–Lehmann shift, or by trimmed
        means; chosen in the plan.
    """

    tests: TwoGroups
    lead: Lead


@dataclass(frozen=True, kw_only=True)
class PrecisionComparison(Contrast):
    """Two groups' precision, by permuting crowns.

    Attributes
    ----------
    test : PrecisionTest
        Of the distances that the groups' :class:`~.PrecisionRow` describe: smaller is more
        precise. Second group first; Welch's interval of the distances is approximate and, as all
        intervals, not adjusted for other comparisons.
    """

    test: PrecisionTest

    @property
    def leading(self) -> PrecisionTest:
        """The test by permuting crowns."""
        return self.test

    @property
    def p_value(self) -> float:
        """Of that test, as it is."""
        return self.test.p


@dataclass(frozen=True)
class OverallRow:
    """Three or more groups at once in one area by one measure: exploratory, nothing is claimed.

    Attributes
    ----------
    area, measure : str
    lead : "welch", "ranks" or "trimmed"
    primary : bool
    tests : ManyGroups or None
        None where fewer than three groups have enough crowns. Its pairs are first minus second.
    sentence : str
    reason : str
    """

    area: str
    measure: str
    lead: Lead
    primary: bool
    tests: ManyGroups | None
    sentence: str
    reason: str = ""

    @property
    def pairs(self) -> tuple[tuple[GamesHowellPair, DunnPair], ...]:
        """Every two groups after the overall test, corrected over the pairs."""
        if self.tests is None:
            return ()
        return tuple(zip(self.tests.games_howell, self.tests.dunn, strict=True))


def leading_reason(tests: TwoGroups, lead: Lead) -> Reason:
    """Return why the leading test was not made; no reason if it was."""
    return _leading_test(tests, lead).reason


def _leading_test(tests: TwoGroups, lead: Lead) -> WelchTest | TrimmedTest | MannWhitney:
    if lead == "ranks":
        return tests.mann_whitney
    return tests.trimmed if lead == "trimmed" else tests.welch


def _with_interval(found: Equivalence | ShiftWithin) -> Equivalence | Shift:
    return found.shift if isinstance(found, ShiftWithin) else found
