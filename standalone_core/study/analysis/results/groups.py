"""What each group of crowns comes to: descriptions, tolerances, assumptions, precision.

Rows hold the results of the statistics themselves. Numbers that could not be computed are NaN,
and ``reason`` says why. Numbers of a measure are in its own unit: µm, or a share from 0 to 1 for
``within_tolerance``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ....statistics.assumptions import Assumptions, ShapiroWilk
    from ....statistics.describe import Description
    from ....statistics.tolerance import ShareWithin, ToleranceLimit


@dataclass(frozen=True)
class Summary:
    """Some independent values and what they come to.

    Attributes
    ----------
    values : tuple of float
        In the crowns' order, NaN where missing.
    description : Description
        With Student's interval of the mean at the plan's confidence.
    """

    values: tuple[float, ...]
    description: Description


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
    share : ShareWithin
        Crowns with the verdict ``within`` among those with ``within`` or ``outside``.
    undecided : int
        Crowns whose verdict is ``not_decidable``; they are in no share.
    outside : tuple of str
        Names of the crowns that are not within.
    next_crown : ToleranceLimit
        Upper one-sided tolerance limit, µm: with its ``confidence`` at least the share
        ``content`` of all crowns made this way lies below it (normal model).
    normality : ShapiroWilk
        Of the values that the limit was computed from.
    meets : bool or None
        Whether that limit lies within the tolerance; None if it is not known.
    rests_on_model : bool
        Whether it meets it by the normal model alone, which its values speak against.
    sentence : str
        The finding in plain words.
    """

    group: str
    area: str
    tolerance_um: float
    source: str
    share: ShareWithin
    undecided: int
    outside: tuple[str, ...]
    next_crown: ToleranceLimit
    normality: ShapiroWilk
    meets: bool | None
    rests_on_model: bool
    sentence: str


@dataclass(frozen=True)
class AssumptionRow:
    """How far one area and measure meets what the tests of means assume; information only.

    Attributes
    ----------
    area, measure : str
    tests : Assumptions
        Shapiro and Wilk's test of every group, and Brown and Forsythe's of all.
    """

    area: str
    measure: str
    tests: Assumptions


@dataclass(frozen=True)
class PrecisionRow:
    """A group's precision in one area by one measure: how far its crowns lie from its middle.

    The middle is the spatial median of the group's crowns; each crown's distance from it follows
    from the pairs of superimposed crowns (:func:`~.distances_from_pairs`). Only measures that say
    how far two crowns are apart have one.

    Attributes
    ----------
    group, area, measure : str
    crowns : tuple of str
        Names belonging to ``summary.values``.
    summary : Summary
        Of the distances, µm. They share their middle, so that the interval of the mean is
        approximate.
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
class PairRow:
    """A group's crowns laid on each other, two by two, in one area by one measure.

    Attributes
    ----------
    group, area, measure : str
    description : Description
        Of all pairs; they share crowns, so that its interval says nothing.
    reason : str
        What is missing and why; empty if nothing is.
    """

    group: str
    area: str
    measure: str
    description: Description
    reason: str = ""
