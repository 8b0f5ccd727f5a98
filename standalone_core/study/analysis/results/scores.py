"""What examiners' scores and repeated scans yield; rows hold the statistics' own results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from ....statistics.agreement import Kappa
    from ....statistics.gauge import GaugeStudy
    from ....statistics.many_groups import KruskalWallis
    from ....statistics.rank_correlation import RankCorrelation
    from ....statistics.rank_sum import MannWhitney
    from ....statistics.tolerance import ShareWithin


@dataclass(frozen=True)
class KappaRow:
    """Agreement of two examiners on one item beyond chance.

    Attributes
    ----------
    first, second : str
        The examiners.
    plain : Kappa
        Cohen's kappa.
    weighted : Kappa
        The same with quadratic weights: near misses count less.
    words : str
        The weighted kappa in words (Landis & Koch 1977, Biometrics 33: 159–174).
    """

    first: str
    second: str
    plain: Kappa
    weighted: Kappa
    words: str


@dataclass(frozen=True)
class AgreementRow:
    """Agreement of all examiners on one item.

    Attributes
    ----------
    item : str
        What was scored.
    examiners : tuple of str
    n : int
        Crowns that all of them scored.
    percent : float
        Share of these on which all agree, 0 to 1.
    pairs : tuple of KappaRow
    fleiss : Kappa or None
        Fleiss' kappa of all examiners, beside Cohen's also for two; None for one examiner.
    sentence : str
    """

    item: str
    examiners: tuple[str, ...]
    n: int
    percent: float
    pairs: tuple[KappaRow, ...]
    fleiss: Kappa | None
    sentence: str


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
        Two; all of them for the overall test of three or more.
    fisher_p, fisher_p_holm : float
        Acceptable or not: Fisher's exact test of two groups; NaN for more. Corrected over items
        and pairs of groups.
    ranks : MannWhitney or KruskalWallis
        Of the crowns' median scores, the second group first; or of all groups.
    rank_p_holm : float
        Corrected over items and pairs of groups; for Kruskal–Wallis over items.
    sentence : str
        The conclusion: ranks lead.
    """

    item: str
    groups: tuple[str, ...]
    fisher_p: float
    fisher_p_holm: float
    ranks: MannWhitney | KruskalWallis
    rank_p_holm: float
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
    """Do worse scores go with larger deviations, or with a wider gap?

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
        Per item.
    groups : tuple of ScoreGroupRow
        Per item and group.
    comparisons : tuple of ScoreComparison
    crowns : tuple of ScoredCrown
        Per item, area and measure that go with it, and crown; beside fit the seated ones.
    correlations : tuple of ScoreCorrelation
        Per item, and area and measure that go with it.
    notes : tuple of str
    """

    agreement: tuple[AgreementRow, ...]
    groups: tuple[ScoreGroupRow, ...]
    comparisons: tuple[ScoreComparison, ...]
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
    reason : str
        What could not be computed, and why.
    """

    area: str
    measure: str
    gauge: GaugeStudy | None
    distance: GaugeStudy | None = None
    reason: str = ""

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
