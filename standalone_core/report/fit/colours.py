"""Colours of gap, walls, contacts and relief, and their scales; what is beyond stands out in amber.

Amounts have the map of :mod:`..drawing.amount_colours`: nearly white to a dark plum. The dark end
is what needs a look: a wide gap, a thin wall, a strong contact, much to relieve.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import BoolArray, FloatArray
from ..drawing.amount_colours import amount_colours, amount_hex, group_style
from ..drawing.deviation_colours import ColourArray, unmeasured_hex
from ..drawing.legend import nice_limit, nice_values, number
from ..drawing.svg_layout import Bar, Mark

if TYPE_CHECKING:
    from ...fit.contacts.result import Contacts
    from ...fit.gap.result import GapMap
    from ...fit.settings import ContactSettings
    from ...fit.walls.result import Walls

BEYOND_HEX = group_style(1).colour
"""Amber: the surfaces overlap; the wall is thinner than required."""
WIDTH, LEFT, RIGHT, TOP, BASE, HEIGHT = 340.0, 14.0, 326.0, 26.0, 42.0, 66.0
_STEPS = 65
_LEAST_GAP_UM, _LEAST_WALL_MM = 50.0, 1.0
_ROUNDING_MM = 1e-6
"""A wall thinner than required by less than this is not thin."""
THINNER_WORDS, NOT_JUDGED_WORDS = "thinner than required", "not judged"
NOTHING_NEAR_WORDS = "nothing near"


@dataclass(frozen=True)
class Scale:
    """The legend of a map, to be drawn as a strip of colour over an axis.

    Attributes
    ----------
    width, height, left, right, top, base : float
        View box, and the strip.
    low, high : str
        What the two ends mean.
    bars : tuple of Bar
    ticks : tuple of Mark
    swatches : tuple of (str, str)
        Other colours of the map, each with its words.
    """

    low: str
    high: str
    bars: tuple[Bar, ...]
    ticks: tuple[Mark, ...]
    swatches: tuple[tuple[str, str], ...]
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = RIGHT
    top: float = TOP
    base: float = BASE


@dataclass(frozen=True, eq=False)
class Coloured:
    """A coloured surface: a colour for each evaluation point, (n', 3), and what it means."""

    colours: ColourArray
    scale: Scale


def gap_limit_um(gap: GapMap) -> float:
    """Choose where the colours of a gap map end: nearly all of it lies within."""
    seen = gap.gap_um[np.isfinite(gap.gap_um)]
    most = float(np.percentile(seen, 98.0)) if len(seen) else 0.0
    return nice_limit(max(most, _LEAST_GAP_UM))


def gap_coloured(gap: GapMap, limit_um: float | None = None) -> Coloured:
    """Colour a gap map: the wider, the darker.

    Parameters
    ----------
    gap : GapMap
    limit_um : float, optional
        Where the colours end; by default :func:`gap_limit_um` chooses.
    """
    values = gap.gap_um
    limit = gap_limit_um(gap) if limit_um is None else limit_um
    colours = _amounts(values, limit, values < 0.0)
    swatches = ((BEYOND_HEX, "overlap"), (unmeasured_hex(), "not measured"))
    ticks = _ticks(limit)
    return Coloured(colours, _scale("touching", "wide, µm", ticks, swatches))


def walls_coloured(walls: Walls, required_mm: FloatArray) -> Coloured:
    """Colour the thickness of walls: the thinner, the darker.

    Parameters
    ----------
    walls : Walls
    required_mm : (n',) float
        Least thickness at each evaluation point; NaN where none is required.
    """
    values = walls.thickness_mm
    limit = wall_limit_mm(values)
    colours = wall_colours(values, values - required_mm, limit)
    swatches = ((BEYOND_HEX, THINNER_WORDS), (unmeasured_hex(), NOT_JUDGED_WORDS))
    return Coloured(colours, _scale("thick", "thin, mm", _ticks(limit, backwards=True), swatches))


def wall_limit_mm(thickness_mm: FloatArray) -> float:
    """Return the thickness, mm, from which on walls have the palest colour."""
    seen = thickness_mm[np.isfinite(thickness_mm)]
    most = float(np.percentile(seen, 90.0)) if len(seen) else 0.0
    return nice_limit(max(most, _LEAST_WALL_MM))


def wall_colours(thickness_mm: FloatArray, spare_mm: FloatArray, limit_mm: float) -> ColourArray:
    """Return colours (n, 3) of walls: the thinner, the darker; amber where thinner than required.

    Parameters
    ----------
    thickness_mm, spare_mm : (n,) float
        And how much thicker than required; NaN where not judged.
    limit_mm : float
        Where the palest colour is reached.
    """
    return _amounts(limit_mm - thickness_mm, limit_mm, spare_mm < -_ROUNDING_MM)


def contacts_coloured(contacts: Contacts) -> Coloured:
    """Colour distances to other teeth: the deeper the overlap, the darker."""
    settings = contacts.settings
    span = contact_limit_um(settings)
    values = contacts.gap_um
    colours = _amounts(settings.open_um - values, span, values < -settings.tight_um)
    marks = {
        settings.open_um: f"{number(settings.open_um)} gap",
        0.0: "0",
        -settings.tight_um: f"{number(settings.tight_um)} overlap",
    }
    ticks = tuple(
        Mark(round(LEFT + (RIGHT - LEFT) * (settings.open_um - value) / span, 2), text)
        for value, text in marks.items()
    )
    swatches = (
        (BEYOND_HEX, f"tight: overlaps by more than {number(settings.tight_um)} µm"),
        (unmeasured_hex(), NOTHING_NEAR_WORDS),
    )
    return Coloured(colours, _scale("open", "strong, µm", ticks, swatches))


def relief_limit_um(relief_um: FloatArray) -> float:
    """Choose where the colours of what must be taken off end: all of it lies within."""
    return nice_limit(max(float(np.nanmax(relief_um, initial=0.0)), 1.0))


def relief_coloured(relief_um: FloatArray, limit_um: float | None = None) -> Coloured:
    """Colour what must be taken off: the more, the darker.

    Parameters
    ----------
    relief_um : (n',) float
    limit_um : float, optional
        Where the colours end; by default :func:`relief_limit_um` chooses.
    """
    limit = relief_limit_um(relief_um) if limit_um is None else limit_um
    scale = _scale("nothing", "much to take off, µm", _ticks(limit), ())
    return Coloured(_amounts(relief_um, limit), scale)


def contact_limit_um(settings: ContactSettings) -> float:
    """Return the span of a map of distances to other teeth, µm."""
    return nice_limit(settings.open_um + 2.0 * settings.tight_um)


def required_of(walls: Walls, parts: dict[str, BoolArray], count: int) -> FloatArray:
    """Return the least thickness at each of the crown's evaluation points, (n',).

    The margin's part, as far as it is judged, counts as axial.
    """
    required = np.full(count, np.nan)
    for row in walls.areas:
        for part in ("axial", "margin") if row.area == "axial" else (row.area,):
            if part in parts:
                required[parts[part]] = row.required_mm
    return required


def _amounts(values: FloatArray, limit: float, beyond: BoolArray | None = None) -> ColourArray:
    colours = amount_colours(np.clip(values, 0.0, None), limit)
    if beyond is not None:
        colours = colours.copy()
        colours[beyond] = [int(BEYOND_HEX[k : k + 2], 16) for k in (1, 3, 5)]
    return colours


def _ticks(limit: float, *, backwards: bool = False) -> tuple[Mark, ...]:
    marks = []
    for value in (0.0, *nice_values(limit)):
        share = value / limit
        share = 1.0 - share if backwards else share
        marks.append(Mark(round(LEFT + (RIGHT - LEFT) * share, 2), number(value)))
    return tuple(marks)


def _scale(
    low: str, high: str, ticks: tuple[Mark, ...], swatches: tuple[tuple[str, str], ...]
) -> Scale:
    edges = np.linspace(LEFT, RIGHT, _STEPS + 1)
    bars = tuple(
        Bar(
            round(float(edges[k]), 2),
            TOP,
            round(float(edges[k + 1] - edges[k]) + 0.3, 2),
            BASE - TOP,
            amount_hex(k / (_STEPS - 1)),
        )
        for k in range(_STEPS)
    )
    return Scale(low, high, bars, ticks, swatches)
