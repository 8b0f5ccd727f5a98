"""Places of the drawing of a margin profile, unrolled; the page draws it as SVG. No markup here."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...arrays import BoolArray, FloatArray
from ...deviation.margin_profile import MarginProfile
from ...words.text import signed_number
from ..drawing.deviation_colours import STANDARD, hex_colours
from ..drawing.svg_layout import Bar, Mark

WIDTH, LEFT, RIGHT = 1000.0, 64.0, 986.0
TOP_PANEL, EDGE_PANEL = (34.0, 194.0), (226.0, 346.0)
HEIGHT = 404.0
_ROUND = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_MOST_WORDS = 8
_TEXT = 14.0  # height of a line of words


@dataclass(frozen=True)
class Curve:
    """A line: its path in SVG's own letters, how it is dashed, and what it is."""

    path: str
    dash: str
    title: str


@dataclass(frozen=True)
class Panel:
    """One of the two drawings above each other.

    Attributes
    ----------
    title : str
    top, base, zero : float
        Upper and lower end, and where zero lies.
    ticks : tuple of Mark
        Heights (as ``x``) and their words.
    band : (float, float) or None
        Upper and lower end of the tolerance.
    bars : tuple of Bar
    curves : tuple of Curve
    clipped : str
        What lies outside the drawing, in words; empty for nothing.
    """

    title: str
    top: float
    base: float
    zero: float
    ticks: tuple[Mark, ...]
    band: tuple[float, float] | None = None
    bars: tuple[Bar, ...] = ()
    curves: tuple[Curve, ...] = ()
    clipped: str = ""


@dataclass(frozen=True)
class MarginPlot:
    """The whole drawing in units of its view box.

    Attributes
    ----------
    width, height, left, right : float
    panels : tuple of Panel
        The deviation; the edge.
    gaps, beyond : tuple of (float, float)
        Left end and width of each stretch that did not count, and of each that is beyond.
    ticks, places : tuple of Mark
        Lengths along the line in mm, and words for the places.
    """

    width: float
    height: float
    left: float
    right: float
    panels: tuple[Panel, Panel]
    gaps: tuple[tuple[float, float], ...]
    beyond: tuple[tuple[float, float], ...]
    ticks: tuple[Mark, ...]
    places: tuple[Mark, ...]


def margin_plot(profile: MarginProfile, palette: str = STANDARD) -> MarginPlot:
    """Lay out a margin profile: deviation as columns of colour, the edge as lines below.

    Parameters
    ----------
    profile : MarginProfile
    palette : str
        One of ``colour.PALETTES``.
    """
    return MarginPlot(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=RIGHT,
        panels=(_deviation_panel(profile, palette), _edge_panel(profile)),
        gaps=_stretches(~profile.counted),
        beyond=_stretches(profile.beyond),
        ticks=_length_marks(profile),
        places=_place_marks(profile),
    )


def _deviation_panel(profile: MarginProfile, palette: str) -> Panel:
    tolerance = profile.summary.tolerance_um
    values = np.where(profile.counted, profile.deviation_um, np.nan)
    bounded = 2.0 * tolerance if math.isfinite(tolerance) else 0.0
    limit = _round_up(max(bounded, _largest(values, 98.0), 1.0))
    top, base = TOP_PANEL
    scale = 0.5 * (base - top) / limit
    zero, step = 0.5 * (top + base), (RIGHT - LEFT) / len(values)
    bars = []
    seen = np.flatnonzero(np.isfinite(values))
    for k, colour in zip(seen, hex_colours(values[seen] / limit, palette), strict=True):
        height = scale * float(np.clip(values[k], -limit, limit))
        bars.append(
            Bar(
                round(LEFT + float(k) * step, 2),
                round(min(zero - height, zero), 2),
                round(step + 0.2, 2),
                round(abs(height), 2),
                colour,
            )
        )
    band = None
    if math.isfinite(tolerance):
        band = (zero - scale * tolerance, zero + scale * tolerance)
    return Panel(
        title="Deviation, µm (up: excess)" + (f"; dashed: ±{tolerance:g}" if band else ""),
        top=top,
        base=base,
        zero=zero,
        ticks=_height_marks(limit, zero, scale, tolerance),
        band=band,
        bars=tuple(bars),
        clipped=_clipped(values, limit),
    )


def _edge_panel(profile: MarginProfile) -> Panel:
    columns = {
        "longer": (profile.vertical_um, ""),
        "larger": (profile.horizontal_um, "7 4"),
    }
    if profile.summary.flash_mm > 0.0:
        columns["flash"] = (profile.flash_um, "1.5 3")
    together = np.concatenate([values for values, _ in columns.values()])
    limit = _round_up(max(_largest(together, 99.0), 10.0))
    top, base = EDGE_PANEL
    scale, zero = 0.5 * (base - top) / limit, 0.5 * (top + base)
    curves = tuple(
        Curve(_path(np.clip(values, -limit, limit), zero, scale), dash, title)
        for title, (values, dash) in columns.items()
    )
    return Panel(
        title="Edge: longer (solid), larger (dashed)"
        + (", flash (dotted)" if "flash" in columns else "")
        + " than designed, µm",
        top=top,
        base=base,
        zero=zero,
        ticks=_height_marks(limit, zero, scale),
        curves=curves,
        clipped=_clipped(together, limit),
    )


def _path(values: FloatArray, zero: float, scale: float) -> str:
    """Letters of a path through the values, broken where there is none."""
    step = (RIGHT - LEFT) / len(values)
    letters, drawing = [], False
    for k, value in enumerate(values.tolist()):
        if not math.isfinite(value):
            drawing = False
            continue
        x, y = LEFT + (k + 0.5) * step, zero - scale * value
        letters.append(f"{'L' if drawing else 'M'}{x:.1f} {y:.1f}")
        drawing = True
    return "".join(letters)


def _stretches(mask: BoolArray) -> tuple[tuple[float, float], ...]:
    """Left end and width of every run of marked places."""
    step = (RIGHT - LEFT) / len(mask)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return tuple(
        (round(LEFT + float(a) * step, 2), round(float(b - a) * step, 2))
        for a, b in zip(edges[::2], edges[1::2], strict=True)
    )


def _height_marks(
    limit: float, zero: float, scale: float, tolerance: float = math.nan
) -> tuple[Mark, ...]:
    room = math.isfinite(tolerance) and _TEXT < scale * tolerance < scale * limit - _TEXT
    own = [-tolerance, tolerance] if room else []
    return tuple(
        Mark(round(zero - scale * value, 2), signed_number(value, "+g") if value else "0")
        for value in (-limit, *own, 0.0, limit)
    )


def _length_marks(profile: MarginProfile) -> tuple[Mark, ...]:
    length = profile.summary.length_mm
    step = 5.0 if length > 12.0 else 2.0
    return tuple(
        Mark(round(LEFT + (RIGHT - LEFT) * mm / length, 2), f"{mm:g} mm" if not mm else f"{mm:g}")
        for mm in np.arange(0.0, length - 0.2 * step, step).tolist()
    )


def _place_marks(profile: MarginProfile) -> tuple[Mark, ...]:
    """A word for each eighth of the way around, where the line crosses it."""
    marks = []
    for angle in np.arange(0.0, 360.0, 360.0 / _MOST_WORDS).tolist():
        turn = np.abs((profile.angle_deg - angle + 180.0) % 360.0 - 180.0)
        k = int(np.argmin(turn))
        words = profile.directions.words(angle)
        short = f"{angle:g}°" if words.startswith("at ") else words
        if turn[k] > 180.0 / _MOST_WORDS:
            continue  # an open line does not go all the way around
        share = (k + 0.5) / len(profile) if angle or not profile.closed else 0.0
        marks.append(Mark(round(LEFT + (RIGHT - LEFT) * share, 2), short))
    return tuple(sorted(marks, key=lambda mark: mark.x))


def _largest(values: FloatArray, percent: float) -> float:
    """This percentile of the sizes; 0 of nothing."""
    sizes = np.abs(values[np.isfinite(values)])
    return float(np.percentile(sizes, percent)) if len(sizes) else 0.0


def _round_up(value: float) -> float:
    power = 10.0 ** math.floor(math.log10(value))
    return next(digit * power for digit in _ROUND if digit * power >= value * (1 - 1e-9))


def _clipped(values: FloatArray, limit: float) -> str:
    found = values[np.isfinite(values)]
    ends = [float(found.min()), float(found.max())] if len(found) else []
    beyond = [signed_number(end, "+.0f") for end in ends if abs(end) > 1.02 * limit]
    return f"goes on to {' and '.join(beyond)} µm" if beyond else ""
