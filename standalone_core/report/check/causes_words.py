"""What terminal and page say of causes, so that they say it alike."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ...causes.words import CAUTION, cause_words, factor_told, percent_range, um_range
from ...readable import place_words
from ...words.text import NO_VALUE, capital, count_words, listed, micrometres

if TYPE_CHECKING:
    from ...causes.filled_places import FilledPlace
    from ...causes.found_marks import FoundMark
    from ...causes.result import Cause, CausesResult

PREDICTED = (
    "Predicted, not measured: the deviations less those of the cause, superimposed anew. The mean "
    "absolute deviation from design to scan, µm."
)
SHARES = "Shares of several causes do not add up."
ALL = "all"
"""What a prediction without any of the stated causes is called."""


def told(causes: CausesResult) -> tuple[str, ...]:
    """Return the sentences about a crown but the caution, which comes last of all."""
    return tuple(text for text in causes.sentences if text != CAUTION)


def title(cause: Cause) -> str:
    """Return what a cause is called."""
    return capital(cause_words(cause.cause, cause.family))


def size_words(cause: Cause) -> str:
    """Return a cause's size with its interval."""
    size = cause.estimate, cause.low, cause.high
    if not all(math.isfinite(value) for value in size):
        return NO_VALUE
    if cause.unit == "‰":
        return percent_range(*size)
    if cause.unit == "µm":
        return um_range(*size)
    middle, low, high = (f"{value:.4f}" for value in size)
    return f"{middle} {cause.unit} ({low} to {high})"


def rms_interval(cause: Cause) -> tuple[float, float] | None:
    """Return the interval of a cause's root mean square, µm, which grows as its size.

    Returns
    -------
    (2,) tuple of float or None
        None where the size is no measure of the deviations: the period of layers, the height of
        the highest of several support marks.
    """
    if cause.family in ("supports", "layers") or not abs(cause.estimate) > 0.0:
        return None
    ends = sorted(cause.rms_um * end / cause.estimate for end in (cause.low, cause.high))
    low, high = max(ends[0], 0.0), ends[1]
    return (low, high) if math.isfinite(low) and math.isfinite(high) else None


def rms_words(cause: Cause) -> str:
    """Return the root mean square of a cause's deviations with its interval, µm."""
    interval = rms_interval(cause)
    if interval is None:
        return micrometres(cause.rms_um)
    return f"{micrometres(cause.rms_um)} ({' to '.join(map(micrometres, interval))})"


def probability_words(probability: float) -> str:
    """Return a probability, never as 0 or 1: nothing is certain.

    Examples
    --------
    >>> probability_words(0.951), probability_words(0.9999), probability_words(1e-6)
    ('0.95', '> 0.99', '< 0.01')
    """
    if not math.isfinite(probability):
        return NO_VALUE
    if probability > 0.99 or probability < 0.01:
        return "> 0.99" if probability > 0.5 else "< 0.01"
    return f"{probability:.2f}"


def correction_lines(causes: CausesResult) -> tuple[str, ...]:
    """Say which enlargement factors to take next, a sentence each."""
    return tuple(
        f"{capital(factor_told(one))}{f', {one.condition}' if one.condition else ''}."
        for one in causes.corrections
    )


def change_lines(causes: CausesResult) -> tuple[str, ...]:
    """Say what to change in the production, a sentence for all causes that ask for it."""
    asking: dict[str, list[str]] = {}
    for cause in causes.stated:
        asking.setdefault(cause.change, []).append(cause_words(cause.cause, cause.family))
    return tuple(
        f"{capital(listed(list(dict.fromkeys(names))))}: {change}"
        for change, names in asking.items()
        if change
    )


def place_lines(causes: CausesResult, most: int | None = None) -> tuple[str, ...]:
    """Describe filled places, the largest first, and support marks that nobody marked.

    Parameters
    ----------
    causes : CausesResult
    most : int, optional
        Only so many of each, and how many more there are; all of them if left out.
    """
    lines = [place_line(place) for place in causes.filled[:most]]
    rest = len(causes.filled) - len(lines)
    if rest:
        lines.append(f"And {count_words(rest, 'smaller place')}.")
    likely = sorted(causes.marks, key=lambda mark: -mark.likelihood)
    lines += [mark_line(mark) for mark in likely[:most]]
    if most is not None and len(likely) > most:
        lines.append(f"And {count_words(len(likely) - most, 'less likely support mark')}.")
    return tuple(lines)


def place_line(place: FilledPlace) -> str:
    """Describe a filled place."""
    return (
        f"Filled by up to {micrometres(place.deepest_um, digits=0)} µm at "
        f"{place_words(place.place_mm)} mm, over {place.area_mm2:.2f} mm², "
        f"{place.volume_mm3:.4f} mm³."
    )


def mark_line(mark: FoundMark) -> str:
    """Describe a support mark that nobody marked."""
    return (
        f"Perhaps a {mark.kind}, {micrometres(mark.height_um, signed=True, digits=0)} µm at "
        f"{place_words(mark.place_mm)} mm, {mark.radius_mm:.2f} mm in radius: a support mark with "
        f"a likelihood of {mark.likelihood:.2f}. It is not counted as one until you mark it."
    )


def without_words(without: str, causes: CausesResult) -> str:
    """Return what a prediction leaves out."""
    if without == ALL:
        return "all stated causes"
    found = (one for one in causes.stated if without in (one.cause, one.family))
    cause = next(found, None)
    return without if cause is None else cause_words(cause.cause, cause.family)
