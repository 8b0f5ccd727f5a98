"""The way from a rough pose to a seat with all that is told of it: the door to this room."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...arrays import FloatArray
from ...progress import Progress, Steps, scaled
from ..crown import FitCrown
from ..die import FitDie
from ..settings import SeatSettings
from .edge_cuts import edge_cuts, usual_sag_mm
from .motion import lifted, placed
from .overlap import overlap_at
from .pair import Pair
from .play import held_sideways_um, played_steps
from .result import Contact, Play, Seat, Stop
from .seating import Rest, rest_steps
from .smooth_crown import smooth_crown
from .spots import contact_spots

_LEAST_LIFT_MM, _MOST_LIFT_MM = 0.1, 1.0
_MOST_ROUNDS = 3


def contact_kind(settings: SeatSettings, *, is_scan: bool) -> Contact:
    """What holds crown and die apart: as set, or by whether either was scanned."""
    if settings.contact == "auto":
        return "patches" if is_scan else "hard"
    return "hard" if settings.contact == "hard" else "patches"


def seat_crown_steps(
    crown: FitCrown,
    die: FitDie,
    start: FloatArray,
    settings: SeatSettings | None = None,
    *,
    is_scan: bool,
    intended: FloatArray | None = None,
    with_play: bool = True,
    with_rocking: bool = True,
    relief_um: FloatArray | None = None,
) -> Steps[Seat]:
    """Seat a crown on a die under an axial load, from a rough pose.

    The load goes through the centroid of the intaglio's area, down the die's path of insertion.
    There is no cement, no friction and no elasticity.

    Parameters
    ----------
    crown : FitCrown
    die : FitDie
    start : (4, 4) float
        Takes the crown about to its place on the die; it is lifted off first.
    settings : SeatSettings, optional
    is_scan : bool
        Whether crown or die was scanned: ``contact`` "auto" then averages over patches.
    intended : (4, 4) float, optional
        The pose that the design has on the die.
    with_play : bool
        Whether play and rocking are measured, and a sideways place that the load leaves open is
        put into the middle of the play.
    with_rocking : bool
        Whether rocking is measured and the play told; the seat is the same without.
    relief_um : (n',) float, optional
        Taken off inside the crown at its evaluation points along the normal, µm.

    Returns
    -------
    Seat
        Its ``stop`` is "rests", or "cannot_go_on" if it rests more than
        ``settings.most_above_um`` above the intended seat.
    """
    settings = SeatSettings() if settings is None else settings
    relief_mm = None if relief_um is None else 1e-3 * relief_um
    contact = contact_kind(settings, is_scan=is_scan)
    yield Progress("Seating the crown", 0.0)
    pair = Pair(smooth_crown(crown), die, contact, start, settings, relief_mm)
    rest = yield from scaled(settled_steps(pair, start), 0.0, 0.5 if with_play else 0.9)
    play: tuple[Play, ...] = ()
    if with_play:
        played = yield from scaled(played_steps(pair, rest, with_rocking), 0.5, 0.95)
        rest, play = played.rest, played.play
    seat = _seat(pair, rest, contact, settings, intended)
    if not with_play:
        return seat
    return replace(seat, play=play, along_um=held_sideways_um(pair, rest.pose))


def settled_steps(pair: Pair, start: FloatArray) -> Steps[Rest]:
    """Bring a crown to rest under the axial load from a rough pose.

    It is lifted first. With hard contacts, edges that cut in between their ends, deeper than the
    sag of the triangles, then join the pair's rows, and it is brought to rest again.
    """
    rough = pair.gaps(start, 0.0, pair.thinned(pair.coarse_mm)).deepest_mm
    lift = min(_LEAST_LIFT_MM + 2.0 * rough, _MOST_LIFT_MM)
    above = lifted(start, lift, pair.die.axis)
    rest = yield from scaled(rest_steps(pair, above), 0.0, 0.7)
    steps = rest.steps
    if pair.contact == "patches":
        return rest
    least = usual_sag_mm(pair)
    for turn in range(_MOST_ROUNDS):
        added = []
        deepest = 0.0
        for of_crown in (True, False):
            cuts = edge_cuts(pair, rest.pose, least, of_crown=of_crown)
            if len(cuts.points):
                rows = pair.add(cuts.points, of_crown=of_crown, relief_mm=cuts.relief_mm)
                added.append(rows)
                deepest = max(deepest, -float(cuts.gap_mm.min()))
        if not added:
            break
        working = np.concatenate([rest.working, *added])
        again = rest_steps(pair, rest.pose, working=working, radius_mm=4.0 * deepest)
        done = 0.7 + 0.3 * turn / _MOST_ROUNDS
        rest = yield from scaled(again, done, done + 0.3 / _MOST_ROUNDS)
        steps += rest.steps
    return replace(rest, steps=steps)


def above_um(crown: FitCrown, axis: FloatArray, pose: FloatArray, intended: FloatArray) -> float:
    """How far the middle of the margin line lies above its place at another pose, µm."""
    middle = crown.margin_line.points_mm.mean(axis=0)
    return 1e3 * float((placed(pose, middle) - placed(intended, middle)) @ axis)


def _seat(
    pair: Pair,
    rest: Rest,
    contact: Contact,
    settings: SeatSettings,
    intended: FloatArray | None,
) -> Seat:
    crown, axis = pair.crown, pair.die.axis
    above = math.nan if intended is None else above_um(crown, axis, rest.pose, intended)
    stop: Stop = "cannot_go_on" if above > settings.most_above_um else "rests"
    lean = rest.pose[:3, :3] @ crown.axis
    tilt = math.atan2(float(np.linalg.norm(np.cross(lean, axis))), float(lean @ axis))
    overlap = overlap_at(pair, rest.pose)
    return Seat(
        T_die_crown=rest.pose,
        stop=stop,
        contact=contact,
        spots=contact_spots(pair, rest),
        above_intended_um=above,
        tilt_deg=math.degrees(tilt),
        overlap_um=overlap.deepest_um,
        overlap_share=overlap.share,
        play=(),
        along_um=math.nan,
        steps=rest.steps,
        converged=rest.converged,
        settings=settings,
    )
