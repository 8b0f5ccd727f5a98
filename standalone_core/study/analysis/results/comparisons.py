"""What comparing groups of crowns yields: tests, effects and conclusions.

Differences are always those of ``second`` minus ``first``. Numbers that could not be computed
are NaN, and ``reason`` says why. Numbers of a measure are in its own unit: µm, or a share from 0
to 1 for ``within_tolerance``.
"""

from __future__ import annotations

from dataclasses import dataclass

from ....statistics.equivalence import Outcome
from ...plan import Lead

__all__ = [
    "Comparison",
    "EffectRow",
    "EquivalenceRow",
    "Outcome",
    "OverallRow",
    "PostHocRow",
    "PrecisionComparison",
    "RankRow",
    "WelchRow",
]


@dataclass(frozen=True)
class WelchRow:
    """Welch's t test: difference of means, its interval, t, degrees of freedom, p."""

    difference: float
    low: float
    high: float
    t: float
    df: float
    p_value: float
    reason: str = ""


@dataclass(frozen=True)
class RankRow:
    """Mann–Whitney test with the Hodges–Lehmann shift.

    Attributes
    ----------
    u, p_value : float
        U of ``second``: pairs of crowns in which it is larger, ties half.
    method : str
        How p was found: exact, by permutation, …
    shift, low, high : float
        Hodges–Lehmann shift with its interval.
    reason : str
    """

    u: float
    p_value: float
    method: str
    shift: float
    low: float
    high: float
    reason: str = ""


@dataclass(frozen=True)
class EffectRow:
    """Sizes of a difference without a unit: Hedges g and Cliff δ, with intervals."""

    hedges_g: float
    hedges_low: float
    hedges_high: float
    cliff_delta: float
    cliff_low: float
    cliff_high: float


@dataclass(frozen=True)
class EquivalenceRow:
    """Is the difference surely within ± ``margin``?

    Attributes
    ----------
    margin : float
        The plan's margin of this area, µm; NaN if it has none.
    low, high : float
        Interval at ``level`` = 1 − 2α, to be drawn against the margin.
    level : float
    p_value, p_holm : float
        The larger of the two one-sided tests' p; and after correction (the same for the plan's
        primary comparison of two groups).
    equivalent : bool
        Whether ``p_holm`` ≤ α.
    reason : str
        Why there is no such test.
    lead : "welch" or "ranks"
        Whether means were tested, or the shift by ranks.
    """

    margin: float
    low: float
    high: float
    level: float
    p_value: float
    p_holm: float
    equivalent: bool
    reason: str = ""
    lead: Lead = "welch"


@dataclass(frozen=True)
class Comparison:
    """Two groups' trueness in one area by one measure; the crown is the unit.

    Attributes
    ----------
    area, measure, first, second : str
    n_first, n_second : int
        Crowns with this number.
    mean_first, mean_second : float
    difference, low, high : float
        The leading test's estimate (difference of means, or Hodges–Lehmann shift) with its
        interval.
    lead : "welch" or "ranks"
        The test that decides; chosen in the plan.
    p_value, p_holm : float
        Of the leading test; as it is, and corrected over the family.
    family : int
        In how many comparisons this one is corrected; 1 means not at all.
    primary : bool
        Whether this is the plan's primary comparison.
    welch : WelchRow
    ranks : RankRow
    effects : EffectRow
    equivalence : EquivalenceRow
    outcome : Outcome
        ``different``: sure that they differ, not that it is less than the margin;
        ``equivalent``: sure that the difference is within the margin;
        ``different_within_margin``: both; ``undecided``: neither; ``not_computed``.
    sentence : str
        The same in plain words with the numbers.
    scanner_limit : float
        Smallest difference that the scanner can show, µm; NaN if unknown.
    below_scanner : bool
        Whether |difference| is below it.
    reason : str
        Why it is ``not_computed``.
    """

    area: str
    measure: str
    first: str
    second: str
    n_first: int
    n_second: int
    mean_first: float
    mean_second: float
    difference: float
    low: float
    high: float
    lead: Lead
    p_value: float
    p_holm: float
    family: int
    primary: bool
    welch: WelchRow
    ranks: RankRow
    effects: EffectRow
    equivalence: EquivalenceRow
    outcome: Outcome
    sentence: str
    scanner_limit: float = float("nan")
    below_scanner: bool = False
    reason: str = ""


@dataclass(frozen=True)
class PostHocRow:
    """Two of three or more groups after the overall test, corrected over the pairs.

    Attributes
    ----------
    first, second : str
    difference, low, high, games_howell_p : float
        Games–Howell: difference of means, simultaneous interval, p.
    dunn_z, dunn_p, dunn_p_holm : float
        Dunn's test of mean ranks; p as it is and after Holm over the pairs.
    """

    first: str
    second: str
    difference: float
    low: float
    high: float
    games_howell_p: float
    dunn_z: float
    dunn_p: float
    dunn_p_holm: float


@dataclass(frozen=True)
class OverallRow:
    """Three or more groups at once in one area by one measure.

    Attributes
    ----------
    area, measure : str
    groups : tuple of str
        Those with enough crowns.
    lead : "welch" or "ranks"
    p_value, p_holm : float
        Of the leading test; as it is, and corrected over areas × measures.
    primary : bool
    welch_f, welch_df1, welch_df2, welch_p : float
        Welch's analysis of variance.
    kruskal_h, kruskal_df, kruskal_p : float
        Kruskal–Wallis, with ties.
    post_hoc : tuple of PostHocRow
    sentence : str
    reason : str
    """

    area: str
    measure: str
    groups: tuple[str, ...]
    lead: Lead
    p_value: float
    p_holm: float
    primary: bool
    welch_f: float
    welch_df1: float
    welch_df2: float
    welch_p: float
    kruskal_h: float
    kruskal_df: float
    kruskal_p: float
    post_hoc: tuple[PostHocRow, ...]
    sentence: str
    reason: str = ""


@dataclass(frozen=True)
class PrecisionComparison:
    """Two groups' precision in one area by one measure, by permuting crowns.

    Attributes
    ----------
    area, measure, first, second : str
    n_first, n_second : int
        Crowns.
    mean_first, mean_second : float
        Mean distance of a group's crowns from the group's middle (spatial median), from its
        pairs superimposed crown on crown: smaller is more precise. A pair's distance is about
        √2 times it.
    difference, low, high : float
        Of the two, with Welch's interval of the distances, which is approximate.
    p_value, p_holm : float
        Test by permuting crowns; as it is, and corrected over the family.
    family : int
    permutations : int
        How many relabellings were tried.
    exact : bool
        Whether these were all there are.
    equivalence : EquivalenceRow
        Of the same distances; approximate too.
    outcome : Outcome
    sentence : str
    scanner_limit : float
    below_scanner : bool
    reason : str
    """

    area: str
    measure: str
    first: str
    second: str
    n_first: int
    n_second: int
    mean_first: float
    mean_second: float
    difference: float
    low: float
    high: float
    p_value: float
    p_holm: float
    family: int
    permutations: int
    exact: bool
    equivalence: EquivalenceRow
    outcome: Outcome
    sentence: str
    scanner_limit: float = float("nan")
    below_scanner: bool = False
    reason: str = ""
