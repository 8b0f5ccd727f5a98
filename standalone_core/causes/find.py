"""From a crown's deviations to their causes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..arrays import FloatArray
from ..deviation.facet_sag import facet_sag_mm
from ..deviation.field import COUNTED, TOO_FAR, DeviationField
from ..deviation.tolerances import Tolerances
from ..progress import Progress, Steps, run
from ..words.text import count_words
from .averaged import PLUG_IN
from .case import Case
from .correction import corrections_of
from .found import LEAST_CELLS, Doubt, find_in_cells
from .found_marks import FoundMark, find_marks
from .layers import LayerSteps, find_layers
from .notes import about_sag, notes_of
from .prediction import predicted_areas, superimposed_anew
from .remaining import remaining_of
from .result import Cause, CausesResult, Correction, PredictedArea, Remaining
from .rows import rows_of
from .sentences import layers_row, marks_row, not_stated, sentences_of
from .settings import CausesSettings, ProductionFacts
from .strain import parts_of
from .words import SCANNER_CLAUSE

if TYPE_CHECKING:
    from ..mesh.triangle_mesh import TriangleMesh
    from .design_fields import CauseFields


_SAG_DOUBT = 0.5
"""Standard deviation of facet sag, as a share of it: the formula knows the mean curvature only,
and edges of 0.3 mm and more are not short beside the curvature of cusps."""


@dataclass(frozen=True, eq=False)
class CrownToExplain:
    """A crown's deviations, and what is known of it.

    Attributes
    ----------
    deviation_mm : (n,) float
        From design to scan at the evaluation points, mm; NaN where a point does not count.
    scan : TriangleMesh or None
        The superimposed scan with its own triangles; None for a mean of several.
    facts : ProductionFacts
    tolerances : Tolerances
        For predictions.
    repeatability_um : float
        The scanner's, as root mean square over the surface; NaN if not known.
    """

    deviation_mm: FloatArray
    scan: TriangleMesh | None = None
    facts: ProductionFacts = ProductionFacts()
    tolerances: Tolerances = Tolerances()
    repeatability_um: float = math.nan


def find_causes_steps(fields: CauseFields, crown: CrownToExplain) -> Steps[CausesResult]:
    """Find the causes as :func:`find_causes` does, step by step."""
    yield Progress("Taking the scan's facets off", 0.0)
    sag = _sag_mm(fields, crown)
    deviation = without_scanner(fields, crown.deviation_mm) + sag
    values = fields.measured_means(deviation)
    yield Progress("Weighing causes", 0.1)
    edge = math.nan if crown.scan is None else crown.scan.mean_edge_mm
    doubt = doubt_of(fields, sag)
    found = find_in_cells(fields, values, crown.facts, _least_um(fields, crown), doubt)
    confounded = None if found is None else found.rule.confounded
    notes = notes_of(fields, values, crown.facts, confounded)
    notes += about_sag(sag, fields.area_set.evaluation.weights_mm2, edge)
    if found is None:
        why = _too_little(fields, values)
        nothing = no_causes(len(deviation), crown.facts, fields.settings, why)
        return replace(nothing, notes=notes, left_mm=deviation, cells=values)
    case = Case(fields, found, crown.facts, deviation, edge, crown.scan)
    yield Progress("Sizing causes", 0.7)
    corrections = _corrections(case)
    rows = list(rows_of(case, corrections))
    yield Progress("Looking for support marks and layers", 0.8)
    marks, layers = _marks(case), _layers(case)
    rows += [row for row in (marks_row(case, marks), layers_row(case, layers)) if row]
    predicted = _predictions(case, rows, crown)
    remaining = remaining_of(
        found.best, found.fitted, found.values, found.weights, crown.repeatability_um
    )
    axis = case.build_axis
    return CausesResult(
        causes=(*rows, *not_stated(case)),
        sentences=sentences_of(case, rows, corrections, remaining, predicted),
        corrections=corrections,
        remaining=remaining,
        share_together=found.share_together,
        predicted=predicted,
        filled=tuple(place for places in case.filled.values() for place in places),
        marks=marks,
        layers=layers,
        notes=notes,
        facts=crown.facts,
        settings=fields.settings,
        fields_mm=fields_by_cause(case),
        left_mm=case.left_mm,
        build_direction=None if axis is None else tuple(axis.tolist()),
        cells=values,
    )


def find_causes(fields: CauseFields, crown: CrownToExplain) -> CausesResult:
    """Find why a crown deviates, as far as its deviations can tell.

    Mean deviations of cells of about 1 mm are held against what every cause would make of them,
    all sets of causes against each other (BIC), under two covariances of what is left; only what
    both hold with a probability of 0.95, and what makes at least 1.5 µm, is stated.

    Parameters
    ----------
    fields : CauseFields
        Of the design; see :func:`.design_fields.cause_fields`.
    crown : CrownToExplain

    Returns
    -------
    CausesResult
    """
    return run(find_causes_steps(fields, crown))


def without_scanner(fields: CauseFields, deviation_mm: FloatArray) -> FloatArray:
    """Take the scanner's known scale off deviations (n,), mm."""
    permille = fields.settings.scanner_scale_permille
    if not permille:
        return deviation_mm
    return deviation_mm - permille * (fields.fields.strain @ parts_of(np.eye(3)))


def _sag_mm(fields: CauseFields, crown: CrownToExplain) -> FloatArray:
    """Return what the scan's facets alone take off the deviations, (n,), mm."""
    evaluation = fields.area_set.evaluation
    if crown.scan is None:
        return np.zeros(len(evaluation.points))
    return facet_sag_mm(evaluation.curvature, evaluation.points, crown.scan)


def doubt_of(fields: CauseFields, sag_mm: FloatArray | None = None) -> Doubt:
    """Return what is not known of cell means: the scanner's scale, and what facet sag leaves.

    Parameters
    ----------
    fields : CauseFields
    sag_mm : (n,) float, optional
        What was added to the deviations; the curvature that it rests on is known roughly.
    """
    sag = np.zeros(len(fields.cell)) if sag_mm is None else sag_mm
    cells = fields.means(sag)
    sides = np.stack([~fields.cell_inside, fields.cell_inside], axis=1)
    scale = fields.cell_columns.strain @ parts_of(np.eye(3))
    # Known and not estimated, so that it does not grow with the variances that are.
    uncertainty = fields.settings.scanner_scale_uncertainty_permille / math.sqrt(PLUG_IN)
    return Doubt(
        variance=(_SAG_DOUBT * cells) ** 2,
        columns=np.column_stack([_SAG_DOUBT * cells[:, None] * sides, uncertainty * scale]),
    )


def _too_little(fields: CauseFields, values: FloatArray) -> str:
    measured = count_words(int(np.isfinite(values).sum()), "cell")
    return (
        f"too little of the surface was measured, {measured} of {fields.cell_mm:.3g} mm; it takes "
        f"{LEAST_CELLS}"
    )


def _corrections(case: Case) -> tuple[Correction, ...]:
    """Return the next factors; they hang on the scanner's own scale while that is not known."""
    kinds = tuple(case.found.member(place).cause for place in case.scale_places)
    found = corrections_of(case.facts, case.strain, kinds, case.build_axis, case.main)
    known = case.fields.settings.scanner_scale_permille is not None
    return found if known else tuple(replace(one, condition=SCANNER_CLAUSE) for one in found)


def _least_um(fields: CauseFields, crown: CrownToExplain) -> float:
    known = crown.repeatability_um > 0
    return max(fields.settings.least_um, crown.repeatability_um if known else 0.0)


def _marks(case: Case) -> tuple[FoundMark, ...]:
    """Look for support marks that nobody marked, in what the causes leave."""
    evaluation = case.fields.area_set.evaluation
    counted = np.isfinite(case.deviation_mm)
    field = DeviationField(
        direction="design_to_scan",
        points_mm=evaluation.points,
        deviation_mm=case.deviation_mm,
        status=np.where(counted, COUNTED, TOO_FAR).astype(np.uint8),
        weights_mm2=evaluation.weights_mm2,
        area_point=np.arange(len(counted)),
    )
    return find_marks(
        case.fields.area_set,
        field,
        case.left_mm,
        case.facts.build_direction,
        ground=case.fields.mark_ground,
    )


def _layers(case: Case) -> LayerSteps | None:
    """Look for layer steps on the outside, along a build direction that is known."""
    axis = case.facts.build_axis
    if axis is None or case.facts.way == "milled" or not np.isfinite(case.scan_edge_mm):
        return None
    evaluation = case.fields.area_set.evaluation
    used = (case.fields.cell >= 0) & (case.fields.fields.outside > 0) & np.isfinite(case.left_mm)
    return find_layers(
        evaluation.points[used],
        evaluation.mesh.vertex_normals[used],
        case.left_mm[used],
        evaluation.weights_mm2[used],
        axis,
        case.scan_edge_mm,
    )


def fields_by_cause(case: Case) -> Mapping[str, FloatArray]:
    """Return each explaining cause's deviations by its name, or that of its family."""
    named = {one.place: one.named for one in case.found.statements}
    found = {}
    for place, made in case.made_mm.items():
        member = case.found.member(place)
        name = member.cause if named[place] else member.family
        if name == "scale_per_direction" and case.main is not None and case.main.uniaxial:
            name = "scale_along_build"
        found[name] = made
    return found


def _predictions(case: Case, rows: list[Cause], crown: CrownToExplain) -> tuple[PredictedArea, ...]:
    """Predict the measures without each cause, and without all."""
    area_set = case.fields.area_set
    rigid, weights = case.fields.fields.rigid, area_set.evaluation.weights_mm2
    without = dict(fields_by_cause(case))
    if len(without) > 1:
        without["all"] = sum(without.values(), np.zeros(len(weights)))
    found: list[PredictedArea] = []
    for name, made in without.items():
        corrected = superimposed_anew(crown.deviation_mm - made, rigid, weights)
        found += predicted_areas(area_set, crown.deviation_mm, corrected, crown.tolerances, name)
    return tuple(found)


def no_causes(
    points: int, facts: ProductionFacts, settings: CausesSettings, why: str
) -> CausesResult:
    """Return a result that holds no causes, and says why they were not looked for.

    Parameters
    ----------
    points : int
        Count of the design's evaluation points.
    facts : ProductionFacts
    settings : CausesSettings
    why : str
        The reason, as the end of a sentence.
    """
    return CausesResult(
        causes=(),
        sentences=(f"Causes were not looked for: {why}.",),
        corrections=(),
        remaining=Remaining(math.nan, math.nan, math.nan),
        share_together=math.nan,
        predicted=(),
        filled=(),
        marks=(),
        layers=None,
        notes=(),
        facts=facts,
        settings=settings,
        fields_mm={},
        left_mm=np.full(points, np.nan),
        build_direction=facts.build_axis,
    )
