"""What examiners' scores and repeated scans yield; rows hold the statistics' own results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from ....statistics.agreement import Agreement, MissingRule
    from ....statistics.gauge import GaugeStudy
    from ....statistics.intraclass import Intraclass
    from ....statistics.many_groups import KruskalWallis
    from ....statistics.rank_correlation import RankCorrelation
    from ....statistics.rank_sum import MannWhitney
    from ....statistics.tolerance import ShareWithin

AgreementStatistic: TypeAlias = Literal[
    "same_score", "cohen_kappa", "weighted_kappa", "fleiss_kappa", "gwet_ac2", "icc_a1"
]
ScoreOutcome: TypeAlias = Literal["worse", "better", "not_shown", "not_computed", "described"]

SUM = "sum"
"""Stands for an item where the sums of a crown's scores on all items are meant."""


@dataclass(frozen=True)
class AgreementRow:
    """One number of how far examiners agree.

    Attributes
    ----------
    item : str
        What was scored; :data:`SUM` for the sums over all items.
    statistic : str
        ``same_score``: share of crowns to which all gave the same score. ``cohen_kappa``,
        ``weighted_kappa``: Cohen's of two examiners, plain and with quadratic weights (near misses
        count less). ``fleiss_kappa``, ``gwet_ac2``: of all examiners, unordered, and ordered with
        quadratic weights. ``icc_a1``: intraclass correlation of all, absolute agreement.
    examiners : tuple of str
        Whose agreement it is.
    result : ShareWithin, Agreement or Intraclass
    rule : "complete" or "all_scores"
        Complete cases: crowns that all of these examiners scored (for sums: on every item). All
        scores: every score counts, also of a crown that some did not score (Gwet's form).
    scores : int
        Scores that count.
    words : str
        The weighted kappa in words (Landis & Koch 1977, Biometrics 33: 159–174); else empty.
    """

    item: str
    statistic: AgreementStatistic
    examiners: tuple[str, ...]
    result: ShareWithin | Agreement | Intraclass
    rule: MissingRule
    scores: int
    words: str = ""

    @property
    def value(self) -> float:
        """The number itself."""
        for name in ("share", "coefficient", "icc"):
            if hasattr(self.result, name):
                return float(getattr(self.result, name))
        raise AssertionError(type(self.result))


@dataclass(frozen=True)
class ScoreGroupRow:
    """One group's scores on one item.

    Attributes
    ----------
    item, group : str
    counts : tuple of int
        Crowns per category, best first, by the median of the crown's scores; a median between
        two categories counts as the worse one.
    share : ShareWithin
        Crowns whose median is acceptable among those with a score.
    """

    item: str
    group: str
    counts: tuple[int, ...]
    share: ShareWithin


@dataclass(frozen=True)
class ScoreComparison:
    """Do the groups' scores on one item differ?

    Attributes
    ----------
    item : str
    groups : tuple of str
        Two; all of them for the test of three or more at once, which only describes.
    ranks : MannWhitney or KruskalWallis
        Of the crowns' median scores, the second group first; or of all groups.
    rank_p_adjusted : float
        Of two groups: corrected over items and pairs of groups; NaN for more groups.
    family : int
        Over how many comparisons it was corrected; 0 where it was not.
    outcome : str
        Of two groups: the second's scores are ``worse`` or ``better``, which is a claim of the
        test of ranks; ``not_shown``; ``not_computed``. Of more: ``described``.
    fisher_p : float
        Acceptable or not: Fisher's exact test of two groups, exploratory; NaN for more.
    complete : str
        The outcome with only the crowns that all examiners scored on the item.
    sentence : str
        The conclusion.
    """

    item: str
    groups: tuple[str, ...]
    ranks: MannWhitney | KruskalWallis
    rank_p_adjusted: float
    family: int
    outcome: ScoreOutcome
    fisher_p: float
    complete: ScoreOutcome
    sentence: str


@dataclass(frozen=True)
class ScoredCrown:
    """A crown's scores on one item beside what was measured.

    Attributes
    ----------
    crown, group, item, area, measure : str
    scores : tuple of (examiner, score)
        Score NaN where an examiner gave none.
    median : float
    measured : float
        The crown's value in that area by that measure: a deviation, or a number of its fit.
    """

    crown: str
    group: str
    item: str
    area: str
    measure: str
    scores: tuple[tuple[str, float], ...]
    median: float
    measured: float


@dataclass(frozen=True)
class ScoreCorrelation:
    """How scores go with deviations, or with a gap: exploratory, never a claim.

    Attributes
    ----------
    item, area, measure : str
    correlation : RankCorrelation
        Of the crowns' median scores with what was measured, all groups together.
    sentence : str
    """

    item: str
    area: str
    measure: str
    correlation: RankCorrelation
    sentence: str


@dataclass(frozen=True)
class ExaminerAnalysis:
    """Everything from the examiners' scores.

    Attributes
    ----------
    agreement : tuple of AgreementRow
        Per item, then of the sums over items; empty for one examiner.
    agreed : tuple of str
        What they come to, a sentence per item and one of the sums.
    missing : str
        How many scores are missing, and which numbers do what about it.
    groups : tuple of ScoreGroupRow
        Per item and group.
    comparisons : tuple of ScoreComparison
    levels : tuple of str
        Which tests make claims, as what family and at what level, and which do not.
    doubts : tuple of str
        Claims that would be others if crowns with a missing score were left out.
    crowns : tuple of ScoredCrown
        Per item, area and measure that go with it, and crown; beside fit the seated ones.
    correlations : tuple of ScoreCorrelation
        Per item, and area and measure that go with it.
    notes : tuple of str
    """

    agreement: tuple[AgreementRow, ...]
    agreed: tuple[str, ...]
    missing: str
    groups: tuple[ScoreGroupRow, ...]
    comparisons: tuple[ScoreComparison, ...]
    levels: tuple[str, ...]
    doubts: tuple[str, ...]
    crowns: tuple[ScoredCrown, ...]
    correlations: tuple[ScoreCorrelation, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class ScannerRow:
    """What repeated scans say about the scanner in one area by one measure.

    Attributes
    ----------
    area, measure : str
    gauge : GaugeStudy or None
        Parts are crowns; None where the scans allow no gauge study.
    distance : GaugeStudy or None
        The same of the scans' distances from the other crowns of their crown's group, which vary
        from scan to scan as its distance from the group's middle does; None for measures that are
        no distances, too.
    intraclass : Intraclass or None
        Of single scans: how well one tells these crowns apart.
    notes : tuple of str
        What could not be computed, and why.
    """

    area: str
    measure: str
    gauge: GaugeStudy | None
    distance: GaugeStudy | None = None
    intraclass: Intraclass | None = None
    notes: tuple[str, ...] = ()

    def between_means(self, n_a: int, n_b: int) -> float:
        """Between the means of two groups of scans by one operator, shown at that confidence.

        z repeatability √(1/n_a + 1/n_b): what varies from scan to scan averages out over the
        crowns. How operators differ does not: two groups that two of them scanned differ by that.
        """
        return _between_means(self.gauge, n_a, n_b)

    def between_distances(self, n_a: int, n_b: int) -> float:
        """Between two groups' mean distances from their middle, likewise; NaN if not known."""
        return _between_means(self.distance, n_a, n_b)

    @property
    def reason(self) -> str:
        """The notes as one text."""
        return " ".join(self.notes)

    @property
    def smallest_difference(self) -> float:
        """Between two single scans, that the scanner can show at the plan's confidence.

        By any two operators: z √2 gauge; with one operator z √2 repeatability.
        """
        if self.gauge is None:
            return np.nan
        between_operators = self.gauge.smallest_difference_operators
        return self.gauge.smallest_difference if np.isnan(between_operators) else between_operators


def _between_means(gauge: GaugeStudy | None, n_a: int, n_b: int) -> float:
    if gauge is None or not n_a * n_b:
        return np.nan
    return float(gauge.smallest_difference * ((1 / n_a + 1 / n_b) / 2) ** 0.5)
