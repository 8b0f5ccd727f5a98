"""Crowns against the limits of fit: how many go down, how many are within, and which are not."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import TypeAlias

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

CANNOT_GO_ON = "cannot_go_on"

WHOLE: Limit = ("", "", "")
DOWN: Limit = (SEAT, "above_intended_um", "")


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
    limits: dict[Limit, Judged | None] = {}
    if any(fit.stop for fit in fits):
        limits[DOWN] = None
    limits |= {_limit(one): one for fit in fits for one in fit.judged}
    rows = []
    for key in sorted(limits, key=lambda key: NEEDED.index(key[0])):
        verdicts = [_verdict(fit, key) for fit in fits if key != DOWN or not _only_scanned(fit)]
        rows.append(_row(cohort, group, key, verdicts, limits[key]))
    return rows


def _only_scanned(fit: CrownFit) -> bool:
    """Return whether a crown was scanned on its die and never seated by computing."""
    return fit.by_triple_scan and not fit.stop


def _limit(one: Judged) -> Limit:
    return one.part, one.measure, one.area


def _verdict(fit: CrownFit, key: Limit) -> str:
    """Return a crown's verdict; that it rests tells nothing where no intended seat is known."""
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
        return f"{crowns_of(share)} {are_words(share)} within all limits"
    if key[0] == SEAT:
        return f"{crowns_of(share)} {down_words(share)}"
    assert judged is not None
    return f"{judged.limit_words} on {crowns_of(share)}"


def crowns_of(share: ShareWithin) -> str:
    """Write how many crowns of how many are within: 7 of 8 crowns."""
    return f"{share.within} of {count_words(share.n, 'crown')}"


def are_words(share: ShareWithin) -> str:
    """Return the verb of so many crowns of so many: 1 of 8 is, 0 of 1 is, 7 of 8 are."""
    return "is" if 1 in (share.within, share.n) else "are"


def down_words(share: ShareWithin) -> str:
    """Say that so many crowns go down: goes down on its die, go down on their dies."""
    return "goes down on its die" if are_words(share) == "is" else "go down on their dies"


def interval_of(share: ShareWithin) -> str:
    """Write the interval of a share of crowns: 95 % interval of the share 53 % to 98 %."""
    low, high = short_share(share.ci_low), short_share(share.ci_high)
    return f"{short_share(share.confidence)} interval of the share {low} to {high}"
