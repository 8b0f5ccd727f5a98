"""The legend of a colour map as pure layout: limits, ticks, tolerance band, shares.

The HTML page draws it as SVG, the pictures as geometry; neither decides anything.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ...shares import share_words
from .deviation_colours import STANDARD, hex_colours, refused_hex, unmeasured_hex

NICE_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
NICE_LIMITS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
LIMIT_QUANTILE = 0.98
BANDS_AT_LEAST = 2.0  # the tolerance band stays well inside the map
BANDS_AT_MOST = 8.0  # one wild patch must not flatten the rest


@dataclass(frozen=True)
class LegendTick:
    """A mark on the scale: its place from 0 (−limit) to 1 (+limit), and its words."""

    position: float
    text: str


@dataclass(frozen=True)
class LegendStop:
    """A colour on the scale: its place from 0 to 1, and ``#rrggbb``."""

    position: float
    colour: str


@dataclass(frozen=True)
class Legend:
    """What a legend shows.

    Attributes
    ----------
    limit_um : float
        The map runs from −limit to +limit, µm.
    tolerance_um : float or None
        Half width of the tolerance band, µm; None where no tolerance applies.
    ticks : tuple of LegendTick
        From −limit to +limit, in nice steps, both limits included.
    band : (float, float) or None
        Where the tolerance band starts and ends on the scale, 0…1.
    stops : tuple of LegendStop
        The map's colours.
    unmeasured_colour : str
        ``#rrggbb`` of what was not measured.
    share_clipped, share_unmeasured : float
        Share of the surface beyond the limits, and without a measurement, 0…1.
    palette : str
        One of ``colour.PALETTES``: whose colours these are.
    refused_colour : str
        ``#rrggbb`` of points without a mutual match; empty where there are none.
    share_refused : float
        Their share of the surface, which is part of ``share_unmeasured``.
    """

    limit_um: float
    tolerance_um: float | None
    ticks: tuple[LegendTick, ...]
    band: tuple[float, float] | None
    stops: tuple[LegendStop, ...]
    unmeasured_colour: str
    share_clipped: float
    share_unmeasured: float
    palette: str = STANDARD
    refused_colour: str = ""
    share_refused: float = 0.0

    @property
    def clipped_text(self) -> str:
        """Say which share of the measured surface lies beyond the limits."""
        return f"{share_words(self.share_clipped)} beyond ±{number(self.limit_um)} µm"

    @property
    def unmeasured_text(self) -> str:
        """Say which share of the surface was not measured."""
        return f"{share_words(self.share_unmeasured)} not measured"

    @property
    def refused_text(self) -> str:
        """Say which part of these has no mutual match; empty where none."""
        if not self.share_refused > 0.0:
            return ""
        darker = " (darker)" if self.refused_colour != self.unmeasured_colour else ""
        return f"{share_words(self.share_refused)} without a mutual match{darker}"

    @property
    def tolerance_text(self) -> str:
        """Say what the marked band is; empty without a tolerance."""
        if self.tolerance_um is None:
            return ""
        return f"tolerance ±{number(self.tolerance_um)} µm"


def make_legend(
    values_mm: ArrayLike,
    weights_mm2: ArrayLike,
    *,
    limit_um: float,
    tolerance_um: float | None = None,
    colours: int = 65,
    palette: str = STANDARD,
    refused: ArrayLike | None = None,
) -> Legend:
    """Lay out the legend of a coloured surface.

    Parameters
    ----------
    values_mm, weights_mm2 : (n,) array_like of float
        Deviations (NaN: not measured) and the surface each stands for.
    limit_um : float
        Limit of the map.
    tolerance_um : float, optional
        Half width of the band to mark.
    colours : int
        Count of colour stops.
    palette : str
        One of ``colour.PALETTES``.
    refused : (n,) array_like of bool, optional
        Which points have no mutual match.
    """
    values = np.asarray(values_mm, dtype=np.float64)
    weights = np.asarray(weights_mm2, dtype=np.float64)
    measured = np.isfinite(values)
    total = float(weights.sum())
    counted = float(weights[measured].sum())
    beyond = measured & (np.abs(np.where(measured, values, 0.0)) * 1000.0 > limit_um)
    lost = 0.0 if refused is None else float(weights[np.asarray(refused, dtype=bool)].sum())
    positions = np.linspace(0.0, 1.0, colours)
    found = hex_colours(2.0 * positions - 1.0, palette)
    band = None
    if tolerance_um is not None and tolerance_um < limit_um:
        half = 0.5 * tolerance_um / limit_um
        band = (0.5 - half, 0.5 + half)
    return Legend(
        limit_um=float(limit_um),
        tolerance_um=None if tolerance_um is None else float(tolerance_um),
        ticks=legend_ticks(limit_um),
        band=band,
        stops=tuple(
            LegendStop(float(place), colour) for place, colour in zip(positions, found, strict=True)
        ),
        unmeasured_colour=unmeasured_hex(palette),
        share_clipped=float(weights[beyond].sum()) / counted if counted > 0.0 else 0.0,
        share_unmeasured=1.0 - counted / total if total > 0.0 else 1.0,
        palette=palette,
        refused_colour=refused_hex(palette) if lost > 0.0 else "",
        share_refused=lost / total if total > 0.0 else 0.0,
    )


def legend_ticks(limit_um: float) -> tuple[LegendTick, ...]:
    """Place ticks symmetrically about zero: nice steps, three or four to a side, limits included.

    A nice tick too near to the limit to be read beside it gives way.
    """
    step = next(s for s in _ascending(NICE_STEPS, limit_um / 4.0) if s >= limit_um / 4.0 - 1e-9)
    inner = [k * step for k in range(1, 5) if k * step < limit_um - 0.45 * step]
    side = [*inner, float(limit_um)]
    values = [-value for value in reversed(side)] + [0.0] + side
    return tuple(LegendTick(0.5 + 0.5 * v / limit_um, number(v, signed=True)) for v in values)


def colour_limit_um(
    values_mm: ArrayLike, weights_mm2: ArrayLike, *, tolerance_um: float | None
) -> float:
    """Choose a round, symmetric limit for a map.

    The weighted 98th percentile of |deviation|, but at least twice and at most eight times
    the tolerance, rounded up to 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8 × 10ᵏ. A study passes one limit
    for all its maps instead.
    """
    values = np.abs(np.asarray(values_mm, dtype=np.float64)) * 1000.0
    weights = np.asarray(weights_mm2, dtype=np.float64)
    measured = np.isfinite(values) & (weights > 0.0)
    wanted = _quantile(values[measured], weights[measured]) if measured.any() else 0.0
    if tolerance_um is not None and tolerance_um > 0.0:
        wanted = min(max(wanted, BANDS_AT_LEAST * tolerance_um), BANDS_AT_MOST * tolerance_um)
    return nice_limit(max(wanted, 1.0))


def nice_limit(wanted: float) -> float:
    """Round a positive number up to 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8 × 10ᵏ."""
    return next(v for v in _ascending(NICE_LIMITS, wanted) if v >= wanted * (1.0 - 1e-9))


def nice_values(most: float, count: int = 5) -> tuple[float, ...]:
    """Return at most so many evenly spaced round numbers from above 0 up to a limit.

    Examples
    --------
    >>> nice_values(150.0), nice_values(1.5), nice_values(80.0, 4)
    ((50.0, 100.0, 150.0), (0.5, 1.0, 1.5), (20.0, 40.0, 60.0, 80.0))
    """
    step = next(s for s in _ascending(NICE_STEPS, most / count) if s * count >= most * (1 - 1e-9))
    return tuple(k * step for k in range(1, count + 1) if k * step <= most * (1 + 1e-9))


def number(value: float, *, signed: bool = False) -> str:
    """Write a number without needless digits, with a true minus sign."""
    text = f"{abs(value):.6g}"
    if value < 0.0:
        return f"−{text}"
    return f"+{text}" if signed and value > 0.0 else text


def _quantile(values: np.ndarray, weights: np.ndarray) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    found = np.searchsorted(reached, LIMIT_QUANTILE * reached[-1])
    return float(values[order[min(int(found), len(order) - 1)]])


def _ascending(mantissas: tuple[float, ...], about: float) -> list[float]:
    decade = math.floor(math.log10(max(about, 1e-6)))
    return [m * 10.0**k for k in range(decade - 1, decade + 2) for m in mantissas]
