"""The legend of a group's map: what it shows, of whom, in which unit. Needs no Blender."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, replace

import numpy as np

from ...standalone_core.report.drawing.amount_colours import amount_colours, amount_hex
from ...standalone_core.report.drawing.deviation_colours import (
    ColourArray,
    deviation_colours,
    unmeasured_hex,
)
from ...standalone_core.report.drawing.legend import (
    Legend,
    LegendStop,
    LegendTick,
    colour_limit_um,
    make_legend,
    number,
)
from ...standalone_core.shares import share_words

SIGNED = ("mean", "worst", "difference")
TITLES = {
    "mean": "Mean of the group, µm",
    "sd": "Spread (SD) of crowns, µm",
    "worst": "Worst crown, µm",
    "share": "Crowns out of tolerance",
    "difference": "Difference of means, µm",
}
ALL = 100.0  # the share's scale always ends at all crowns, %
PER_MM = 1000.0
LETTERS = 26  # that a line of the legend holds
STEPS = 65


@dataclass(frozen=True)
class AmountLegend(Legend):
    """A legend that runs from nothing to the limit, in µm or %; ``limit_um`` is in that unit.

    Attributes
    ----------
    unit : str
    """

    unit: str = "µm"

    @property
    def clipped_text(self) -> str:
        """Say which share of the measured surface lies beyond the limit."""
        if self.unit == "%":
            return ""
        return f"{share_words(self.share_clipped)} above {number(self.limit_um)} {self.unit}"


def heads(kind: str, title: str) -> tuple[str, ...]:
    """Return the lines above the legend: what is shown, and of which group or groups."""
    lines = textwrap.wrap(title, LETTERS)
    if len(lines) > 2:
        lines = [lines[0], f"{lines[1][: LETTERS - 1]}…"]
    return TITLES[kind], *lines


def unit_factor(kind: str) -> float:
    """Return what a value of a map is multiplied with to be shown: mm to µm, shares to %."""
    return ALL if kind == "share" else PER_MM


def common_limit(
    kind: str, maps: list[np.ndarray], weights: np.ndarray, tolerance_um: float | None
) -> float:
    """Choose one limit for the maps of all groups, as a study's report does; µm, or %.

    Parameters
    ----------
    kind : str
    maps : list of (p,) float
        mm; of a difference, the groups' means.
    weights : (p,) float
    tolerance_um : float or None
        Of the whole crown.
    """
    if kind == "share":
        return ALL
    wanted = tolerance_um if kind in SIGNED else None
    tiled = np.tile(weights, len(maps))
    return colour_limit_um(np.concatenate(maps), tiled, tolerance_um=wanted)


def legend_for(kind: str, limit: float, tolerance_um: float | None, palette: str) -> Legend:
    """Return the legend of a map, its shares still open.

    Parameters
    ----------
    kind : str
    limit : float
        In the unit shown.
    tolerance_um : float or None
        Marked on maps of deviations.
    palette : str
        Of maps with a sign; amounts have one of their own.
    """
    if kind in SIGNED:
        band = None if kind == "difference" else tolerance_um
        return make_legend([], [], limit_um=limit, tolerance_um=band, palette=palette)
    unit = "%" if kind == "share" else "µm"
    places = [k / (STEPS - 1) for k in range(STEPS)]
    return AmountLegend(
        limit_um=limit,
        tolerance_um=None,
        ticks=tuple(
            LegendTick(share, number(round(limit * share, 6)) + (" %" if unit == "%" else ""))
            for share in (0.0, 0.25, 0.5, 0.75, 1.0)
        ),
        band=None,
        stops=tuple(LegendStop(place, amount_hex(place)) for place in places),
        unmeasured_colour=unmeasured_hex(palette),
        share_clipped=0.0,
        share_unmeasured=0.0,
        unit=unit,
    )


def with_shares(legend: Legend, clipped: float, unmeasured: float) -> Legend:
    """Return a legend that says how much is beyond its limit, and how much was not measured."""
    return replace(legend, share_clipped=clipped, share_unmeasured=unmeasured)


def shares(kind: str, values: np.ndarray, weights: np.ndarray, limit: float) -> tuple[float, float]:
    """Return the share of the measured surface beyond the limit, and that not measured.

    Parameters
    ----------
    kind : str
    values, weights : (p,) float
        At the evaluation points; mm or shares.
    limit : float
        In the unit shown.
    """
    measured = np.isfinite(values)
    counted, total = float(weights[measured].sum()), float(weights.sum())
    size = np.abs(np.where(measured, values, 0.0)) * unit_factor(kind)
    beyond = float(weights[size > limit].sum())
    return (beyond / counted if counted > 0 else 0.0, max(0.0, 1.0 - counted / total))


def colours_of(kind: str, values: np.ndarray, limit: float, palette: str) -> ColourArray:
    """Return the colours of values in mm or shares, (n, 3) uint8."""
    if kind in SIGNED:
        return deviation_colours(values, limit / PER_MM, palette)
    return amount_colours(values * unit_factor(kind), limit)


def only_significant(difference: np.ndarray, q: np.ndarray, alpha: float) -> np.ndarray:
    """Return a difference where it is told from chance, 0 where not, NaN where not tested."""
    return np.where(np.isfinite(difference), np.where(q <= alpha, difference, 0.0), np.nan)
