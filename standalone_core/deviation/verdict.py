"""Is an area good enough: within or outside its tolerance, or not decidable, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import compress
from typing import Any

import numpy as np

from ..errors import SettingError
from ..records import with_tuples
from ..shares import limit_words, share_words
from ..superimpose.result import Superimposition
from ..words.names import DIRECTION_WORDS, DOUBT_WORDS, NO_TOLERANCE, NOT_DECIDABLE, OUTSIDE, WITHIN
from .direction import DESIGN_TO_SCAN, SCAN_TO_DESIGN, Direction, covered_in, other_direction
from .facet_sag import AreaSag
from .layers_beside import LayerBeside
from .margin_summary import MarginSummary
from .measures import AreaMeasures
from .reasons import (
    about_directions,
    about_layer,
    about_missing,
    about_pieces,
    about_places,
    about_scanner,
    about_unseen,
)
from .tolerances import COVERAGE_FACTOR, Tolerances
from .unmatched import UnmatchedPiece

SAME_SURFACE = "The scan is the design itself (or a copy of it): no crown was measured."


@dataclass(frozen=True)
class ScanEvidence:
    """What is known of a scan beside its measures: for its verdicts and warnings.

    Attributes
    ----------
    is_design : bool
        Whether the scan is no scan but the design's own surface.
    unmatched : tuple of UnmatchedPiece
        Scan surface without a counterpart on the design.
    layers : tuple of LayerBeside
        Second layers of the scan's surface.
    margin : MarginSummary or None
        What the margin profile comes to.
    facet_sag : tuple of AreaSag
        What the scan's flat triangles alone read as; for a warning, no verdict depends on it.
    doubt : str
        Why the surface that was measured may not be the crown's, whatever it measures, as
        sentences of whoever handed it over; empty where nothing speaks against it.
    """

    is_design: bool = False
    unmatched: tuple[UnmatchedPiece, ...] = ()
    layers: tuple[LayerBeside, ...] = ()
    margin: MarginSummary | None = None
    facet_sag: tuple[AreaSag, ...] = ()
    doubt: str = ""


@dataclass(frozen=True)
class Verdict:
    """Whether one area is good enough.

    Attributes
    ----------
    area : str
    verdict : str
        ``within``, ``outside``, ``not_decidable`` or ``no_tolerance``; words for readers in
        :data:`~cuspwise.standalone_core.words.names.VERDICT_WORDS`.
    reason : str
        Why, as full sentences with the numbers.
    mean_abs_um, tolerance_um, coverage : float
        What was compared: mean absolute deviation in the judged direction and its limit, µm;
        share that counted in it.
    source : str
        Where the tolerance comes from.
    back_mean_abs_um : float
        Mean absolute deviation in the other direction, µm; NaN if it was not measured.
    unmatched_mm2, unmatched_um : float
        Unmatched scan surface beside the area, mm², and its greatest height, µm; 0 for none.
    scanner_um : float
        The scanner's standard uncertainty of the measure, µm; NaN if it was not given.
    contradiction : bool
        Whether one direction alone says that the area is within.
    caveat : str
        What the verdict does not cover; empty if it covers all.
    direction : str
        The judged one, ``design_to_scan`` or ``scan_to_design``.
    """

    area: str
    verdict: str
    reason: str
    mean_abs_um: float
    tolerance_um: float
    coverage: float
    source: str
    back_mean_abs_um: float = np.nan
    unmatched_mm2: float = 0.0
    unmatched_um: float = 0.0
    scanner_um: float = np.nan
    contradiction: bool = False
    caveat: str = ""
    direction: Direction = DESIGN_TO_SCAN


def evidence_from(
    is_design: bool,
    layers: Iterable[Mapping[str, Any]],
    margin: Mapping[str, Any] | None,
    unmatched: Iterable[Mapping[str, Any]] = (),
    facet_sag: Iterable[Mapping[str, Any]] = (),
    doubt: str = "",
) -> ScanEvidence:
    """Return a scan's evidence from plain data, as JSON holds its parts."""
    return ScanEvidence(
        is_design=is_design,
        unmatched=tuple(UnmatchedPiece(**with_tuples(piece)) for piece in unmatched),
        layers=tuple(LayerBeside(**with_tuples(layer)) for layer in layers),
        margin=None if margin is None else MarginSummary(**margin),
        facet_sag=tuple(AreaSag(**sag) for sag in facet_sag),
        doubt=doubt,
    )


def judge(
    measures: Iterable[AreaMeasures],
    superimposition: Superimposition,
    tolerances: Tolerances,
    evidence: ScanEvidence | None = None,
    direction: Direction = DESIGN_TO_SCAN,
) -> tuple[Verdict, ...]:
    """Judge every area by its mean absolute deviations in both directions.

    An area is within its tolerance only if its mean absolute deviation lies within the limit from
    design to scan *and* from scan to design, and no piece of unmatched scan surface stands beside
    it that is higher or larger than allowed; the margin, moreover, only if it is nowhere missing
    along more than allowed, and seen along all but as much. With the scanner's standard
    uncertainty u, within means measure + 1.645 u ≤ limit, outside means measure − 1.645 u > limit,
    and what lies between is not decidable.

    The direction says which of the two is compared first, and what must be covered: from design
    to scan the design's area alone, from scan to design the scan's surface over it too, but for
    unmatched surface, which is judged by itself.

    Parameters
    ----------
    measures : iterable of AreaMeasures
        Both directions, or those of the judged one alone.
    superimposition : Superimposition
        Any verdict but ``good`` on it leaves every area undecided: numbers from a pose that may
        be wrong say nothing about the crown. Only one that did not settle may do for an area:
        if what remains to move is small against its limit; the reason then says how much.
    tolerances : Tolerances
    evidence : ScanEvidence, optional
    direction : {"design_to_scan", "scan_to_design"}

    Returns
    -------
    tuple of Verdict
        One per area, in the order of the measures.

    Raises
    ------
    SettingError
        There are measures, but none of that direction.
    """
    rows = list(measures)
    if rows and direction not in {row.direction for row in rows}:
        raise SettingError(
            f"Nothing was measured {DIRECTION_WORDS.get(direction, direction)}.",
            subject="direction",
            remedy="Give the measures of that direction too, or judge in the other one.",
        )
    other = {row.area: row for row in rows if row.direction == other_direction(direction)}
    evidence = evidence or ScanEvidence()
    return tuple(
        _judge_area(row, other.get(row.area), superimposition, tolerances, evidence)
        for row in rows
        if row.direction == direction
    )


def doubt_about(superimposition: Superimposition, most_um: float) -> str:
    """Return why a pose cannot be trusted, as sentences; empty if it can.

    Parameters
    ----------
    superimposition : Superimposition
    most_um : float
        How far one that did not settle may still be from its end, at the point that moves most.
    """
    if _settled(superimposition, most_um):
        return ""
    words = DOUBT_WORDS.get(superimposition.verdict, superimposition.verdict)
    return f"{words} {superimposition.reason}"


def with_verdicts(
    measures: Iterable[AreaMeasures], verdicts: Sequence[Verdict]
) -> tuple[AreaMeasures, ...]:
    """Return the measures with each area's verdict in its row of the judged direction.

    A verdict is of the area, not of a direction; it stands in one row only.
    """
    words = {(verdict.area, verdict.direction): verdict.verdict for verdict in verdicts}
    return tuple(replace(row, verdict=words.get((row.area, row.direction), "")) for row in measures)


def _judge_area(
    first: AreaMeasures,
    other: AreaMeasures | None,
    superimposition: Superimposition,
    tolerances: Tolerances,
    evidence: ScanEvidence,
) -> Verdict:
    limit, area = tolerances.limit_um(first.area), first.area
    beside = [piece for piece in evidence.unmatched if piece.beside(area)]
    found = Verdict(
        area=area,
        verdict=NO_TOLERANCE,
        reason="No tolerance is set for this area.",
        mean_abs_um=first.mean_abs_um,
        tolerance_um=limit,
        coverage=first.coverage,
        source=tolerances.source(area),
        back_mean_abs_um=np.nan if other is None else other.mean_abs_um,
        unmatched_mm2=sum(piece.area_mm2 for piece in beside),
        unmatched_um=max((piece.height_um for piece in beside), default=0.0),
        scanner_um=tolerances.scanner_of(area),
        direction=first.direction,
    )
    if not np.isfinite(limit):
        return found
    rows = [first] if other is None else [first, other]
    doubt = _doubt(rows, superimposition, tolerances, evidence)
    if doubt:
        return replace(found, verdict=NOT_DECIDABLE, reason=doubt)
    is_margin = area == "margin" and evidence.margin is not None
    missing = evidence.margin if is_margin else None
    return _decided(found, rows, beside, missing, superimposition, tolerances)


def _doubt(
    rows: Sequence[AreaMeasures],
    superimposition: Superimposition,
    tolerances: Tolerances,
    evidence: ScanEvidence,
) -> str:
    """Return why nothing can be said of an area, whatever its numbers; empty if it can."""
    first = rows[0]
    if evidence.is_design:
        return SAME_SURFACE
    if evidence.doubt:
        return evidence.doubt
    doubled = [layer for layer in evidence.layers if first.area in layer.areas]
    if doubled:
        return about_layer(doubled[0])
    most_um = tolerances.max_unsettled_share * tolerances.limit_um(first.area)
    doubt = doubt_about(superimposition, most_um)
    if doubt:
        return doubt
    needed = [row for row in rows if row.direction in covered_in(first.direction)]
    doubts = (row.reason or _too_little(row, tolerances.min_coverage) for row in needed)
    return next(filter(None, doubts), "")


def _too_little(row: AreaMeasures, least: float) -> str:
    """Return that too little of an area was measured, as a sentence; empty if enough was."""
    share = matched_coverage(row)
    if not share < least:
        return ""
    what = "the scan's surface over the area" if row.direction == SCAN_TO_DESIGN else "the area"
    measured = f"Only {share_words(share, least)} of {what} was measured"
    return f"{measured}; {limit_words(least)} is needed."


def matched_coverage(row: AreaMeasures) -> float:
    """Return the share of an area's surface that counted, 0 to 1, without unmatched surface.

    From scan to design, flash and stubs are no part of what is to be covered: they are judged by
    themselves. Where some of their points count, they count towards the rest.
    """
    if not row.unmatched_mm2 > 0:
        return row.coverage
    matched_mm2 = row.area_mm2 - row.unmatched_mm2
    return min(row.coverage * row.area_mm2 / matched_mm2, 1.0) if matched_mm2 > 0 else np.nan


def _decided(
    found: Verdict,
    rows: Sequence[AreaMeasures],
    beside: Sequence[UnmatchedPiece],
    margin: MarginSummary | None,
    superimposition: Superimposition,
    tolerances: Tolerances,
) -> Verdict:
    """Return the verdict of numbers that can be relied on, with its reason."""
    limit, spread = found.tolerance_um, found.scanner_um
    rows = [row for row in rows if not row.reason]
    sides = [_side(row.mean_abs_um, limit, spread) for row in rows]
    too_much = [piece for piece in beside if is_too_much(piece, tolerances)]
    loose = any(piece.loose for piece in too_much)
    # What floats beside the crown may be no part of it, and spoils the mean from the scan's side.
    from_design = [row.direction == DESIGN_TO_SCAN for row in rows]
    relied_on = list(compress(sides, from_design)) if loose else sides
    along = {} if margin is None else _against_margin(margin, tolerances.max_missing_mm)
    said = {*relied_on, *along}
    if OUTSIDE in said or not all(piece.loose for piece in too_much):
        verdict = OUTSIDE
    else:
        verdict = NOT_DECIDABLE if NOT_DECIDABLE in said or loose else WITHIN
    reasons = [*along.values(), *about_pieces(too_much)]
    # What decides comes first: the means only if they speak against the area.
    start = len(reasons) if set(sides) == {WITHIN} else 0
    reasons.insert(start, about_directions(rows, limit))
    if verdict == WITHIN:
        reasons.append(about_places(rows, tolerances.max_unmatched_um))
    reasons.append(about_scanner(rows, spread, sides))
    reasons.append(_about_settling(superimposition, tolerances))
    unknown = "Of this scan; the scanner's uncertainty was not given."
    return replace(
        found,
        verdict=verdict,
        reason=" ".join(text for text in reasons if text),
        contradiction=len({side == OUTSIDE for side in sides}) > 1,
        caveat="" if np.isfinite(spread) else unknown,
    )


def _against_margin(margin: MarginSummary, most_mm: float) -> dict[str, str]:
    """Return what the margin's run speaks for, verdict by verdict, with the sentence."""
    found = {}
    if margin.missing_mm > most_mm:
        found[OUTSIDE] = about_missing(margin)
    if margin.unseen_mm > most_mm:
        found[NOT_DECIDABLE] = about_unseen(margin)
    return found


def _about_settling(superimposition: Superimposition, tolerances: Tolerances) -> str:
    """Say how little remains of a superimposition that did not settle; empty if it did."""
    if superimposition.verdict == "good":
        return ""
    return (
        f"The superimposition did not settle, but only "
        f"{1e3 * superimposition.remaining_mm:.2g} µm may remain, at most "
        f"{limit_words(tolerances.max_unsettled_share)} of the limit."
    )


def _side(measure_um: float, limit_um: float, scanner_um: float) -> str:
    """Return on which side of its limit a measure lies, as far as the scanner shows it."""
    spread = COVERAGE_FACTOR * scanner_um if np.isfinite(scanner_um) else 0.0
    if measure_um + spread <= limit_um:
        return WITHIN
    return OUTSIDE if measure_um - spread > limit_um else NOT_DECIDABLE


def is_too_much(piece: UnmatchedPiece, tolerances: Tolerances) -> bool:
    """Return whether a piece of unmatched surface is higher or larger than allowed."""
    higher = piece.height_um > tolerances.max_unmatched_um
    return higher or piece.area_mm2 > tolerances.max_unmatched_mm2


def _settled(superimposition: Superimposition, most_um: float) -> bool:
    """Return whether the pose is right, but for ``most_um`` at the point that moves most."""
    if superimposition.verdict == "not_converged":
        return superimposition.remaining_mm * 1e3 <= most_um
    return superimposition.verdict == "good"
