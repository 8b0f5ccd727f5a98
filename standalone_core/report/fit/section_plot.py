"""Places of the drawings of sections through the seated crown and its die. No markup here."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import FloatArray
from ...mesh.plane_cut import plane_cut
from ...words.text import micrometres
from ..drawing.legend import number
from .frame import SeatedFrame, direction_words

if TYPE_CHECKING:
    from ...fit.gap.result import MarginalGap
    from ...fit.result import FitResult

WIDTH_PX = 470.0
INSET_PX = 190.0
ROOM_MM = (0.8, 1.3)  # around the crown: beside and above it, and below it
_LEAST_WINDOW_MM, _MOST_WINDOW_MM = 0.8, 2.5
_SPOT_WINDOW_MM = 1.0
_GAPS_IN_WINDOW = 4.0  # so many gaps fit into a magnified window
_BARS_MM = (0.05, 0.1, 0.2, 0.5, 1.0)
_BINDING = "Through the spot that holds it most"


@dataclass(frozen=True)
class Window:
    """What a drawing shows, in mm: left and upper end (y grows downwards), width, height."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Inset:
    """A magnified place.

    Attributes
    ----------
    window : Window
    title, note : str
        Where it is, and what was measured there.
    times : float
        Magnification against the main drawing.
    bar_mm : float
        Length of its scale bar.
    bar_text : str
    dots : tuple of (float, float)
        The finish line and the crown's edge there, if they are known.
    """

    window: Window
    title: str
    note: str
    times: float
    bar_mm: float
    bar_text: str
    dots: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class SectionPlot:
    """A section; both axes have the same scale.

    Attributes
    ----------
    name : str
        For identifiers.
    title : str
    left, right : str
        The directions at its sides.
    crown, crown_line, die, die_line : str
        Paths in SVG's own letters, mm: to fill, and to draw.
    window : Window
    insets : tuple of Inset
    """

    name: str
    title: str
    left: str
    right: str
    crown: str
    crown_line: str
    die: str
    die_line: str
    window: Window
    insets: tuple[Inset, ...]


def section_plots(result: FitResult, frame: SeatedFrame) -> tuple[SectionPlot, ...]:
    """Lay out sections along the path of insertion through the middle of the margin line.

    Two of them, mesiodistal and buccolingual, and of a crown that cannot go on another one
    before them, through the contact spot with the largest share of the load.

    Parameters
    ----------
    result : FitResult
        Of a crown that was seated.
    frame : SeatedFrame
        Of the same.
    """
    cuts = [cut for plane in _planes(result, frame) if (cut := _cut(result, frame, plane)).crown]
    if not cuts:
        return ()
    size = _size([cut.crown for cut in cuts])
    return tuple(_section(result, frame, cut, size) for cut in cuts)


@dataclass(frozen=True, eq=False)
class _Plane:
    """A plane: name, title (empty without known directions), angle, and a place to magnify."""

    name: str
    title: str
    angle: float
    spot_mm: FloatArray | None = None


def _planes(result: FitResult, frame: SeatedFrame) -> list[_Plane]:
    directions = frame.directions
    mesial = directions.zero_name == "mesial"
    buccal = math.isfinite(directions.buccal_deg)
    planes = [
        _Plane("mesiodistal", "Mesiodistal" if mesial else "", 0.0),
        _Plane(
            "buccolingual",
            "Buccolingual" if mesial or buccal else "",
            directions.buccal_deg if buccal else 90.0,
        ),
    ]
    seat = result.seat
    if seat is not None and seat.stop == "cannot_go_on" and seat.spots:
        place = seat.spots[0].place_mm
        x, y = frame.across(place[None])[0].tolist()
        angle = math.degrees(math.atan2(y, x)) % 360.0
        planes.insert(0, _Plane("binding", _BINDING, angle, place))
    return planes


@dataclass(frozen=True, eq=False)
class _Cut:
    """Crown and die in a plane: flat points, y downwards, and whether they close to a ring."""

    plane: _Plane
    axes: FloatArray
    crown: list[tuple[FloatArray, bool]]
    die: list[tuple[FloatArray, bool]]


def _cut(result: FitResult, frame: SeatedFrame, plane: _Plane) -> _Cut:
    assert result.die is not None  # a seated crown has one
    turn = math.radians(plane.angle)
    along = math.cos(turn) * frame.directions.zero + math.sin(turn) * frame.directions.quarter
    normal = np.cross(frame.axis, along)
    axes = np.stack([along, -frame.axis], axis=1)
    crown, die = (
        [((curve.points_mm - frame.middle) @ axes, curve.closed) for curve in curves]
        for curves in (
            plane_cut(frame.crown, frame.middle, normal),
            plane_cut(result.die.mesh, frame.middle, normal),
        )
    )
    return _Cut(plane, axes, crown, die)


def _section(result: FitResult, frame: SeatedFrame, cut: _Cut, size: FloatArray) -> SectionPlot:
    window = _around(np.vstack([points for points, _ in cut.crown]), size)
    angle = cut.plane.angle
    sides = [direction_words(frame.directions, angle + turned) for turned in (180.0, 0.0)]
    return SectionPlot(
        name=cut.plane.name,
        title=cut.plane.title or f"From {sides[0]} to {sides[1]}",
        left=sides[0],
        right=sides[1],
        crown=_paths(cut.crown, fill=True),
        crown_line=_paths(cut.crown),
        die=_paths(cut.die, fill=True),
        die_line=_paths(cut.die),
        window=window,
        insets=tuple(_insets(result, frame, cut, WIDTH_PX / window.width)),
    )


def _size(crowns: list[list[tuple[FloatArray, bool]]]) -> FloatArray:
    """Width and height that hold every section, so that all have one scale."""
    spans = [np.ptp(np.vstack([points for points, _ in crown]), axis=0) for crown in crowns]
    beside, below = ROOM_MM
    size: FloatArray = np.max(spans, axis=0) + np.array([2.0 * beside, beside + below])
    return size


def _around(points: FloatArray, size: FloatArray) -> Window:
    """A window of this size, the points in its middle and as high as they may."""
    low, high = points.min(axis=0), points.max(axis=0)
    x = 0.5 * float(low[0] + high[0] - size[0])
    y = float(low[1]) - ROOM_MM[0]
    width, height = size.tolist()
    return Window(round(x, 3), round(y, 3), round(width, 3), round(height, 3))


def _paths(curves: list[tuple[FloatArray, bool]], *, fill: bool = False) -> str:
    """Letters of paths through flat points; to fill, open ones are closed straight."""
    letters = []
    for points, closed in curves:
        places = " ".join(f"{x:.4f} {y:.4f}" for x, y in points.tolist())
        letters.append(f"M{places}{'Z' if closed or fill else ''}")
    return "".join(letters)


def _insets(result: FitResult, frame: SeatedFrame, cut: _Cut, scale: float) -> list[Inset]:
    """Magnify the two margins and the place under the roof."""
    found = []
    for turned in (180.0, 0.0) if frame.margin_line_mm is not None else ():
        angle = (cut.plane.angle + turned) % 360.0
        found.append(_margin_inset(result.margin, frame, angle, cut.axes, scale))
    if cut.plane.spot_mm is not None:
        place = (cut.plane.spot_mm - frame.middle) @ cut.axes
        return [*found, _inset(place, _SPOT_WINDOW_MM, "Spot 1", "", scale)]
    roof = _roof(cut.die)
    if roof is not None:
        crown = np.vstack([points for points, _ in cut.crown])
        nearest = float(np.linalg.norm(crown - roof, axis=1).min())
        found.append(_inset(roof, _window_mm(nearest), "Roof", "", scale))
    return found


def _margin_inset(
    margin: MarginalGap | None,
    frame: SeatedFrame,
    angle: float,
    axes: FloatArray,
    scale: float,
) -> Inset:
    place = _edge_at(frame, angle, axes)
    title = f"Margin, {direction_words(frame.directions, angle)}"
    if margin is None:
        return _inset(place, _LEAST_WINDOW_MM, title, "", scale)
    k = int(np.argmin(np.abs((margin.angle_deg - angle + 180.0) % 360.0 - 180.0)))
    if not margin.measured[k]:
        return _inset(place, _LEAST_WINDOW_MM, title, "not measured here", scale)
    dots = [(one[k] - frame.middle) @ axes for one in (margin.finish_mm, margin.edge_mm)]
    gap, absolute = float(margin.gap_um[k]), float(margin.absolute_um[k])
    note = f"gap {micrometres(gap, digits=0)} µm, absolute {micrometres(absolute, digits=0)} µm"
    middle = 0.5 * (dots[0] + dots[1])
    window = _window_mm(absolute / 1000.0)
    both = tuple((round(float(x), 4), round(float(y), 4)) for x, y in dots)
    return _inset(middle, window, title, note, scale, both)


def _inset(
    place: FloatArray,
    size_mm: float,
    title: str,
    note: str,
    scale: float,
    dots: tuple[tuple[float, float], ...] = (),
) -> Inset:
    x, y = (place - 0.5 * size_mm).tolist()
    bar = max(one for one in _BARS_MM if one <= 0.4 * size_mm)
    return Inset(
        window=Window(round(x, 4), round(y, 4), round(size_mm, 4), round(size_mm, 4)),
        title=title,
        note=note,
        times=float(f"{INSET_PX / size_mm / scale:.2g}"),
        bar_mm=bar,
        bar_text="1 mm" if bar == 1.0 else f"{number(1000.0 * bar)} µm",
        dots=dots,
    )


def _window_mm(gap_mm: float) -> float:
    if not math.isfinite(gap_mm):
        return _LEAST_WINDOW_MM
    return float(np.clip(_GAPS_IN_WINDOW * gap_mm, _LEAST_WINDOW_MM, _MOST_WINDOW_MM))


def _edge_at(frame: SeatedFrame, angle: float, axes: FloatArray) -> FloatArray:
    """The crown's edge at an angle, flat."""
    assert frame.margin_line_mm is not None  # asked before
    x, y = frame.across(frame.margin_line_mm).T
    turn = (np.degrees(np.arctan2(y, x)) - angle + 180.0) % 360.0 - 180.0
    place: FloatArray = (frame.margin_line_mm[int(np.argmin(np.abs(turn)))] - frame.middle) @ axes
    return place


def _roof(die: list[tuple[FloatArray, bool]]) -> FloatArray | None:
    """The die's place above the middle of the margin line, flat; None if there is none."""
    points = np.vstack([points for points, _ in die]) if die else np.empty((0, 2))
    middle = points[np.abs(points[:, 0]) < 0.25]
    if not len(middle):
        return None
    top: FloatArray = middle[int(np.argmin(middle[:, 1]))]
    return top
