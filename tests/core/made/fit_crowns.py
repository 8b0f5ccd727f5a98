"""Fits of given numbers laid on the crowns of a made study, without any crown being seated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from cuspwise.standalone_core.fit.judged import Judged
from cuspwise.standalone_core.study.fit_plan import FitPlan
from cuspwise.standalone_core.study.measuring.crown_fit import CrownFit, FitValue
from cuspwise.standalone_core.study.measuring.results import StudyRun
from cuspwise.standalone_core.words.headline import Headline

Place = tuple[str, str]
Numbers = Mapping[Place, Sequence[float]]
"""One number per crown, by area and measure of fit; NaN for none."""

NAN = float("nan")
GAP: Place = ("margin", "marginal_gap_um")
MOST: Place = ("margin", "marginal_gap_most_um")
ABOVE: Place = ("whole", "above_intended_um")
AXIAL_GAP: Place = ("axial", "cement_space_um")
AXIAL_WALL: Place = ("axial", "least_wall_um")
MESIAL: Place = ("contact_mesial", "contact_gap_um")

SEAT_LIMIT_UM, GAP_LIMIT_UM, WALL_LIMIT_MM = 50.0, 120.0, 0.5
HOLDS = "What holds it: axial walls, mesial (80 % of the load)."
RELIEF = "Taking off up to 30 µm there would let it down."

_TITLES = {
    "seat": "Seat, above the intended one",
    "margin": "Marginal gap, largest",
    "walls": "Axial walls, thinnest",
}


def made_fit(
    numbers: Mapping[Place, float],
    *,
    known_seat: bool = True,
    by_triple_scan: bool = False,
    stop: str | None = None,
) -> CrownFit:
    """Return a fit whose limits are judged by its numbers; it stays up beyond the seat's."""
    above = numbers.get(ABOVE, NAN)
    up = above > SEAT_LIMIT_UM
    judged = _judged(numbers, known_seat)
    lost = any(one.verdict == "outside" for one in judged)
    title = "The crown goes down on its die; margin and walls are within their limits"
    if lost:
        title = "The crown goes down on its die, but its marginal gap is beyond the limit"
    if up:
        title = f"The crown cannot go on: it rests {above:.0f} µm too high"
    return CrownFit(
        die=Path("die.stl"),
        headline=Headline("outside" if lost else "within", title, ()),
        judged=judged,
        values=tuple(FitValue(*place, value) for place, value in numbers.items()),
        stop=("cannot_go_on" if up else "rests") if stop is None else stop,
        by_triple_scan=by_triple_scan,
        sentences=("The crown lies somewhere.", HOLDS, RELIEF)
        if up
        else ("The crown lies there.",),
        missing={},
        warnings=(),
        T_die_crown=np.eye(4),
    )


def _judged(numbers: Mapping[Place, float], known_seat: bool) -> tuple[Judged, ...]:
    most, wall = numbers.get(MOST, NAN), numbers.get(AXIAL_WALL, NAN) / 1e3
    rows = [
        ("margin", "most_um", "", most, GAP_LIMIT_UM, "µm", most <= GAP_LIMIT_UM),
        ("walls", "least_mm", "axial", wall, WALL_LIMIT_MM, "mm", wall >= WALL_LIMIT_MM),
    ]
    above = numbers.get(ABOVE, NAN)
    if known_seat and np.isfinite(above):
        seat = ("seat", "above_intended_um", "", above, SEAT_LIMIT_UM, "µm")
        rows.insert(0, (*seat, above <= SEAT_LIMIT_UM))
    return tuple(
        Judged(
            part=part,
            measure=measure,
            area=area,
            title=_TITLES[part],
            value=value,
            limit=limit,
            unit=unit,
            bound="at least" if unit == "mm" else "at most",
            verdict="within" if kept else "outside",
        )
        for part, measure, area, value, limit, unit, kept in rows
        if np.isfinite(value)
    )


def with_fit(
    run: StudyRun,
    groups: Mapping[str, Numbers],
    *,
    plan: Mapping[str, Any] | None = None,
    **fit: Any,
) -> StudyRun:
    """Seat crowns of a made study: those of each group that have a number, in their order.

    A crown whose numbers are all NaN was not seated.
    """
    seen = dict.fromkeys(groups, 0)
    crowns = []
    for crown in run.crowns:
        place = seen.get(crown.group, 0)
        seen[crown.group] = place + 1
        numbers = {
            key: values[place]
            for key, values in groups.get(crown.group, {}).items()
            if np.isfinite(values[place])
        }
        crowns.append(replace(crown, fit=made_fit(numbers, **fit) if numbers else None))
    wanted = FitPlan(die=Path("die.stl"), **(plan or {}))
    return replace(run, crowns=tuple(crowns), plan=replace(run.plan, fit=wanted))
