"""What the statistics of a study yield: everything a report shows, in numbers and sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from ....deviation.direction import Direction
    from ....statistics.odd import OddUnit
    from ...measuring.results import SpreadParts
    from ...plan import AnalysisPlan
    from .causes import CausesAnalysis
    from .comparisons import Comparison, OverallRow, PrecisionComparison
    from .earlier import EarlierComparison
    from .fit import FitAnalysis, FitFindings
    from .groups import AssumptionRow, PairRow, PrecisionRow, ToleranceRow, TruenessRow
    from .scores import ExaminerAnalysis, ScannerRow

LineKind = Literal[
    "tolerance",
    "unmatched",
    "primary",
    "secondary",
    "fit",
    "difference",
    "precision",
    "odd",
    "scanner",
    "caution",
]
Status = Literal["good", "bad", "open", "note"]


@dataclass(frozen=True)
class VerdictLine:
    """One sentence of the answer.

    Attributes
    ----------
    kind : str
        What it is about: ``tolerance`` (does a group meet the limits), ``primary`` (the
        comparison that the study was made for), ``secondary`` (those after it, in their order),
        ``fit`` (do the crowns fit), ``difference`` (other comparisons), ``precision``, ``odd``
        (crowns unlike their group), ``scanner``, ``caution``.
    status : str
        ``good``, ``bad``, ``open`` (cannot be decided) or ``note``: for a mark beside it.
    sentence : str
    """

    kind: LineKind
    status: Status
    sentence: str


@dataclass(frozen=True)
class OddCrown:
    """How far a crown is from its group.

    Attributes
    ----------
    crown, group : str
    unit : OddUnit or None
        None if the group is too small. A flagged crown stays in all results; those without it
        are shown beside.
    reason : str
        What is unusual about it, in words; for a crown not flagged: empty, or why it could not
        be judged.
    """

    crown: str
    group: str
    unit: OddUnit | None
    reason: str

    @property
    def odd(self) -> bool:
        """Whether it is flagged."""
        return self.unit is not None and self.unit.odd

    @property
    def score(self) -> float:
        """Robust distance from its group; NaN if it could not be judged."""
        return math.nan if self.unit is None else self.unit.score

    @property
    def limit(self) -> float:
        """Where the flag begins."""
        return math.nan if self.unit is None else self.unit.limit


@dataclass(frozen=True)
class MarkRow:
    """What is left of one support mark on the crowns of one group.

    Attributes
    ----------
    mark, kind, group : str
    n : int
        Crowns on which it was measured; all else but ``not_measured`` is about them.
    not_measured, stubs, gouges, clean : int
        Crowns by what was found.
    height_mean_um, height_sd_um, height_low_um, height_high_um : float
        Height above the surroundings, negative below them: mean, standard deviation (n − 1) and
        the crowns' lowest and highest, µm.
    area_mean_mm2, volume_mean_mm3 : float
        Means of the surface that stands out, mm², and of the material that is too much or, if
        negative, missing there, mm³.
    """

    mark: str
    kind: str
    group: str
    n: int
    not_measured: int
    stubs: int
    gouges: int
    clean: int
    height_mean_um: float
    height_sd_um: float
    height_low_um: float
    height_high_um: float
    area_mean_mm2: float
    volume_mean_mm3: float


@dataclass(frozen=True)
class DifferenceShare:
    """How much of an area differs between two groups, point by point.

    Attributes
    ----------
    first, second, area : str
    tested : float
        Share of the area's surface where a test was possible, 0 to 1.
    differing : float
        Share of the tested surface with q ≤ α (Benjamini–Hochberg).
    mean_um : float
        Mean difference (second − first) over the differing surface, µm; NaN if there is none.
    sentence : str
    """

    first: str
    second: str
    area: str
    tested: float
    differing: float
    mean_um: float
    sentence: str


@dataclass(frozen=True)
class Findings:
    """Descriptions and comparisons of one set of crowns.

    Attributes
    ----------
    crowns : tuple of str
        Names of the crowns in it.
    trueness : tuple of TruenessRow
        Per group × area × measure, in this order.
    tolerances : tuple of ToleranceRow
        Per group × area.
    assumptions : tuple of AssumptionRow
        Per area × measure; empty for one group.
    comparisons : tuple of Comparison
        Per pair of groups × area × measure; those of the plan's order first, in that order.
    overall : tuple of OverallRow
        Per area × measure; empty for fewer than three groups.
    precision : tuple of PrecisionRow
        Per group × area × measure that is a distance.
    precision_comparisons : tuple of PrecisionComparison
        Per pair of groups × area × measure that is a distance.
    pairs : tuple of PairRow
        Per group × area × measure.
    notes : tuple of str
        What could not be computed and why.
    fit : FitFindings or None
        None where no crown was seated.
    """

    crowns: tuple[str, ...]
    trueness: tuple[TruenessRow, ...]
    tolerances: tuple[ToleranceRow, ...]
    assumptions: tuple[AssumptionRow, ...]
    comparisons: tuple[Comparison, ...]
    overall: tuple[OverallRow, ...]
    precision: tuple[PrecisionRow, ...]
    precision_comparisons: tuple[PrecisionComparison, ...]
    pairs: tuple[PairRow, ...]
    notes: tuple[str, ...] = ()
    fit: FitFindings | None = None

    @property
    def primary(self) -> tuple[Comparison, ...]:
        """The plan's primary comparison, one per pair of groups; it may be one of fit."""
        fit = () if self.fit is None else self.fit.comparisons
        return tuple(row for row in (*self.comparisons, *fit) if row.primary)

    @property
    def secondary(self) -> tuple[Comparison, ...]:
        """The plan's secondary comparisons, those of fit last."""
        fit = () if self.fit is None else self.fit.comparisons
        return tuple(row for row in (*self.comparisons, *fit) if row.standing == "secondary")


@dataclass(frozen=True)
class OddEffect:
    """A conclusion that is another one without the odd crowns.

    Attributes
    ----------
    area, measure, first, second : str
    aspect : "trueness", "precision" or "fit"
    primary : bool
        Whether this is the plan's primary comparison.
    with_odd, without_odd : str
        The outcomes.
    sentence : str
    """

    area: str
    measure: str
    first: str
    second: str
    aspect: Literal["trueness", "precision", "fit"]
    primary: bool
    with_odd: str
    without_odd: str
    sentence: str


@dataclass(frozen=True)
class StudyAnalysis:
    """The statistics of a study.

    Attributes
    ----------
    title, question : str
        Of the plan.
    groups : tuple of str
        Names of the groups with crowns, in the plan's order.
    group_titles : tuple of str
        For readers, in the same order.
    areas, measures : tuple of str
        What was described and compared.
    settings : AnalysisPlan
    verdict : tuple of VerdictLine
        The answer in plain words, most important first: the report's top.
    findings : Findings
        With all crowns; the results of the study.
    odd_crowns : tuple of OddCrown
        Every crown's distance from its group.
    without_odd : Findings or None
        The same without the flagged crowns; None if none is.
    odd_effects : tuple of OddEffect
        Which conclusions change without them.
    parts : tuple of SpreadParts
        Systematic and random part per group and area.
    difference_shares : tuple of DifferenceShare
        Per pair of groups × area.
    difference_caveat : str
        What such a map can and cannot say.
    examiners : ExaminerAnalysis or None
    scanner : tuple of ScannerRow
        Per area × measure; empty without repeated scans.
    multiplicity : str
        Which claims share a level, and what is exploratory, in words.
    notes : tuple of str
        What must be known to read the numbers, and what could not be computed and why.
    marks : tuple of MarkRow
        Per support mark × group; described only, never tested.
    causes : CausesAnalysis or None
        Why the crowns deviate; None where that was not asked for.
    fit : FitAnalysis or None
        How they fit on their dies; None where that was not asked for.
    direction : {"design_to_scan", "scan_to_design"}
        That of trueness. Precision and what is taken point by point stand at the design's points.
    earlier : EarlierComparison or None
        Against an earlier study, exploratory; None where none was given.
    """

    title: str
    question: str
    groups: tuple[str, ...]
    group_titles: tuple[str, ...]
    areas: tuple[str, ...]
    measures: tuple[str, ...]
    settings: AnalysisPlan
    verdict: tuple[VerdictLine, ...]
    findings: Findings
    odd_crowns: tuple[OddCrown, ...]
    without_odd: Findings | None
    odd_effects: tuple[OddEffect, ...]
    parts: tuple[SpreadParts, ...]
    difference_shares: tuple[DifferenceShare, ...]
    difference_caveat: str
    examiners: ExaminerAnalysis | None
    scanner: tuple[ScannerRow, ...]
    multiplicity: str
    notes: tuple[str, ...]
    marks: tuple[MarkRow, ...] = ()
    causes: CausesAnalysis | None = None
    fit: FitAnalysis | None = None
    direction: Direction = "design_to_scan"
    earlier: EarlierComparison | None = None
