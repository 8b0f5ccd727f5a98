"""What a reader is told about a crown's causes, the most important first."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..words.names import the_area
from ..words.text import capital, count_words, listed, micrometres
from .case import Case
from .found_marks import FoundMark
from .layers import LayerSteps
from .result import Cause, Correction, PredictedArea, Remaining
from .sizes import NORMAL_95
from .words import CAUTION, CHANGES, FAMILY_WORDS

_MOSTLY = 0.5
_LIKELY = 0.5


def sentences_of(
    case: Case,
    rows: Sequence[Cause],
    corrections: Sequence[Correction],
    remaining: Remaining,
    predicted: Sequence[PredictedArea],
) -> tuple[str, ...]:
    """Return the sentences about a crown.

    Parameters
    ----------
    case : Case
    rows : sequence of Cause
        Stated ones, the largest first.
    corrections, remaining, predicted
        As in a ``CausesResult``.
    """
    stated = [row for row in rows if row.stated]
    told = list(dict.fromkeys(row.sentence for row in stated))
    if stated and stated[0].share_alone >= _MOSTLY and not stated[0].instead:
        told[0] = f"Mostly {_lower(told[0])}"
    told += [row.sentence for row in rows if not row.stated]
    over = min(remaining.correlation_mm, case.extent_mm(None))
    left = f"{micrometres(remaining.rms_um)} µm RMS, varies over {over:.0f} mm"
    if stated:
        told.append(f"What is left, {left}{_beside_scanner(remaining)}.")
    else:
        least = case.found.rule.least_um
        told.insert(0, f"Nothing systematic above {least:g} µm; what is left, {left}.")
    told += [_mean_told(case, stated)]
    told += [_prediction_told(predicted, corrections)]
    if corrections:
        told.append(CAUTION)
    return tuple(text for text in told if text)


def not_stated(case: Case) -> tuple[Cause, ...]:
    """Return one row for each family that was looked for and is not stated."""
    told = {one.family for one in case.found.statements}
    evidence = case.found.evidence
    rows = []
    for family, places in evidence.model.families.items():
        if family in told:
            continue
        held = evidence.probability[places]
        place = int(places[np.argmax(held)])
        mean, spread = evidence.sizes_of([place])
        length = float(np.linalg.norm(mean))
        direction = np.ones(1) if len(mean) == 1 else mean / max(length, 1e-12)
        middle = float(direction @ mean)
        half = NORMAL_95 * float(np.sqrt(direction @ spread @ direction))
        unit, factor = ("‰", 1.0) if family == "scale" else ("µm", 1.0)
        if case.is_local(place):
            factor = 1e3 * float(case.column(place).max())
        cause = case.found.member(place).cause
        probability = evidence.of_any(places)
        rows.append(
            Cause(
                cause=cause,
                family=family,
                stated=False,
                probability=probability,
                estimate=factor * middle,
                unit=unit,
                low=factor * (middle - half),
                high=factor * (middle + half),
                rms_um=0.0,
                share_alone=0.0,
                direction=None,
                sentence=f"{capital(FAMILY_WORDS[family])}: not shown by these data.",
            )
        )
    return tuple(rows)


def marks_row(case: Case, marks: Sequence[FoundMark]) -> Cause | None:
    """Return the row of support marks that nobody marked; stated where one is sure."""
    likely = [mark for mark in marks if mark.likelihood >= _LIKELY]
    if not likely:
        return None
    most = max(mark.likelihood for mark in likely)
    sure = most >= case.fields.settings.probability
    largest = max(likely, key=lambda mark: abs(mark.height_um))
    heights = listed([f"{micrometres(mark.height_um, signed=True, digits=0)}" for mark in likely])
    spots = count_words(len(likely), "support mark")
    text = (
        f"{spots} that nobody marked, {heights} µm high; the likeliest with a likelihood of "
        f"{most:.2f}: look at them, and mark those that are."
    )
    scatter = NORMAL_95 * abs(largest.height_um) / largest.signal_to_noise
    share = sum(mark.share_of_square for mark in likely)
    return Cause(
        cause="support_marks",
        family="supports",
        stated=sure,
        probability=most,
        estimate=largest.height_um,
        unit="µm",
        low=largest.height_um - scatter,
        high=largest.height_um + scatter,
        rms_um=math.sqrt(share) * case.deviation_rms_um,
        share_alone=share,
        direction=None,
        sentence=text if sure else f"Perhaps {text}",
        change=CHANGES["supports"],
    )


def layers_row(case: Case, layers: LayerSteps | None) -> Cause | None:
    """Return the row of layer steps; None where none show."""
    if layers is None:
        return None
    height = (
        f", at least {layers.height_um:.0f} µm high on flat places"
        if layers.height_um is not None
        else "; the scan is too coarse for their height"
    )
    text = f"Layer steps of {layers.period_mm:.3f} mm{height}."
    return Cause(
        cause="layer_steps",
        family="layers",
        stated=True,
        probability=layers.probability,
        estimate=layers.period_mm,
        unit="mm",
        low=layers.low_mm,
        high=layers.high_mm,
        rms_um=layers.rms_um,
        share_alone=layers.share,
        direction=case.facts.build_axis,
        sentence=text,
        change=CHANGES["layers"],
    )


def _beside_scanner(remaining: Remaining) -> str:
    if not math.isfinite(remaining.scanner_ratio):
        return ""
    return f", {remaining.scanner_ratio:.1f} times the scanner's repeatability"


def _mean_told(case: Case, stated: Sequence[Cause]) -> str:
    """Tell the mean deviation where nothing stated explains it: one crown cannot."""
    if any(row.family in ("growth", "scale") for row in stated):
        return ""
    left, weights = case.left_mm, case.fields.area_set.evaluation.weights_mm2
    used = np.isfinite(left) & (case.fields.cell >= 0)
    mean = 1e3 * float(np.average(left[used], weights=weights[used]))
    if abs(mean) < max(case.found.rule.least_um, 2.0):
        return ""
    larger = "larger" if mean > 0 else "smaller"
    return (
        f"The surface is {micrometres(abs(mean))} µm {larger} on average: one crown cannot tell "
        "growth from smooth form error."
    )


def _prediction_told(predicted: Sequence[PredictedArea], corrections: Sequence[Correction]) -> str:
    """Tell what areas would measure with the next factors; a prediction."""
    if not corrections:
        return ""
    scale = [row for row in predicted if row.without.startswith("scale")]
    first = next((row.without for row in scale), "")
    parts = [
        f"{the_area(row.area)} {micrometres(row.predicted_um)} µm in place of "
        f"{micrometres(row.mean_abs_um)}"
        for row in scale
        if row.without == first
    ]
    if not parts:
        return ""
    return f"Predicted with the next factor, mean absolute: {listed(parts)}."


def _lower(text: str) -> str:
    """Begin a sentence with a small letter."""
    return text[:1].lower() + text[1:]
