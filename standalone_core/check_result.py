"""What a check found out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from .areas.chosen import no_area
from .deviation.direction import SCAN_TO_DESIGN, Direction

if TYPE_CHECKING:
    from .areas.area_set import AreaSet
    from .causes.result import CausesResult
    from .check_settings import CheckSettings
    from .checked_mesh import CheckedMesh
    from .deviation.facet_sag import AreaSag
    from .deviation.field import DeviationField
    from .deviation.layers_beside import LayerBeside
    from .deviation.margin_profile import MarginProfile
    from .deviation.measures import AreaMeasures
    from .deviation.patches import Patch
    from .deviation.support_marks import MarkResult
    from .deviation.unmatched import UnmatchedPiece
    from .deviation.verdict import Verdict
    from .mesh.refine import EvaluationMesh
    from .superimpose.result import Superimposition


@dataclass(frozen=True, eq=False)
class CheckResult:
    """All that a check found out.

    Attributes
    ----------
    design, scan : CheckedMesh
        The two surfaces, with their files and health.
    area_set : AreaSet
        The areas, on ``evaluation``.
    superimposition : Superimposition
        The scan's motion and how far to trust it.
    scan_in_place : EvaluationMesh
        The superimposed scan, in the design's frame; the first vertices are the scan's own.
    design_to_scan, scan_to_design : DeviationField
        Deviations at the design's evaluation points, and at those of the scan.
    measures : tuple of AreaMeasures
        Per direction and area, with verdicts in the rows of the judged direction.
    patches : tuple of Patch
        Patches outside the whole crown's tolerance, worst first.
    verdicts : tuple of Verdict
        One per area.
    warnings : tuple of str
        All that the reader must know before trusting the numbers, as sentences.
    seconds : mapping of str to float
        Time per stage: make ready (both sides beside each other: reading, repair, areas, index),
        superimpose, index, measure, judge; and the total.
    versions : mapping of str to str
        Of Cuspwise and what it computed with.
    settings : CheckSettings
    judged_warnings : tuple of str
        Those of the warnings that depend on the tolerances.
    marks : tuple of MarkResult
        What is left of each support mark.
    is_design : bool
        Whether the scan is no scan but the design's own surface.
    layers : tuple of LayerBeside
        Second layers of the scan's surface.
    unmatched : tuple of UnmatchedPiece
        Scan surface without a counterpart on the design, the highest first.
    margin_profile : MarginProfile or None
        The deviation along the margin line, place by place; None without a margin line.
    facet_sag : tuple of AreaSag
        What the scan's flat triangles alone read as, by area.
    causes : CausesResult or None
        Why it deviates; None if that was not asked for.
    doubt : str
        Why the surface that was measured may not be the crown's; empty where nothing speaks
        against it.
    origins : mapping of str to mapping
        Where "design" and "scan" come from if they were not read from a file here, as plain data.
    """

    design: CheckedMesh
    scan: CheckedMesh
    area_set: AreaSet
    superimposition: Superimposition
    scan_in_place: EvaluationMesh
    design_to_scan: DeviationField
    scan_to_design: DeviationField
    measures: tuple[AreaMeasures, ...]
    patches: tuple[Patch, ...]
    verdicts: tuple[Verdict, ...]
    warnings: tuple[str, ...]
    seconds: Mapping[str, float]
    versions: Mapping[str, str]
    settings: CheckSettings
    judged_warnings: tuple[str, ...] = ()
    marks: tuple[MarkResult, ...] = ()
    is_design: bool = False
    layers: tuple[LayerBeside, ...] = ()
    unmatched: tuple[UnmatchedPiece, ...] = ()
    margin_profile: MarginProfile | None = None
    facet_sag: tuple[AreaSag, ...] = ()
    causes: CausesResult | None = None
    doubt: str = ""
    origins: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def evaluation(self) -> EvaluationMesh:
        """The design's evaluation mesh."""
        return self.area_set.evaluation

    @property
    def fields(self) -> tuple[DeviationField, DeviationField]:
        """The deviations in both directions."""
        return self.design_to_scan, self.scan_to_design

    @property
    def judged_field(self) -> DeviationField:
        """The deviations in the direction that was judged."""
        back = self.settings.direction == SCAN_TO_DESIGN
        return self.scan_to_design if back else self.design_to_scan

    def measures_of(self, area: str = "whole", direction: Direction | None = None) -> AreaMeasures:
        """Return the row of one area and direction, of the judged one if none is named.

        Raises
        ------
        AreaError
            There is no such area.
        """
        direction = direction or self.settings.direction
        for row in self.measures:
            if (row.area, row.direction) == (area, direction):
                return row
        raise no_area(area, self.area_set)
