"""What each group of crowns comes to: descriptions, tolerances, assumptions, precision.

Numbers that could not be computed are NaN, and ``reason`` says why. Numbers of a measure are in
its own unit: µm, or a share from 0 to 1 for ``within_tolerance``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Summary:
    """What some independent values come to.

    Attributes
    ----------
    n : int
        Values that exist.
    missing : int
        Crowns without this number (area not measured, …); not in ``n``.
    mean, sd : float
        Mean and standard deviation (n − 1).
    mean_low, mean_high : float
        Student interval of the mean at the plan's confidence.
    median, q1, q3, minimum, maximum : float
        Quartiles linear (type 7).
    values : tuple of float
        The values themselves, in the crowns' order, NaN where missing.
    """

    n: int
    missing: int
    mean: float
    sd: float
    mean_low: float
    mean_high: float
    median: float
    q1: float
    q3: float
    minimum: float
    maximum: float
    values: tuple[float, ...]


@dataclass(frozen=True)
class PairSummary:
    """What the pairs of a group come to; no interval, since pairs share crowns.

    Attributes
    ----------
    n, missing : int
        Pairs with, and without, this number.
    mean, sd, minimum, maximum : float
    """

    n: int
    missing: int
    mean: float
    sd: float
    minimum: float
    maximum: float


@dataclass(frozen=True)
class TruenessRow:
    """A group's trueness in one area by one measure.

    Attributes
    ----------
    group, area, measure : str
    crowns : tuple of str
        Names belonging to ``summary.values``.
    summary : Summary
    reason : str
        What is missing and why; empty if nothing is.
    """

    group: str
    area: str
    measure: str
    crowns: tuple[str, ...]
    summary: Summary
    reason: str = ""


@dataclass(frozen=True)
class ToleranceRow:
    """A group against the tolerance of one area (of the mean absolute deviation).

    Attributes
    ----------
    group, area : str
    tolerance_um : float
        NaN if the area has none; all that depends on it is then NaN or None.
    source : str
        Where the tolerance comes from.
    n : int
        Crowns with a verdict ``within`` or ``outside``.
    within : int
        Of these, crowns within.
    undecided : int
        Crowns whose verdict is ``not_decidable``; they are in no share.
    share, share_low, share_high : float
        within / n with its Wilson interval.
    next_crown_um : float
        Upper one-sided tolerance limit: with ``confidence`` at least the share ``content`` of
        all crowns made this way lies below it (normal model).
    content, confidence : float
    meets : bool or None
        Whether that limit lies within the tolerance; None if it is not known.
    sentence : str
        The finding in plain words.
    reason : str
    """

    group: str
    area: str
    tolerance_um: float
    source: str
    n: int
    within: int
    undecided: int
    share: float
    share_low: float
    share_high: float
    next_crown_um: float
    content: float
    confidence: float
    meets: bool | None
    sentence: str
    reason: str = ""


@dataclass(frozen=True)
class NormalityTest:
    """Shapiro and Wilk's test of one group's values: ``statistic`` W and ``p_value``."""

    group: str
    n: int
    statistic: float
    p_value: float
    reason: str = ""


@dataclass(frozen=True)
class AssumptionRow:
    """How far one area and measure meets what the tests of means assume; information only.

    Attributes
    ----------
    area, measure : str
    normality : tuple of NormalityTest
        Per group.
    brown_forsythe_f, brown_forsythe_p : float
        Equal spread of all groups (Levene's test about the medians).
    reason : str
    """

    area: str
    measure: str
    normality: tuple[NormalityTest, ...]
    brown_forsythe_f: float
    brown_forsythe_p: float
    reason: str = ""


@dataclass(frozen=True)
class PrecisionRow:
    """A group's precision in one area by one measure.

    Attributes
    ----------
    group, area, measure : str
    superimposed : PairSummary
        All pairs, each superimposed crown on crown.
    design_frame : PairSummary
        All pairs, both crowns as they lie on the design.
    dispersion : Summary
        Each crown's distance from the group's mean surface: one number per crown.
    reason : str
    """

    group: str
    area: str
    measure: str
    superimposed: PairSummary
    design_frame: PairSummary
    dispersion: Summary
    reason: str = ""
