"""What the run of a study yields: crowns, pairs, maps. Numbers only; statistics come after."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from ...areas.area_set import AreaSet
from ...arrays import FloatArray, IntArray
from ...causes.result import Cause, Correction, Remaining
from ...checked_mesh import CheckedMesh
from ...deviation.margin_summary import MarginSummary
from ...deviation.measures import AreaMeasures
from ...deviation.support_marks import MarkResult
from ...deviation.verdict import ScanEvidence, Verdict
from ...errors import AreaError
from ...superimpose.result import Superimposition
from ..file.earlier_study import EarlierStudy
from ..file.examiner_scores import ExaminerScores
from ..plan import StudyPlan
from .crown_fit import CrownFit, NotFitted
from .shared_causes import StudyCauses


@dataclass(frozen=True, eq=False)
class CrownCauses:
    """Why one crown deviates, as far as it alone can tell.

    Attributes
    ----------
    causes : tuple of Cause
        Stated ones first, the largest first; then what was looked for and not stated.
    corrections : tuple of Correction
        Next enlargement factors by this crown alone; those of its group are surer.
    sentences, notes : tuple of str
    remaining : Remaining
    share_together : float
        Of the crown's variance, explained by all stated causes.
    why_not : str
        Why causes were not looked for, as the end of a sentence; empty if they were.
    cells : (c,) float
        Mean deviations of the design's cells, mm, facet sag corrected; NaN where not measured.
    """

    causes: tuple[Cause, ...]
    corrections: tuple[Correction, ...]
    sentences: tuple[str, ...]
    notes: tuple[str, ...]
    remaining: Remaining
    share_together: float
    why_not: str
    cells: FloatArray = field(repr=False)


@dataclass(frozen=True, eq=False)
class Crown:
    """One produced crown against the design: trueness.

    Attributes
    ----------
    name : str
        As :meth:`.StudyPlan.crown_names` says; unique in the study.
    group : str
        The group's name.
    path : pathlib.Path
        The scan file.
    sha256 : str
        Checksum of its content.
    triangles : int
        Of the scan, after repair.
    superimposition : Superimposition
        The scan's motion and how far to trust it.
    measures : tuple of AreaMeasures
        Per direction and area, with verdicts in the rows of the judged direction.
    verdicts : tuple of Verdict
        One per area.
    warnings : tuple of str
        What the reader must know about this crown, as sentences.
    key : str
        Under which its deviations are kept; see :class:`~.result_store.ResultStore`.
    marks : tuple of MarkResult
        What is left of each support mark.
    evidence : ScanEvidence
        What the verdicts need to know of the scan beside its measures.
    margin : MarginSummary or None
        What its margin profile comes to; None without a margin line.
    margin_um : (p,) float or None
        The deviation at each place of the design's margin line, as :func:`.margin_places` divides
        it; NaN where the place did not count.
    causes : CrownCauses or None
        Why it deviates; None where that was not asked for.
    fit : CrownFit or None
        How it fits on its die; None where that was not asked for, or could not be judged.
    """

    name: str
    group: str
    path: Path
    sha256: str
    triangles: int
    superimposition: Superimposition
    measures: tuple[AreaMeasures, ...]
    verdicts: tuple[Verdict, ...]
    warnings: tuple[str, ...]
    key: str
    marks: tuple[MarkResult, ...] = ()
    evidence: ScanEvidence = field(default_factory=ScanEvidence)
    margin: MarginSummary | None = None
    margin_um: FloatArray | None = field(default=None, repr=False)
    causes: CrownCauses | None = None
    fit: CrownFit | None = None

    def measures_of(self, area: str, direction: str = "design_to_scan") -> AreaMeasures:
        """Return the row of one area and direction."""
        return _row(self.measures, area, direction)


@dataclass(frozen=True)
class LeftOut:
    """A scan that could not be used.

    Attributes
    ----------
    name, group : str
    path : pathlib.Path
    reason, remedy : str
        As sentences.
    """

    name: str
    group: str
    path: Path
    reason: str
    remedy: str


@dataclass(frozen=True, eq=False)
class Pair:
    """Two crowns of one group, laid on each other.

    Attributes
    ----------
    group, first, second : str
        The group and the two crowns' names; positive: material of ``first`` outside ``second``.
    superimposed : tuple of AreaMeasures
        At the shared evaluation points, after superimposing the second crown on the first;
        ``tolerance_um`` and what depends on it are NaN.
    shift_um, turn_deg : float
        The second crown's motion from where it lay on the design to where it lies on the first:
        of its centroid, µm, and the angle, degrees.
    reason : str
        Why the pair could not be superimposed; its measures are then empty. Else empty.
    """

    group: str
    first: str
    second: str
    superimposed: tuple[AreaMeasures, ...]
    shift_um: float
    turn_deg: float
    reason: str = ""


@dataclass(frozen=True, eq=False)
class GroupMap:
    """A group's deviations at the design's evaluation points.

    Attributes
    ----------
    group : str
    n : int
        Crowns in the group.
    counted : (p,) int
        Crowns that count at each point.
    mean_um : (p,) float
        Mean signed deviation; NaN where no crown counts.
    sd_um : (p,) float
        Standard deviation between crowns (n − 1); NaN where fewer than two count.
    worst_um : (p,) float
        The signed deviation with the largest size.
    share_outside : (p,) float
        Share of the counting crowns whose deviation is beyond the whole crown's tolerance,
        0 to 1.
    """

    group: str
    n: int
    counted: IntArray
    mean_um: FloatArray
    sd_um: FloatArray
    worst_um: FloatArray
    share_outside: FloatArray


@dataclass(frozen=True, eq=False)
class DifferenceMap:
    """Where two groups differ.

    Attributes
    ----------
    first, second : str
        The groups.
    difference_um : (p,) float
        Mean of ``second`` minus mean of ``first``; NaN where it cannot be tested.
    p_value : (p,) float
        Welch t test at each point by itself.
    q_value : (p,) float
        The same after Benjamini and Hochberg: among the points with q ≤ 0.05 at most 5 % are
        expected to be false, if points depend on each other positively.
    """

    first: str
    second: str
    difference_um: FloatArray
    p_value: FloatArray
    q_value: FloatArray


@dataclass(frozen=True)
class SpreadParts:
    """A group's deviation in one area, taken apart.

    Attributes
    ----------
    group, area : str
    n : int
        Crowns.
    total_rms_um : float
        Root mean square deviation over crowns and points at once, µm. Not the mean of the
        crowns' own root mean squares, which is smaller where crowns differ.
    systematic_um : float
        Root mean square of what all crowns of this way share: of the mean map m, less what chance
        adds to it: √max(0, Σwn(m² − s²/n) / Σwn), with area w and crowns n of each point.
    random_um : float
        Root mean square of the standard deviation s between crowns, √(Σwns² / Σwn).

    Notes
    -----
    total² = systematic² + random², over the same crowns and points. Only where the mean is less
    than what chance leaves in it is the systematic part set to 0, and the random part, which
    stands for crowns to come (n − 1), is larger than the total, which is of the crowns at hand:
    by a factor of √(n / (n − 1)) at most.
    """

    group: str
    area: str
    n: int
    total_rms_um: float
    systematic_um: float
    random_um: float


@dataclass(frozen=True, eq=False)
class RepeatScan:
    """One scan of a crown that was scanned again and again.

    Attributes
    ----------
    crown, operator, trial : str
        As the repeat-scan file says.
    scan : Crown
        Measured as every crown is; its group is ``"repeats"``.
    from_others : tuple of AreaMeasures
        Of the scan's distance from the mean surface of the other crowns of its crown's group, in
        the design's frame; empty for a crown that is in no group with two others.
    """

    crown: str
    operator: str
    trial: str
    scan: Crown
    from_others: tuple[AreaMeasures, ...] = ()


@dataclass(frozen=True, eq=False)
class StudyRun:
    """All that was measured in a study.

    Attributes
    ----------
    plan : StudyPlan
    design : CheckedMesh
    area_set : AreaSet
        Areas on the design's evaluation mesh, whose points every crown is measured at.
    crowns : tuple of Crown
        In the plan's order.
    left_out : tuple of LeftOut
    pairs : tuple of Pair
        All n(n − 1)/2 of every group.
    maps : mapping of str to GroupMap
        Per group with at least one crown, in the plan's order.
    differences : tuple of DifferenceMap
        Per pair of groups with at least two crowns each.
    parts : tuple of SpreadParts
        Per group of two or more crowns, and area.
    repeats : tuple of RepeatScan
    warnings : tuple of str
        About the design, the areas and the groups; those about one crown are with it.
    versions : mapping of str to str
        Of Cuspwise and what it computed with.
    reused : int
        Crowns, fits and pairs that were taken from an earlier run.
    seconds : mapping of str to float
        Time per stage; not part of any table.
    scores : ExaminerScores or None
        What examiners said of the crowns.
    causes : StudyCauses or None
        What the crowns of each group share; None where causes were not asked for.
    not_fitted : tuple of NotFitted
        Crowns that were to be seated and could not be.
    earlier : EarlierStudy or None
        A study to compare with.
    """

    plan: StudyPlan
    design: CheckedMesh
    area_set: AreaSet
    crowns: tuple[Crown, ...]
    left_out: tuple[LeftOut, ...]
    pairs: tuple[Pair, ...]
    maps: Mapping[str, GroupMap]
    differences: tuple[DifferenceMap, ...]
    parts: tuple[SpreadParts, ...]
    repeats: tuple[RepeatScan, ...]
    warnings: tuple[str, ...]
    versions: Mapping[str, str]
    reused: int
    seconds: Mapping[str, float]
    scores: ExaminerScores | None = None
    causes: StudyCauses | None = None
    not_fitted: tuple[NotFitted, ...] = ()
    earlier: EarlierStudy | None = None

    def crowns_of(self, group: str) -> tuple[Crown, ...]:
        """Return a group's crowns."""
        return tuple(crown for crown in self.crowns if crown.group == group)


def _row(rows: tuple[AreaMeasures, ...], area: str, direction: str) -> AreaMeasures:
    for row in rows:
        if (row.area, row.direction) == (area, direction):
            return row
    raise AreaError(
        f"There is no area called {area!r} in direction {direction!r}.",
        subject=area,
        remedy=f"Choose from {', '.join(dict.fromkeys(row.area for row in rows))}.",
    )
