"""What the statistics of a study say about how its crowns fit on their dies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ....statistics.tolerance import ShareWithin
    from ...measuring.crown_fit import NotFitted
    from .comparisons import Comparison, OverallRow
    from .groups import AssumptionRow, TruenessRow


@dataclass(frozen=True)
class FitFindings:
    """The fit of one set of crowns, described and compared, as trueness is.

    All comparisons are one family, but for those of fit that the plan's order holds.

    Attributes
    ----------
    described : tuple of TruenessRow
        Per group × measure of fit × area.
    assumptions : tuple of AssumptionRow
        Per measure × area; empty for one group.
    comparisons : tuple of Comparison
        Per pair of groups × measure × area; those of the plan's order first.
    overall : tuple of OverallRow
        Per measure × area; empty for fewer than three groups.
    """

    described: tuple[TruenessRow, ...]
    assumptions: tuple[AssumptionRow, ...]
    comparisons: tuple[Comparison, ...]
    overall: tuple[OverallRow, ...]


@dataclass(frozen=True)
class FitLimitRow:
    """A group's crowns against one limit of fit.

    Attributes
    ----------
    group, part, measure, area : str
        ``part``, ``measure`` and ``area`` as of :class:`~.Judged`; all three empty for the whole
        verdict on a crown.
    title : str
        What is judged, in a few words.
    limit : str
        With its unit and bound, as "at most 120 µm"; empty for the whole verdict.
    share : ShareWithin
        Crowns within among those within or outside.
    undecided : int
    sentence : str
    """

    group: str
    part: str
    measure: str
    area: str
    title: str
    limit: str
    share: ShareWithin
    undecided: int
    sentence: str


@dataclass(frozen=True)
class CrownAnswer:
    """Whether one crown fits, in words.

    Attributes
    ----------
    crown, group : str
    verdict : str
        ``within``, ``outside`` or ``not_decidable``.
    title : str
    sentences : tuple of str
        For a crown that cannot go on they name what holds it.
    stays_up : bool
    """

    crown: str
    group: str
    verdict: str
    title: str
    sentences: tuple[str, ...]
    stays_up: bool


@dataclass(frozen=True)
class FitAnalysis:
    """How the crowns fit.

    Attributes
    ----------
    limits : tuple of FitLimitRow
        Per group: the whole verdict, then each limit.
    crowns : tuple of CrownAnswer
        Every crown that was seated.
    not_fitted : tuple of NotFitted
    notes : tuple of str
        What must be known to read the numbers.
    """

    limits: tuple[FitLimitRow, ...]
    crowns: tuple[CrownAnswer, ...]
    not_fitted: tuple[NotFitted, ...]
    notes: tuple[str, ...]
