"""Why the crowns of a study deviate: causes per group, and groups compared by cause."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ....causes.result import Cause, Correction, Remaining
from ....statistics.equivalence import Outcome
from .comparisons import Adjusted, LedByTest

if TYPE_CHECKING:
    from ....statistics.two_groups import TwoGroups
    from ...plan import Lead

MEAN = "mean"
"""Stands for the mean over a group's crowns where the name of a crown could stand."""


@dataclass(frozen=True)
class SharedCause:
    """A cause in a group's mean crown; the crown is the unit.

    Attributes
    ----------
    group : str
    n : int
        Crowns.
    cause : Cause
        Its estimate is the mean over crowns, its interval mean ± t·SD/√n with n − 1 degrees of
        freedom (the scanner's known uncertainty added), or what the mean crown's surface bears
        where that is wider, since form error that all crowns share does not differ between them;
        of a cause that is not stated, what the
        mean crown's surface would bear. Shares are of the crowns' mean square.
    sd_between : float
        Standard deviation between crowns, in the same unit; NaN where it is not stated.
    values : tuple of float
        Each crown's size, in the order of the group's crowns; empty where it is not stated.
    without_odd : (3,) tuple of float or None
        Estimate and interval without odd crowns; None where none is odd, or too few are left.
    """

    group: str
    n: int
    cause: Cause
    sd_between: float
    values: tuple[float, ...] = ()
    without_odd: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class CausePrediction:
    """What an area of a group's crowns would measure without a cause; a prediction.

    Attributes
    ----------
    group, without, area : str
        ``without`` is the cause by name, or ``all`` for all stated ones.
    limit_um : float
        The area's tolerance.
    n, within, would_be_within : int
        Crowns that were judged, and those within the tolerance as measured and as predicted.
    mean_abs_um, predicted_um : float
        Means over crowns from design to scan, as measured and as predicted.
    """

    group: str
    without: str
    area: str
    limit_um: float
    n: int
    within: int
    would_be_within: int
    mean_abs_um: float
    predicted_um: float


@dataclass(frozen=True)
class GroupWhy:
    """Why the crowns of one group deviate.

    Attributes
    ----------
    group, title : str
    crowns : tuple of str
        Those that it was found from.
    left_out : mapping of str to str, as tuple of pairs
        The other crowns, and why.
    causes : tuple of SharedCause
        Stated ones first, the largest first.
    corrections : tuple of Correction
        Next enlargement factors of this way of production.
    sentences, notes : tuple of str
    predicted : tuple of CausePrediction
    remaining : Remaining or None
        What the crowns share that no stated cause explains.
    total_um, causes_um, shared_um, between_um : float
        Root mean squares over the surface: of all crowns; of what the stated causes make in all
        crowns alike; of what else they share; of the standard deviation between crowns.
    share_together : float
        Share of the crowns' mean square that all stated causes explain together.
    reason : str
        Why nothing was looked for; empty otherwise.
    """

    group: str
    title: str
    crowns: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    causes: tuple[SharedCause, ...] = ()
    corrections: tuple[Correction, ...] = ()
    sentences: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    predicted: tuple[CausePrediction, ...] = ()
    remaining: Remaining | None = None
    total_um: float = float("nan")
    causes_um: float = float("nan")
    shared_um: float = float("nan")
    between_um: float = float("nan")
    share_together: float = float("nan")
    reason: str = ""

    @property
    def stated(self) -> tuple[SharedCause, ...]:
        """The causes that the group's mean bears."""
        return tuple(row for row in self.causes if row.cause.stated)


@dataclass(frozen=True)
class CauseComparison(LedByTest):
    """Two groups by one cause; the crown is the unit.

    Attributes
    ----------
    cause, family, unit : str
    first, second : str
        The groups; differences are second minus first.
    tests : TwoGroups
        Of ``second`` against ``first``.
    lead : str
        The test that decides, chosen in the plan.
    adjusted : Adjusted
        Its p-value, adjusted over all comparisons by cause.
    outcome : Outcome
        ``different``, ``undecided`` or ``not_computed``: there is no equivalence limit.
    sentence, reason : str
    """

    cause: str
    family: str
    unit: str
    first: str
    second: str
    tests: TwoGroups
    lead: Lead
    adjusted: Adjusted
    outcome: Outcome
    sentence: str = ""
    reason: str = ""


@dataclass(frozen=True)
class CausesAnalysis:
    """Why the crowns of a study deviate.

    Attributes
    ----------
    groups : tuple of GroupWhy
    comparisons : tuple of CauseComparison
        Per cause that some group has × pair of groups; empty for one group.
    repeatability_um : float
        The scanner's over the surface, from repeated scans; NaN if it is not known.
    least_um : float
        Causes of smaller deviations are not stated.
    notes : tuple of str
        How comparisons are corrected, and what they are free of.
    """

    groups: tuple[GroupWhy, ...]
    comparisons: tuple[CauseComparison, ...]
    repeatability_um: float
    least_um: float
    notes: tuple[str, ...] = ()

    def of(self, group: str) -> GroupWhy | None:
        """Return what is told of a group; None if nothing is."""
        return next((row for row in self.groups if row.group == group), None)
