"""``fit.html`` and ``walls.html``: all results on one self-contained page."""

from __future__ import annotations

import base64
import math
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from ...fit.judged import fit_headline, judged, judged_walls
from ...fit.sentences import (
    AREA_WORDS,
    CONTACT_WORDS,
    FIT_CAUTIONS,
    KIND_WORDS,
    MEASURES,
    STRENGTH_WORDS,
    all_warnings,
    answer_lines,
    gap_line,
    margin_details,
    margin_line,
    missing_lines,
    relief_lines,
    seat_lines,
    triple_lines,
    wall_lines,
    walls_headline,
)
from ...fit.walls.result import Walls
from ..check.page import page_environment
from ..check.setting_words import setting_tables
from ..drawing.pictures import Pictures
from .colours import contacts_coloured, gap_coloured, relief_coloured, required_of, walls_coloured
from .frame import SeatedFrame, seated_frame, start_words
from .intaglio_map import HOW_FLAT, IntaglioMap, flat_intaglio, intaglio_map
from .polar_plot import polar_plot
from .section_plot import section_plots

if TYPE_CHECKING:
    from jinja2 import Environment

    from ...arrays import FloatArray
    from ...fit.crown import FitCrown
    from ...fit.result import FitResult
    from ...fit.seat.result import Seat

_SPOT_RADII = 4.0, 12.0  # of a spot without load, and how much the whole load adds
_PLACE_RADIUS = 5.0


def fit_page(result: FitResult, *, pictures: Pictures, written: datetime) -> str:
    """Fill the page of a fit.

    Parameters
    ----------
    result : FitResult
    pictures : Pictures
        Put into the page; where there are none it says why and how to get them.
    written : datetime
        Shown as the date of the report.

    Returns
    -------
    str
        HTML that needs no other file and no network. Every text in it is escaped.
    """
    frame = seated_frame(result)
    margin, contacts = result.margin, result.contacts
    seated = result.T_die_crown is not None
    return (
        _environment()
        .get_template("fit.html")
        .render(
            result=result,
            written=written,
            headline=fit_headline(result),
            answer=answer_lines(result),
            judged=judged(result),
            warnings=all_warnings(result),
            missing=missing_lines(result),
            seat_lines=[] if result.seat is None else seat_lines(result.seat),
            relief_lines=[] if result.seat is None else relief_lines(result.seat),
            triple_lines=[] if result.triple_scan is None else triple_lines(result.triple_scan),
            sections=section_plots(result, frame) if seated else (),
            polar=None if margin is None else polar_plot(margin),
            margin_line="" if margin is None else margin_line(margin),
            margin_details=[] if margin is None else margin_details(margin),
            angles=start_words(frame.directions),
            gap_line="" if result.gap is None else gap_line(result.gap),
            walls=result.walls,
            wall_lines=[] if result.walls is None else wall_lines(result.walls),
            settings=setting_tables(result.settings),
            shown=_shown(pictures),
            pictures_reason=pictures.reason,
            contacts_scale=None if contacts is None else contacts_coloured(contacts).scale,
            **_maps(result, frame),
        )
    )


def walls_page(crown: FitCrown, walls: Walls, *, frame: SeatedFrame, written: datetime) -> str:
    """Fill the page of a crown's walls alone; see :func:`fit_page`."""
    return (
        _environment()
        .get_template("walls.html")
        .render(
            crown=crown,
            written=written,
            headline=walls_headline(walls),
            judged=judged_walls(walls),
            warnings=walls.warnings,
            walls=walls,
            wall_lines=wall_lines(walls),
            walls_map=walls_map(crown, walls, frame),
            settings=setting_tables(walls.settings),
        )
    )


def walls_map(crown: FitCrown, walls: Walls, frame: SeatedFrame) -> IntaglioMap:
    """Lay out the map of a crown's walls with the thinnest places."""
    required = required_of(walls, dict(crown.parts), len(crown.evaluation.points))
    moved = _motion(crown, frame)
    marks = [
        (moved(place.place_mm), _PLACE_RADIUS, f"{place.thickness_mm:.2f} mm")
        for place in walls.thinnest
    ]
    flat = flat_intaglio(crown, frame)
    return intaglio_map("Thickness", flat, walls_coloured(walls, required), frame, marks)


def _maps(result: FitResult, frame: SeatedFrame) -> dict[str, IntaglioMap | None]:
    """Maps of gap, walls and relief; None of what there is no map of."""
    maps: dict[str, IntaglioMap | None] = dict.fromkeys(("gap_map", "walls_map", "relief_map"))
    if not result.crown.can_be_seated:
        return maps
    seat, flat = result.seat, flat_intaglio(result.crown, frame)
    marks = [] if seat is None else _spots(seat, result.crown, frame)
    if result.gap is not None:
        maps["gap_map"] = intaglio_map("Gap", flat, gap_coloured(result.gap), frame, marks)
    if result.walls is not None:
        maps["walls_map"] = walls_map(result.crown, result.walls, frame)
    if seat is not None and seat.relief is not None:
        coloured = relief_coloured(seat.relief.relief_um)
        maps["relief_map"] = intaglio_map("To take off", flat, coloured, frame, marks)
    return maps


def _spots(seat: Seat, crown: FitCrown, frame: SeatedFrame) -> list[tuple[FloatArray, float, str]]:
    """Contact spots as circles whose area grows with their share of the load."""
    least, more = _SPOT_RADII
    moved = _motion(crown, frame)
    return [
        (
            moved(spot.crown_place_mm),
            round(least + more * math.sqrt(max(spot.share, 0.0)), 1),
            f"{spot.part} {spot.where}".strip(),
        )
        for spot in seat.spots
    ]


def _motion(crown: FitCrown, frame: SeatedFrame) -> Callable[[FloatArray], FloatArray]:
    """Return what takes a place on the crown to where the frame has it."""
    points, there = crown.evaluation.points, frame.crown.vertices

    def moved(place: FloatArray) -> FloatArray:
        k = int(np.argmin(np.linalg.norm(points - place, axis=1)))
        found: FloatArray = there[k]
        return found

    return moved


def _shown(pictures: Pictures) -> dict[str, list[tuple[str, str]]]:
    """Pictures by their colouring: titles of their views, and PNG in base 64."""
    shown: dict[str, list[tuple[str, str]]] = {}
    for picture in pictures.pictures:
        data = base64.b64encode(picture.png).decode("ascii")
        shown.setdefault(picture.colouring, []).append((picture.view.title, data))
    return shown


def _environment() -> Environment:
    environment = page_environment()
    environment.globals.update(
        cautions=FIT_CAUTIONS,
        how_flat=HOW_FLAT,
        measures_words=MEASURES,
        area_words=AREA_WORDS,
        contact_words=CONTACT_WORDS,
        strength_words=STRENGTH_WORDS,
        kind_words=KIND_WORDS,
    )
    return environment
