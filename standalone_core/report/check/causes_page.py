"""Why a crown deviates, for the page: bars, maps and what would remain. No markup here."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...causes.words import CAUTION
from ...shares import share_words
from ...words.text import capital, listed, micrometres
from ..drawing.deviation_colours import deviation_colours
from ..drawing.legend import Legend, legend_ticks, nice_limit
from ..drawing.pictures import Colouring, Picture
from ..drawing.svg_layout import Mark
from ..drawing.views import View
from .causes_words import (
    PREDICTED,
    SHARES,
    change_lines,
    correction_lines,
    place_lines,
    probability_words,
    rms_interval,
    rms_words,
    size_words,
    title,
    told,
    without_words,
)

if TYPE_CHECKING:
    from ...causes.result import Cause, CausesResult, PredictedArea
    from ...check_result import CheckResult

LEFT = "left"
"""The name of the map of what is left."""

BAR_WIDTH, BAR_HEIGHT = 240.0, 18.0


@dataclass(frozen=True)
class CauseBar:
    """A row of the table of stated causes.

    Attributes
    ----------
    title, size, rms, probability, share : str
    width : float
        Of the bar, in the units of its view box.
    whisker : (2,) tuple of float or None
        Ends of the interval, in the same units.
    is_left : bool
        Whether it is no cause, but what is left.
    """

    title: str
    size: str
    rms: str
    probability: str
    share: str
    width: float
    whisker: tuple[float, float] | None
    is_left: bool = False


@dataclass(frozen=True)
class CauseMap:
    """The pictures of one cause's field, or of what is left: titles of views and PNG in base64."""

    title: str
    pictures: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class WhyPart:
    """What the section "Why" of a page holds.

    Attributes
    ----------
    sentences, changes, corrections, places, notes : tuple of str
    bars : tuple of CauseBar
        Of stated causes and of what is left; empty where nothing is stated.
    ticks : tuple of Mark
        Of the bars' axis, µm.
    together, not_shown : str
        What all stated causes explain; what was looked for and is not shown by the data.
    maps : tuple of CauseMap
    predicted : tuple of (str, tuple of PredictedArea)
        Per cause what areas would measure without it.
    """

    sentences: tuple[str, ...]
    changes: tuple[str, ...]
    corrections: tuple[str, ...]
    places: tuple[str, ...]
    notes: tuple[str, ...]
    bars: tuple[CauseBar, ...]
    ticks: tuple[Mark, ...]
    together: str
    not_shown: str
    maps: tuple[CauseMap, ...]
    predicted: tuple[tuple[str, tuple[PredictedArea, ...]], ...]
    caution: str = CAUTION
    predicted_words: str = PREDICTED
    shares_words: str = SHARES
    bar_width: float = BAR_WIDTH
    bar_height: float = BAR_HEIGHT


def why_part(causes: CausesResult, maps: Iterable[Picture] = ()) -> WhyPart:
    """Return what a page shows of a crown's causes.

    Parameters
    ----------
    causes : CausesResult
    maps : iterable of Picture
        Drawn of :func:`cause_colourings`.
    """
    limit = _limit_um(causes)
    bars = [_bar(cause, limit) for cause in causes.stated]
    if bars:
        bars.append(_left_bar(causes, limit))
    share = causes.share_together
    return WhyPart(
        sentences=told(causes),
        changes=change_lines(causes),
        corrections=correction_lines(causes),
        places=place_lines(causes),
        notes=causes.notes,
        bars=tuple(bars),
        ticks=_ticks(limit),
        together=f"Together they explain {share_words(share)} of the variance." if bars else "",
        not_shown=_not_shown(causes),
        maps=_cause_maps(causes, maps),
        predicted=_predicted(causes),
    )


def cause_colourings(
    result: CheckResult, legend: Legend, views: tuple[View, ...]
) -> tuple[Colouring, ...]:
    """Return the colourings of each stated cause's field and of what is left.

    Parameters
    ----------
    result : CheckResult
    legend : Legend
        Whose limit and colours they have, so that they can be held against the check's own map.
    views : tuple of View

    Returns
    -------
    tuple of Colouring
        Empty where no field explains anything.
    """
    causes = result.causes
    if causes is None or not causes.fields_mm:
        return ()
    fields = {**causes.fields_mm, LEFT: causes.left_mm}
    return tuple(
        Colouring(name, deviation_colours(field, legend.limit_um / 1e3, legend.palette), views)
        for name, field in fields.items()
    )


def _limit_um(causes: CausesResult) -> float:
    """Return where the axis of the bars ends, µm."""
    ends = [causes.remaining.rms_um, *(cause.rms_um for cause in causes.stated)]
    ends += [interval[1] for cause in causes.stated if (interval := rms_interval(cause))]
    return nice_limit(max((end for end in ends if end > 0.0), default=1.0))


def _ticks(limit_um: float) -> tuple[Mark, ...]:
    """Return the marks from 0 to the limit."""
    return tuple(
        Mark(round((2.0 * tick.position - 1.0) * BAR_WIDTH, 2), tick.text.removeprefix("+"))
        for tick in legend_ticks(limit_um)
        if tick.position >= 0.5
    )


def _bar(cause: Cause, limit_um: float) -> CauseBar:
    interval = rms_interval(cause)
    return CauseBar(
        title=title(cause),
        size=size_words(cause),
        rms=rms_words(cause),
        probability=probability_words(cause.probability),
        share=share_words(cause.share_alone),
        width=_length(cause.rms_um, limit_um),
        whisker=interval and (_length(interval[0], limit_um), _length(interval[1], limit_um)),
    )


def _left_bar(causes: CausesResult, limit_um: float) -> CauseBar:
    left = causes.remaining
    over = f"varies over {micrometres(left.correlation_mm, digits=0)} mm"
    width = _length(left.rms_um, limit_um)
    return CauseBar("What is left", over, micrometres(left.rms_um), "", "", width, None, True)


def _length(um: float, limit_um: float) -> float:
    return round(BAR_WIDTH * max(um, 0.0) / limit_um, 2)


def _not_shown(causes: CausesResult) -> str:
    rest = [title(cause).lower() for cause in causes.causes if not cause.stated]
    return f"Looked for and not shown by these data: {listed(rest)}." if rest else ""


def _cause_maps(causes: CausesResult, drawn: Iterable[Picture]) -> tuple[CauseMap, ...]:
    found: dict[str, list[tuple[str, str]]] = {}
    for picture in drawn:
        data = base64.b64encode(picture.png).decode("ascii")
        found.setdefault(picture.colouring, []).append((picture.view.title, data))
    return tuple(
        CauseMap(
            "What is left" if name == LEFT else capital(without_words(name, causes)),
            tuple(pictures),
        )
        for name, pictures in found.items()
    )


def _predicted(causes: CausesResult) -> tuple[tuple[str, tuple[PredictedArea, ...]], ...]:
    names = dict.fromkeys(row.without for row in causes.predicted)
    return tuple(
        (
            without_words(name, causes),
            tuple(row for row in causes.predicted if row.without == name),
        )
        for name in names
    )
