"""Where the polar plot's parts lie in a 3D view, in pixels. Needs no Blender."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..drawing.legend_layout import (
    FAINT_INK,
    INK,
    LINE,
    PADDING,
    PANEL,
    TEXT_SIZE,
    Box,
    TextLine,
)
from ..drawing.overlay_parts import ORANGE, SKY_BLUE, VERMILLION

if TYPE_CHECKING:
    from ...standalone_core.report.fit.polar_plot import Label, PolarPlot

TITLE = "Marginal gap around the crown, seen from occlusal"
GRID = "#5b6670"
MOST_SIDE, LEAST_SIDE, SIDE_SHARE = 360.0, 220.0, 0.5
"""Of the plot's side in unscaled pixels; the share is of the view's height."""
OPACITY = 0.92
ARC_STEP_DEG = 1.5
DASH = 3
"""Pieces of a broken line that are drawn, then as many that are not."""
_PATH = re.compile(r"([MLAZ])([^MLAZ]*)")
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PolarLine:
    """A line of one colour, as pieces (k, 2, 2), with its width in pixels."""

    pieces: Points
    colour: str
    width: float
    opacity: float = 1.0


@dataclass(frozen=True, eq=False)
class PolarParts:
    """All that is drawn, from back to front; empty where the view is too small for it.

    Attributes
    ----------
    boxes : tuple of Box
        The ground, then the key's swatches.
    fills : tuple of (k, 2) float
        Wedges without a measurement, as polygons about their first point.
    lines : tuple of PolarLine
    words : tuple of TextLine
    """

    boxes: tuple[Box, ...] = ()
    fills: tuple[Points, ...] = ()
    lines: tuple[PolarLine, ...] = ()
    words: tuple[TextLine, ...] = ()


def lay_out_polar(
    plot: PolarPlot,
    *,
    right: float,
    bottom: float,
    height: float,
    scale: float,
    width_of: Callable[[str, float], float],
    note: str = "",
) -> PolarParts:
    """Place a polar plot in the lower right corner of a view, on a dark ground of its own.

    Parameters
    ----------
    plot : PolarPlot
    right, bottom : float
        The corner of the free part of the view, pixels.
    height : float
        Of that part, pixels.
    scale : float
        Of the interface; 1 is usual.
    width_of : function
        Width of a text written at a size, both in pixels.
    note : str
        One more line on top, such as a warning that results are out of date.
    """
    side = min(SIDE_SHARE * height / scale, MOST_SIDE)
    if side < LEAST_SIDE:
        return PolarParts()
    keys = list(_keys(plot))
    heads = [text for text in (note, TITLE) if text]
    tall = side + (len(keys) + len(heads)) * LINE + 3 * PADDING
    wide = side * plot.width / plot.height + 2 * PADDING
    sheet = _Sheet(right - (wide + PADDING) * scale, bottom + PADDING * scale, scale, width_of)
    sheet.box(0.0, 0.0, wide, tall, PANEL, OPACITY)
    y = PADDING
    for text, colour in reversed(keys):
        if colour:
            sheet.box(PADDING, y + 3, PADDING + 14, y + 6, colour)
        sheet.text(PADDING + (20 if colour else 0), y + 1, text, TEXT_SIZE - 1, FAINT_INK)
        y += LINE
    _add_plot(sheet, plot, PADDING, y + 0.5 * PADDING, side / plot.height)
    y += side + PADDING
    for text in reversed(heads):
        sheet.text(PADDING, y, text, TEXT_SIZE)
        y += LINE
    return PolarParts(
        tuple(sheet.boxes), tuple(sheet.fills), tuple(sheet.lines), tuple(sheet.words)
    )


def _keys(plot: PolarPlot) -> Iterator[tuple[str, str]]:
    """Yield what the lines mean, each with its colour."""
    yield "marginal gap", INK
    yield "absolute marginal discrepancy", FAINT_INK
    yield "mean gap of an eighth", SKY_BLUE
    if plot.limit is not None:
        yield plot.limit.text, ORANGE
    if plot.beyond:
        yield "beyond the limit", VERMILLION
    if plot.unmeasured:
        yield "not measured", GRID
    if plot.largest.text:
        yield f"{plot.largest.text} (circle)", ""
    if plot.clipped:
        yield plot.clipped, ""


class _Sheet:
    """Collects parts given in unscaled pixels from a corner."""

    def __init__(
        self, left: float, bottom: float, scale: float, width_of: Callable[[str, float], float]
    ) -> None:
        self.left, self.bottom, self.scale, self.width_of = left, bottom, scale, width_of
        self.boxes: list[Box] = []
        self.fills: list[Points] = []
        self.lines: list[PolarLine] = []
        self.words: list[TextLine] = []

    def at(self, points: Points) -> Points:
        """Return points in the view's pixels."""
        moved: Points = np.array([self.left, self.bottom]) + self.scale * points
        return moved

    def box(
        self, x: float, y: float, right: float, top: float, colour: str, opacity: float = 1.0
    ) -> None:
        """Add a filled rectangle."""
        (x, y), (right, top) = self.at(np.array([[x, y], [right, top]])).tolist()
        self.boxes.append(Box(x, y, right, top, colour, opacity))

    def text(
        self, x: float, y: float, text: str, size: float, colour: str = INK, anchor: str = "start"
    ) -> None:
        """Add words that begin, end, or have their middle at a place."""
        (x, y) = self.at(np.array([x, y])).tolist()
        size *= self.scale
        share = {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
        left = x - share * self.width_of(text, size) if share else x
        self.words.append(TextLine(left, y, text, size, colour))

    def line(
        self,
        points: Points,
        colour: str,
        width: float,
        *,
        dashed: bool = False,
        opacity: float = 1.0,
    ) -> None:
        """Add a line through points."""
        pieces = np.stack([points[:-1], points[1:]], axis=1)
        if dashed:
            pieces = pieces[np.arange(len(pieces)) // DASH % 2 == 0]
        if len(pieces):
            self.lines.append(PolarLine(self.at(pieces), colour, width * self.scale, opacity))


def _add_plot(sheet: _Sheet, plot: PolarPlot, left: float, bottom: float, factor: float) -> None:
    """Add the plot itself; its own y points down."""
    corner = np.array([left, bottom + plot.height * factor])
    flip = np.array([factor, -factor])
    middle = np.array([plot.x, plot.y])

    def here(points: Points) -> Points:
        return corner + flip * points

    def path(text: str, colour: str, width: float, **look: float) -> None:
        for points in polylines(text, middle):
            sheet.line(here(points), colour, width, **look)  # type: ignore[arg-type]

    for wedge in plot.unmeasured:
        sheet.fills += [sheet.at(here(points)) for points in polylines(wedge, middle)]
    for end in plot.spokes:
        sheet.line(here(np.array([middle, end])), GRID, 1.0)
    for ring in plot.rings:
        sheet.line(here(_circle(middle, ring.radius)), GRID, 1.0)
    if plot.limit is not None:
        sheet.line(here(_circle(middle, plot.limit.radius)), ORANGE, 1.5, dashed=True)
    path(plot.sectors, SKY_BLUE, 4.0, opacity=0.55)
    path(plot.absolute, FAINT_INK, 1.2, dashed=True)
    path(plot.gap, INK, 2.0)
    path(plot.beyond, VERMILLION, 4.0)
    for ring in plot.rings:
        x, y = here(np.array([ring.x, ring.y])).tolist()
        sheet.text(x, y, ring.text, TEXT_SIZE - 2, FAINT_INK, "middle")
    for label in plot.labels:
        _add_label(sheet, label, here(np.array([label.x, label.y])))
    if plot.largest.text:
        dot = _circle(np.array([plot.largest.x, plot.largest.y]), 5.0)
        sheet.line(here(dot), INK, 2.5)


def _add_label(sheet: _Sheet, label: Label, place: Points) -> None:
    x, y = place.tolist()
    sheet.text(x, y, label.text, TEXT_SIZE, INK, label.anchor)
    sheet.text(x, y - LINE + 3, label.value, TEXT_SIZE - 1, FAINT_INK, label.anchor)


def polylines(path: str, middle: Points) -> list[Points]:
    """Return the lines of a drawing's path, (k, 2) each; its arcs are about the middle.

    Parameters
    ----------
    path : str
        In SVG's letters M, L, A and Z.
    middle : (2,) float
    """
    lines: list[list[list[float]]] = []
    for letter, text in _PATH.findall(path):
        numbers = [float(number) for number in text.split()]
        if letter == "M":
            lines.append([numbers])
        elif letter == "L":
            lines[-1].append(numbers)
        elif letter == "A":
            lines[-1] += _arc(lines[-1][-1], numbers, middle)
        else:
            lines[-1].append(lines[-1][0])
    return [np.array(line) for line in lines if len(line) > 1]


def _arc(start: list[float], numbers: list[float], middle: Points) -> list[list[float]]:
    """Return the places of an arc after its start: radii, turn, large, sweep, end."""
    radius, sweep, end = numbers[0], numbers[4], numbers[5:]
    (from_x, from_y), (to_x, to_y) = np.array(start) - middle, np.array(end) - middle
    first, last = math.atan2(from_y, from_x), math.atan2(to_y, to_x)
    way = (last - first) % (2 * math.pi) if sweep else -((first - last) % (2 * math.pi))
    count = max(1, math.ceil(abs(math.degrees(way)) / ARC_STEP_DEG))
    turns = first + way * np.arange(1, count + 1) / count
    places: list[list[float]] = (
        middle + radius * np.column_stack([np.cos(turns), np.sin(turns)])
    ).tolist()
    return places


def _circle(middle: Points, radius: float) -> Points:
    turns = np.linspace(0.0, 2 * math.pi, round(360.0 / ARC_STEP_DEG) + 1)
    round_it: Points = middle + radius * np.column_stack([np.cos(turns), np.sin(turns)])
    return round_it
