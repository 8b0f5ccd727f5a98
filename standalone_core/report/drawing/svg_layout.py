"""Places of what the page draws as SVG: histograms and the legend. No markup here."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...shares import share_words
from .deviation_colours import STANDARD, hex_colours
from .histogram import Histogram
from .legend import Legend, legend_ticks, number

WIDTH, HEIGHT = 340.0, 172.0
LEFT, RIGHT, TOP, BASE = 14.0, 326.0, 26.0, 138.0


@dataclass(frozen=True)
class Bar:
    """A column: left edge, top, width and height in the plot's units, and its colour."""

    x: float
    y: float
    width: float
    height: float
    colour: str


@dataclass(frozen=True)
class Mark:
    """A place on the axis and its words."""

    x: float
    text: str


@dataclass(frozen=True)
class Plot:
    """A drawing in units of its view box.

    Attributes
    ----------
    width, height : float
        Of the view box.
    left, right, top, base : float
        The frame of the data.
    bars : tuple of Bar
    ticks : tuple of Mark
    band : (float, float) or None
        Left and right of the tolerance band.
    zero : float
        Where zero lies.
    below, above : str
        What lies beyond the limits, in words; empty for nothing.
    """

    width: float
    height: float
    left: float
    right: float
    top: float
    base: float
    bars: tuple[Bar, ...]
    ticks: tuple[Mark, ...]
    band: tuple[float, float] | None
    zero: float
    below: str = ""
    above: str = ""


def histogram_plot(histogram: Histogram, tolerance_um: float, palette: str = STANDARD) -> Plot:
    """Lay out a histogram: columns in the colours of the map, tolerance band, axis.

    Parameters
    ----------
    histogram : Histogram
    tolerance_um : float
        NaN where the area has none.
    palette : str
        One of ``colour.PALETTES``.
    """
    limit, shares = histogram.limit_um, histogram.shares
    step = (RIGHT - LEFT) / len(shares)
    scale = (BASE - TOP) / max(float(shares.max()), 1e-12)
    colours = hex_colours((np.arange(len(shares)) + 0.5) / len(shares) * 2.0 - 1.0, palette)
    bars = tuple(
        Bar(
            round(LEFT + k * step, 2),
            round(BASE - share * scale, 2),
            round(step, 2),
            round(share * scale, 2),
            colour,
        )
        for k, (share, colour) in enumerate(zip(shares.tolist(), colours, strict=True))
        if share * scale >= 0.05
    )
    band = None
    if math.isfinite(tolerance_um) and tolerance_um < limit:
        band = (_place(-tolerance_um, limit), _place(tolerance_um, limit))
    bound = number(limit)
    return Plot(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=RIGHT,
        top=TOP,
        base=BASE,
        bars=bars,
        ticks=_marks(limit),
        band=band,
        zero=_place(0.0, limit),
        below=f"{share_words(histogram.below)} below −{bound}" if histogram.below > 0.0 else "",
        above=f"{share_words(histogram.above)} above +{bound}" if histogram.above > 0.0 else "",
    )


def legend_plot(legend: Legend) -> Plot:
    """Lay out the legend as a strip of colour over an axis, on the histogram's own scale."""
    edges = np.linspace(LEFT, RIGHT, len(legend.stops) + 1)
    bars = tuple(
        Bar(round(float(a), 2), 26.0, round(float(b - a) + 0.3, 2), 16.0, stop.colour)
        for a, b, stop in zip(edges[:-1], edges[1:], legend.stops, strict=True)
    )
    band = None
    if legend.band is not None:
        low, high = (round(LEFT + (RIGHT - LEFT) * end, 2) for end in legend.band)
        band = (low, high)
    return Plot(
        width=WIDTH,
        height=66.0,
        left=LEFT,
        right=RIGHT,
        top=26.0,
        base=42.0,
        bars=bars,
        ticks=_marks(legend.limit_um),
        band=band,
        zero=_place(0.0, legend.limit_um),
    )


def _marks(limit_um: float) -> tuple[Mark, ...]:
    return tuple(
        Mark(round(LEFT + (RIGHT - LEFT) * tick.position, 2), tick.text)
        for tick in legend_ticks(limit_um)
    )


def _place(value_um: float, limit_um: float) -> float:
    return round(LEFT + (RIGHT - LEFT) * (0.5 + 0.5 * value_um / limit_um), 2)
