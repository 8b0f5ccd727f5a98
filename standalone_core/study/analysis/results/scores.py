"""What examiners' scores and repeated scans yield."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class KappaRow:
    """Agreement of two examiners on one item beyond chance.

    Attributes
    ----------
    first, second : str
        The examiners.
    n : int
        Crowns that both scored.
    percent : float
        Share of crowns with the same score, 0 to 1.
    kappa, kappa_low, kappa_high : float
        Cohen's kappa with its interval.
    weighted, weighted_low, weighted_high : float
        The same with quadratic weights: near misses count less.
    words : str
        The weighted kappa in words (Landis & Koch 1977, Biometrics 33: 159–174).
    reason : str
    """

    first: str
    second: str
    n: int
    percent: float
    kappa: float
    kappa_low: float
    kappa_high: float
    weighted: float
    weighted_low: float
    weighted_high: float
    words: str
    reason: str = ""


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
    fleiss, fleiss_low, fleiss_high : float
        Fleiss' kappa of all examiners, beside Cohen's also for two.
    sentence : str
    reason : str
    """

    item: str
    examiners: tuple[str, ...]
    n: int
    percent: float
    pairs: tuple[KappaRow, ...]
    fleiss: float
    fleiss_low: float
    fleiss_high: float
    sentence: str
    reason: str = ""


@dataclass(frozen=True)
class ScoreGroupRow:
    """One group's scores on one item.

    Attributes
    ----------
    item, group : str
    n : int
        Crowns with a score.
    counts : tuple of int
        Crowns per category, best first, by the median of the crown's scores; a median between
        two categories counts as the worse one.
    acceptable : int
        Crowns whose median is acceptable.
    share, share_low, share_high : float
        acceptable / n with its Wilson interval.
    """

    item: str
    group: str
    n: int
    counts: tuple[int, ...]
    acceptable: int
    share: float
    share_low: float
    share_high: float


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
    rank_statistic, rank_p : float
        Of the crowns' median scores: Mann–Whitney U of the second group, or Kruskal–Wallis H.
    rank_method : str
    rank_p_holm : float
        Corrected over items and pairs of groups; for Kruskal–Wallis over items.
    sentence : str
        The conclusion: ranks lead.
    reason : str
    """

    item: str
    groups: tuple[str, ...]
    fisher_p: float
    fisher_p_holm: float
    rank_statistic: float
    rank_p: float
    rank_method: str
    rank_p_holm: float
    sentence: str
    reason: str = ""


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
        The crown's value in that area by that measure.
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
    """Do worse scores go with larger deviations?

    Attributes
    ----------
    item, area, measure : str
    n : int
    rho, low, high, p_value : float
        Spearman's rank correlation of the crowns' median scores with what was measured, all
        groups together.
    sentence : str
    reason : str
    """

    item: str
    area: str
    measure: str
    n: int
    rho: float
    low: float
    high: float
    p_value: float
    sentence: str
    reason: str = ""


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
        Per item, area that goes with it, and crown.
    correlations : tuple of ScoreCorrelation
        Per item and area.
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
    """What repeated scans say about the scanner in one area by one measure (gauge study).

    Attributes
    ----------
    area, measure : str
    crowns, operators, trials : int
        How many; trials per crown and operator.
    repeatability, reproducibility, gauge : float
        Standard deviations, in the measure's unit: of one operator scanning again, between
        operators, and both together.
    crown_sd : float
        Between the crowns that were scanned.
    study_share : float
        gauge / total standard deviation, 0 to 1.
    categories : int
        Number of distinct categories (1.41 crown_sd / gauge, rounded down, at least 1); 0 if it
        is not known.
    smallest_difference : float
        Between two single scans by any two operators, that the scanner can show at the plan's
        confidence: z √2 gauge; with one operator z √2 repeatability.
    clamped : tuple of str
        Variance components that came out negative and were set to zero.
    reason : str
        What could not be computed, and why.
    """

    area: str
    measure: str
    crowns: int
    operators: int
    trials: int
    repeatability: float
    reproducibility: float
    gauge: float
    crown_sd: float
    study_share: float
    categories: int
    smallest_difference: float
    clamped: tuple[str, ...] = ()
    reason: str = ""
