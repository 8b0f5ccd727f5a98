"""What must be known to read a study's numbers of fit."""

from __future__ import annotations

from collections.abc import Iterator

from ...fit.sentences import FIT_CAUTIONS
from ...words.text import count_words, listed, plural
from ..measuring.crown_fit import NotFitted
from ..measuring.results import StudyRun
from .cohort import Cohort
from .fit_cohort import seated_cohort
from .fit_limits import CANNOT_GO_ON, seated_of
from .fit_words import fit_words

VIRTUAL = next(caution for caution in FIT_CAUTIONS if caution.startswith("A virtual seat has"))

NO_INTENDED_SEAT = (
    "The dies do not lie in the design's frame, so no intended seat is known: how far above it a "
    "crown rests, and so whether it goes down all the way, cannot be told."
)
WAYS_MIXED = (
    "A scan of the seated crown shows what cement, friction and the hand that seated it did, a "
    "virtual seat does not: compare the two with care."
)

_NAMED = 6  # crowns that a note names


def fit_notes(cohort: Cohort) -> tuple[str, ...]:
    """Return what must be known to read the numbers of fit, the most important first."""
    return tuple(
        dict.fromkeys(
            (
                *_ways(cohort),
                *_held_up(cohort),
                *_not_asked(cohort),
                *_without_seated(cohort),
                *_no_intended_seat(cohort),
                *_margins(cohort),
            )
        )
    )


def not_fitted(cohort: Cohort, run: StudyRun) -> tuple[NotFitted, ...]:
    """Return the crowns that could not be seated, group by group and by name."""
    order = {group: place for place, group in enumerate(cohort.groups)}
    known = [one for one in run.not_fitted if one.group in order]
    return tuple(sorted(known, key=lambda one: (order[one.group], one.crown)))


def _ways(cohort: Cohort) -> Iterator[str]:
    """Say on what seat gap and margin were measured, and what such a seat lacks."""
    fits = [(crown.name, fit) for g in cohort.groups for crown, fit in seated_of(cohort, g)]
    scanned = [name for name, fit in fits if fit.by_triple_scan]
    virtual = [name for name, fit in fits if fit.stop and not fit.by_triple_scan]
    if any(fit.stop for _, fit in fits):
        yield VIRTUAL
    if scanned and virtual:
        yield (
            f"Gap and margin are those of a scan of the seated crown on {_crowns(scanned)}, and of "
            f"a virtual seat on {_crowns(virtual)}. {WAYS_MIXED}"
        )
    elif scanned:
        yield "Gap and margin are those of a scan of each seated crown, not of a virtual seat."
    elif virtual:
        yield "Gap and margin are those of a virtual seat, not of a scan of the seated crown."


def _held_up(cohort: Cohort) -> Iterator[str]:
    up = [
        crown.name
        for group in cohort.groups
        for crown, fit in seated_of(cohort, group)
        if fit.stop == CANNOT_GO_ON and not fit.by_triple_scan
    ]
    if up:
        one = len(up) == 1
        held, it = ("is held", "it") if one else ("are held", "them")
        yield (
            f"{_crowns(up)} {held} up by {'its die' if one else 'their dies'}: the gap and margin "
            f"measured there count as they are. To leave {it} out would flatter the way of "
            f"production."
        )


def _not_asked(cohort: Cohort) -> Iterator[str]:
    plan = cohort.plan.fit
    if plan is None:
        return
    asked = [name for name in cohort.names if plan.seats(name)]
    if len(asked) < len(cohort.names):
        these = "this one" if len(asked) == 1 else "these"
        yield (
            f"The plan asks for {len(asked)} of {count_words(len(cohort.names), 'crown')} to be "
            f"seated ({_some(asked)}): what is said of fit is about {these} only."
        )


def _without_seated(cohort: Cohort) -> Iterator[str]:
    none = [cohort.title(group) for group in cohort.groups if not seated_of(cohort, group)]
    if none and len(none) < len(cohort.groups):
        yield f"No crown was seated of {listed(none)}: nothing is said of its fit."
    seated = seated_cohort(cohort)
    if seated is not None and len(seated.groups) > 1:
        enough = [g for g in seated.groups if len(seated_of(seated, g)) > 1]
        if len(enough) < 2:
            yield (
                "Two crowns or more were seated of fewer than two groups, so the fit of groups is "
                "described and not compared."
            )


def _no_intended_seat(cohort: Cohort) -> Iterator[str]:
    plan = cohort.plan.fit
    seated = any(fit.stop for group in cohort.groups for _, fit in seated_of(cohort, group))
    if plan is not None and not plan.in_design_frame and seated:
        yield NO_INTENDED_SEAT


def _margins(cohort: Cohort) -> Iterator[str]:
    seated = seated_cohort(cohort)
    if seated is None or len(seated.groups) < 2:
        return
    places = seated.fit_pairs
    without = [place for place in places if not cohort.plan.equivalence_of(*place) > 0]
    if without and len(without) == len(places):
        yield "No equivalence limit of fit is set, so equivalence of fit was not tested."
    elif without:
        names = listed([fit_words(*place) for place in without])
        yield f"Without an equivalence limit of fit, so not tested for it: {names}."


def _crowns(names: list[str]) -> str:
    """Name crowns, or count them where they are many."""
    return listed(names) if len(names) <= _NAMED else count_words(len(names), "crown")


def _some(names: list[str]) -> str:
    more = len(names) - _NAMED
    if more <= 0:
        return listed(names)
    return f"{', '.join(names[:_NAMED])} and {more} more {plural('crown', more)}"
