"""Places of the polar drawing of the marginal gap; the page draws it as SVG. No markup here."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import BoolArray, FloatArray
from ...words.text import micrometres
from ..drawing.legend import nice_limit, nice_values, number

if TYPE_CHECKING:
    from ...fit.gap.result import MarginalGap, Sector

WIDTH, HEIGHT = 540.0, 450.0
MIDDLE = (270.0, 222.0)
RADIUS = 168.0
_LABELS = 18.0  # from the outermost ring to the words around it
_RINGS_AT_DEG = 67.5  # between the words of two eighths


@dataclass(frozen=True)
class Ring:
    """A circle of one value: radius, words and their middle."""

    radius: float
    text: str
    x: float
    y: float


@dataclass(frozen=True)
class Label:
    """Words around the drawing: what, and below it a number; x, y, and SVG's text-anchor."""

    x: float
    y: float
    anchor: str
    text: str
    value: str = ""


@dataclass(frozen=True)
class PolarPlot:
    """The drawing in units of its view box.

    Attributes
    ----------
    width, height, x, y, radius : float
        View box, the middle, and the outermost ring.
    rings : tuple of Ring
    limit : Ring or None
        The limit of the gap, if it lies within the drawing.
    spokes : tuple of (float, float)
        Ends of the lines between the sectors.
    gap, beyond, absolute, sectors : str
        Paths in SVG's own letters: the gap, its stretches beyond the limit, the absolute
        marginal discrepancy, and the sectors' means of the gap as arcs.
    unmeasured : tuple of str
        Wedges without a measurement.
    labels : tuple of Label
        The sectors with the means of their gaps.
    largest : Label
        Where the gap is largest.
    clipped : str
        What lies outside the drawing, in words; empty for nothing.
    """

    width: float
    height: float
    x: float
    y: float
    radius: float
    rings: tuple[Ring, ...]
    limit: Ring | None
    spokes: tuple[tuple[float, float], ...]
    gap: str
    beyond: str
    absolute: str
    sectors: str
    unmeasured: tuple[str, ...]
    labels: tuple[Label, ...]
    largest: Label
    clipped: str


def polar_plot(margin: MarginalGap) -> PolarPlot:
    """Lay out the marginal gap around the crown, seen from occlusal, angle 0 to the right.

    Distance from the middle is the gap: 0 in the middle, where an overlap is drawn too.
    """
    most = _scale(margin)
    scale = RADIUS / most
    limit = margin.settings.marginal_limit_um
    gap, absolute = (_shown(margin, values) for values in (margin.gap_um, margin.absolute_um))
    return PolarPlot(
        width=WIDTH,
        height=HEIGHT,
        x=MIDDLE[0],
        y=MIDDLE[1],
        radius=RADIUS,
        rings=_rings(most),
        limit=_ring(limit * scale, f"limit {limit:g} µm") if limit <= most else None,
        spokes=tuple(_place(one.from_deg, RADIUS) for one in margin.sectors),
        gap=_path(margin.angle_deg, gap * scale),
        beyond=_path(margin.angle_deg, np.where(gap > limit, gap, np.nan) * scale, joined=False),
        absolute=_path(margin.angle_deg, absolute * scale),
        sectors="".join(_arc(one, scale) for one in margin.sectors),
        unmeasured=_wedges(margin.angle_deg, ~margin.measured),
        labels=tuple(_label(one) for one in margin.sectors),
        largest=_largest(margin, scale),
        clipped=_clipped(margin, most),
    )


def _scale(margin: MarginalGap) -> float:
    """Value of the outermost ring: all of the gap and nearly all of the discrepancy."""
    absolute = margin.absolute_um[np.isfinite(margin.absolute_um)]
    most = [1.15 * margin.settings.marginal_limit_um, margin.most_um]
    most += [float(np.percentile(absolute, 98.0))] if len(absolute) else []
    return nice_limit(max(value for value in most if math.isfinite(value)))


def _shown(margin: MarginalGap, values: FloatArray) -> FloatArray:
    """Values within the drawing; NaN where nothing was measured."""
    most = _scale(margin)
    shown: FloatArray = np.where(margin.measured, np.clip(values, 0.0, most), np.nan)
    return shown


def _rings(most: float) -> tuple[Ring, ...]:
    values = nice_values(most)
    rings = []
    for value in values if values[-1] > 0.999 * most else (*values, most):
        text = f"{number(value)} µm" if value >= 0.999 * most else number(value)
        rings.append(_ring(RADIUS * value / most, text))
    return tuple(rings)


def _ring(radius: float, text: str) -> Ring:
    x, y = _place(_RINGS_AT_DEG, radius)
    return Ring(round(radius, 2), text, round(x, 1), round(y + 4.5, 1))


def _path(angle: FloatArray, radius: FloatArray, *, joined: bool = True) -> str:
    """A path through the places, broken where there is none; joined to a ring if all are there."""
    letters, drawing = [], False
    closed = joined and bool(np.isfinite(radius).all())
    turned = np.arange(len(angle))
    if not np.isfinite(radius).all():  # begin after a break, so that none is cut in two
        turned = np.roll(turned, -int(np.flatnonzero(~np.isfinite(radius))[0]))
    for k in turned.tolist():
        if not math.isfinite(radius[k]):
            drawing = False
            continue
        x, y = _place(float(angle[k]), float(radius[k]))
        letters.append(f"{'L' if drawing else 'M'}{x:.1f} {y:.1f}")
        drawing = True
    return "".join(letters) + ("Z" if closed else "")


def _arc(sector: Sector, scale: float) -> str:
    """The mean of a sector as an arc."""
    if not math.isfinite(sector.gap_um):
        return ""
    radius = min(max(sector.gap_um, 0.0) * scale, RADIUS)
    (x1, y1), (x2, y2) = (_place(angle, radius) for angle in (sector.from_deg, sector.to_deg))
    return f"M{x1:.1f} {y1:.1f}A{radius:.1f} {radius:.1f} 0 0 0 {x2:.1f} {y2:.1f}"


def _wedges(angle: FloatArray, mask: BoolArray) -> tuple[str, ...]:
    """A wedge for every run of marked places."""
    if not mask.any():
        return ()
    half = 180.0 / len(angle)
    if mask.all():
        x, y, r = *MIDDLE, RADIUS
        return (f"M{x - r} {y}A{r} {r} 0 1 0 {x + r} {y}A{r} {r} 0 1 0 {x - r} {y}Z",)
    turned = np.roll(np.arange(len(angle)), -int(np.flatnonzero(~mask)[0]))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask[turned], [False]]).astype(int)))
    wedges = []
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        start, stop = float(angle[turned[first]]) - half, float(angle[turned[end - 1]]) + half
        (x1, y1), (x2, y2) = _place(start, RADIUS), _place(stop, RADIUS)
        large = int((stop - start) % 360.0 > 180.0)
        wedges.append(
            f"M{MIDDLE[0]:g} {MIDDLE[1]:g}L{x1:.1f} {y1:.1f}"
            f"A{RADIUS:g} {RADIUS:g} 0 {large} 0 {x2:.1f} {y2:.1f}Z"
        )
    return tuple(wedges)


def _label(sector: Sector) -> Label:
    middle = sector.from_deg + 0.5 * ((sector.to_deg - sector.from_deg) % 360.0)
    x, y = _place(middle, RADIUS + _LABELS)
    value = f"{micrometres(sector.gap_um, digits=0)} µm"
    return Label(round(x, 1), round(y, 1), _anchor(middle), sector.name, value)


def _largest(margin: MarginalGap, scale: float) -> Label:
    if not math.isfinite(margin.most_um):
        return Label(*MIDDLE, "middle", "")
    radius = float(np.clip(margin.most_um * scale, 0.0, RADIUS))
    x, y = _place(margin.most_deg, radius)
    text = f"largest: {micrometres(margin.most_um, digits=0)} µm"
    return Label(round(x, 1), round(y, 1), "start" if x >= MIDDLE[0] else "end", text)


def _clipped(margin: MarginalGap, most: float) -> str:
    values = margin.absolute_um[margin.measured]
    beyond = float(np.nanmax(values)) if len(values) else 0.0
    if beyond <= most:
        return ""
    return f"The absolute discrepancy goes on to {micrometres(beyond, digits=0)} µm."


def _anchor(angle_deg: float) -> str:
    across = math.cos(math.radians(angle_deg))
    return "middle" if abs(across) < 0.3 else "start" if across > 0.0 else "end"


def _place(angle_deg: float, radius: float) -> tuple[float, float]:
    turn = math.radians(angle_deg)
    return MIDDLE[0] + radius * math.cos(turn), MIDDLE[1] - radius * math.sin(turn)
