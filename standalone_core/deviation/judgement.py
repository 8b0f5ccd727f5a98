"""Measures, verdicts and patches of measured deviations: all that depends on the tolerances.

Other tolerances need no new measurement: judge the same deviations again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..areas.area_set import AreaSet
from ..shares import share_words
from ..superimpose.result import Superimposition
from .direction import DESIGN_TO_SCAN, Direction, covered_in
from .facet_sag import about_sag
from .field import DeviationField
from .measures import AreaMeasures, measure_areas
from .patches import Patch, find_in_both, find_patches
from .reasons import about_pieces
from .settings import PatchSettings
from .tolerances import Tolerances
from .unmatched import UnmatchedPiece, unmatched_pieces
from .verdict import (
    SAME_SURFACE,
    ScanEvidence,
    Verdict,
    is_too_much,
    judge,
    matched_coverage,
    with_verdicts,
)


@dataclass(frozen=True)
class Judgement:
    """What follows from deviations and tolerances.

    Attributes
    ----------
    measures : tuple of AreaMeasures
        Per direction and area, with verdicts.
    verdicts : tuple of Verdict
        One per area.
    patches : tuple of Patch
        Patches outside the whole crown's tolerance, worst first.
    unmatched : tuple of UnmatchedPiece
        Scan surface without a counterpart on the design, the highest first.
    warnings : tuple of str
        Areas that were measured too little of, or on too coarse triangles, and tolerances that
        nothing was judged by.
    """

    measures: tuple[AreaMeasures, ...]
    verdicts: tuple[Verdict, ...]
    patches: tuple[Patch, ...]
    unmatched: tuple[UnmatchedPiece, ...]
    warnings: tuple[str, ...]


def judge_deviations(
    fields: Sequence[DeviationField],
    area_set: AreaSet,
    superimposition: Superimposition,
    tolerances: Tolerances,
    *,
    evidence: ScanEvidence | None = None,
    patches: PatchSettings | None = None,
    weighted: bool = True,
    direction: Direction = DESIGN_TO_SCAN,
) -> Judgement:
    """Judge deviations by tolerances.

    Parameters
    ----------
    fields : sequence of DeviationField
        From design to scan, then from scan to design if that was measured.
    area_set : AreaSet
        Areas and edges of the evaluation mesh that the first field was measured on.
    superimposition : Superimposition
        Whether the pose can be trusted.
    tolerances : Tolerances
    evidence : ScanEvidence, optional
        What is known of the scan beside its deviations; unmatched surface is found here.
    patches : optional
        Which patches are listed.
    weighted : bool
        Whether measures are weighted by area.
    direction : {"design_to_scan", "scan_to_design"}
        Which one is judged first; see :func:`.verdict.judge`. Patches are found in both.
    """
    limits = tolerances.tolerances_um
    measures = measure_areas(fields, area_set, limits, weighted=weighted)
    pieces = pieces_of(fields, area_set, tolerances)
    evidence = replace(evidence or ScanEvidence(), unmatched=pieces)
    verdicts = judge(measures, superimposition, tolerances, evidence, direction)
    return Judgement(
        measures=with_verdicts(measures, verdicts),
        verdicts=verdicts,
        patches=_patches(fields, area_set, tolerances.limit_um("whole"), pieces, patches),
        unmatched=pieces,
        warnings=(
            *scan_warnings(measures, evidence, tolerances, direction),
            *(
                f"The tolerance of {name} was not used: {area_set.missing.get(name, 'no area.')}"
                for name in limits
                if name not in area_set.areas
            ),
        ),
    )


def pieces_of(
    fields: Sequence[DeviationField], area_set: AreaSet, tolerances: Tolerances
) -> tuple[UnmatchedPiece, ...]:
    """Return the pieces of unmatched scan surface, if the scan's side was measured."""
    if len(fields) < 2:
        return ()
    return unmatched_pieces(fields[1], area_set, least_um=tolerances.max_unmatched_um)


def scan_warnings(
    measures: Sequence[AreaMeasures],
    evidence: ScanEvidence,
    tolerances: Tolerances,
    direction: Direction = DESIGN_TO_SCAN,
) -> list[str]:
    """Return what a reader of a scan's measures, judged in a direction, must know, as sentences."""
    least = tolerances.min_coverage
    found = [SAME_SURFACE] if evidence.is_design else []
    found += [evidence.doubt] if evidence.doubt else []
    found += [
        f"Coverage: only {share_words(matched_coverage(row), least)} of "
        f"{'' if row.direction == DESIGN_TO_SCAN else 'the scan over '}{row.area} was measured."
        for row in measures
        if row.direction in covered_in(direction) and matched_coverage(row) < least
    ]
    pieces = [piece for piece in evidence.unmatched if is_too_much(piece, tolerances)]
    found += [f"Unmatched scan surface: {text}" for text in about_pieces(pieces)]
    sag = "" if evidence.is_design else about_sag(evidence.facet_sag, tolerances.tolerances_um)
    return [*found, f"Facets: {sag}"] if sag else found


def _patches(
    fields: Sequence[DeviationField],
    area_set: AreaSet,
    limit_um: float,
    pieces: Sequence[UnmatchedPiece],
    settings: PatchSettings | None,
) -> tuple[Patch, ...]:
    if len(fields) < 2:
        return find_patches(fields[0], area_set, limit_um, settings)
    return find_in_both(fields[0], fields[1], area_set, limit_um, pieces, settings)
