"""Crowns against the limits of fit: how many go down, how many are within, and which are not."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Literal, TypeAlias

from ...fit.judged import NEEDED, SEAT, Judged
from ...shares import short_share
from ...statistics.tolerance import ShareWithin, wilson
from ...words.names import NOT_DECIDABLE, OUTSIDE, WITHIN
from ...words.text import count_words
from ..measuring.crown_fit import CrownFit
from ..measuring.results import Crown
from .cohort import Cohort
from .results.fit import CrownAnswer, FitLimitRow

Limit: TypeAlias = tuple[str, str, str]
"""Part, measure and area of what is held against a limit."""

CANNOT_GO_ON: Literal["cannot_go_on"] = "cannot_go_on"
RESTS: Literal["rests"] = "rests"

WHOLE: Limit = ("", "", "")


def seated_of(cohort: Cohort, group: str) -> list[tuple[Crown, CrownFit]]:
    """Return the crowns of a group that were seated, each with its fit."""
    return [(crown, crown.fit) for crown in cohort.crowns[group] if crown.fit is not None]


def limit_rows(cohort: Cohort) -> tuple[FitLimitRow, ...]:
    """Hold every group with a seated crown against each limit of fit, the whole verdict first."""
    rows = []
    for group in cohort.groups:
        fits = [fit for _, fit in seated_of(cohort, group)]
        if fits:
            rows.append(_row(cohort, group, WHOLE, [fit.headline.verdict for fit in fits], None))
            rows += _rows_of_limits(cohort, group, fits)
    return tuple(rows)


def crown_answers(cohort: Cohort) -> tuple[CrownAnswer, ...]:
    """Say of every seated crown whether it fits."""
    return tuple(
        CrownAnswer(
            crown=crown.name,
            group=group,
            verdict=fit.headline.verdict,
            title=fit.headline.title,
            sentences=(*fit.headline.sentences, *fit.sentences),
            stays_up=fit.stop == CANNOT_GO_ON,
        )
        for group in cohort.groups
        for crown, fit in seated_of(cohort, group)
    )


def _rows_of_limits(cohort: Cohort, group: str, fits: Sequence[CrownFit]) -> list[FitLimitRow]:
    """Return the rows of each limit, in the order seat, margin, walls."""
    every = {_limit(one): one for fit in fits for one in fit.judged}
    rows = []
    if any(fit.stop for fit in fits):
        seat = next((one for key, one in every.items() if key[0] == SEAT), None)
        verdicts = [_goes_down(fit) for fit in fits if fit.stop or not fit.by_triple_scan]
        rows.append(_row(cohort, group, (SEAT, "above_intended_um", ""), verdicts, seat))
    others = [key for key in every if key[0] != SEAT]
    for key in sorted(others, key=lambda key: NEEDED.index(key[0])):
        verdicts = [_verdict(fit, key) for fit in fits]
        rows.append(_row(cohort, group, key, verdicts, every[key]))
    return rows


def _limit(one: Judged) -> Limit:
    return one.part, one.measure, one.area


def _goes_down(fit: CrownFit) -> str:
    """Return whether a crown goes down, also where its intended seat is not known."""
    return {RESTS: WITHIN, CANNOT_GO_ON: OUTSIDE}.get(fit.stop, NOT_DECIDABLE)


def _verdict(fit: CrownFit, key: Limit) -> str:
    return next((one.verdict for one in fit.judged if _limit(one) == key), NOT_DECIDABLE)


def _row(
    cohort: Cohort, group: str, key: Limit, verdicts: Sequence[str], judged: Judged | None
) -> FitLimitRow:
    count = Counter(verdicts)
    confidence = cohort.plan.analysis.confidence
    share = wilson(count[WITHIN], count[WITHIN] + count[OUTSIDE], confidence=confidence)
    undecided = len(verdicts) - share.n
    limited = judged is not None and math.isfinite(judged.limit)
    title = "All limits" if key == WHOLE else "Seat" if judged is None else judged.title
    return FitLimitRow(
        group=group,
        part=key[0],
        measure=key[1],
        area=key[2],
        title=title,
        limit=judged.limit_words if judged is not None and limited else "",
        share=share,
        undecided=undecided,
        sentence=_sentence(cohort.title(group), key, judged, share, undecided),
    )


def _sentence(
    title: str, key: Limit, judged: Judged | None, share: ShareWithin, undecided: int
) -> str:
    unjudged = f" {count_words(undecided, 'crown')} could not be judged." if undecided else ""
    what = {WHOLE[0]: "fit", SEAT: "seat"}.get(key[0])
    if what is None:
        assert judged is not None
        what = f"{judged.title[:1].lower()}{judged.title[1:]}"
    if not share.n:
        return f"{title}, {what}: no crown could be judged."
    return f"{title}, {what}: {_within(key, judged, share)} ({interval_of(share)}).{unjudged}"


def _within(key: Limit, judged: Judged | None, share: ShareWithin) -> str:
    if key == WHOLE:
        are = "is" if share.within == 1 else "are"
        return f"{crowns_of(share)} {are} within all limits"
    if key[0] == SEAT:
        return f"{crowns_of(share)} {down_words(share.within)}"
    assert judged is not None
    return f"{judged.limit_words} on {crowns_of(share)}"


def crowns_of(share: ShareWithin) -> str:
    """Write how many crowns of how many are within: 7 of 8 crowns."""
    return f"{share.within} of {count_words(share.n, 'crown')}"


def down_words(count: int) -> str:
    """Say that so many crowns go down: goes down on its die, go down on their dies."""
    return "goes down on its die" if count == 1 else "go down on their dies"


def interval_of(share: ShareWithin) -> str:
    """Write the interval of a share of crowns: 95 % interval of the share 53 % to 98 %."""
    low, high = short_share(share.ci_low), short_share(share.ci_high)
    return f"{short_share(share.confidence)} interval of the share {low} to {high}"
