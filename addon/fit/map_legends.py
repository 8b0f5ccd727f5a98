"""The legends of the maps of walls and contacts. Needs no Blender."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ...standalone_core.report.drawing.amount_colours import amount_hex
from ...standalone_core.report.drawing.deviation_colours import unmeasured_hex
from ...standalone_core.report.drawing.legend import (
    Legend,
    LegendStop,
    LegendTick,
    make_legend,
    nice_values,
    number,
)
from ...standalone_core.report.fit.colours import (
    BEYOND_HEX,
    NOT_JUDGED_WORDS,
    NOTHING_NEAR_WORDS,
    THINNER_WORDS,
)
from ...standalone_core.words.text import capital

STEPS = 65


THIN_SWATCH = (BEYOND_HEX, capital(THINNER_WORDS))


@dataclass(frozen=True)
class NamedLegend(Legend):
    """A legend whose words below are given.

    Attributes
    ----------
    note : str
        Below the scale; empty for none.
    unmeasured_words : str
        What the grey stands for.
    """

    note: str = ""
    unmeasured_words: str = ""

    @property
    def tolerance_text(self) -> str:
        """What is asked for."""
        return self.note

    @property
    def clipped_text(self) -> str:
        """Nothing: the ends of the scale say it."""
        return ""

    @property
    def unmeasured_text(self) -> str:
        """What the grey stands for."""
        return self.unmeasured_words


def walls_legend(limit_mm: float, areas: Sequence[Mapping[str, Any]], palette: str) -> NamedLegend:
    """Return the legend of a map of walls, from nothing to the palest thickness, mm.

    Parameters
    ----------
    limit_mm : float
    areas : sequence of mapping
        The parts, as kept: what is required of each.
    palette : str
        Whose grey stands for what was not judged.
    """
    places = [k / (STEPS - 1) for k in range(STEPS)]
    values = (0.0, *nice_values(limit_mm))
    needs = (f"{row['area']} {number(row['required_mm'])}" for row in areas)
    return NamedLegend(
        limit_um=limit_mm,
        tolerance_um=None,
        ticks=tuple(LegendTick(value / limit_mm, number(value)) for value in values),
        band=None,
        stops=tuple(LegendStop(place, amount_hex(1.0 - place)) for place in places),
        unmeasured_colour=unmeasured_hex(palette),
        share_clipped=0.0,
        share_unmeasured=0.0,
        note=f"Required: {', '.join(needs)}",
        unmeasured_words=capital(NOT_JUDGED_WORDS),
    )


def contacts_legend(limit_um: float, palette: str) -> NamedLegend:
    """Return the legend of a map of contacts, from a gap below to an overlap above, µm."""
    plain = make_legend([], [], limit_um=limit_um, palette=palette)
    ticks = tuple(replace(tick, text=_tick(tick, limit_um)) for tick in plain.ticks)
    return NamedLegend(
        limit_um=limit_um,
        tolerance_um=None,
        ticks=ticks,
        band=None,
        stops=plain.stops,
        unmeasured_colour=plain.unmeasured_colour,
        share_clipped=0.0,
        share_unmeasured=0.0,
        palette=palette,
        unmeasured_words=capital(NOTHING_NEAR_WORDS),
    )


def _tick(tick: LegendTick, limit_um: float) -> str:
    value = (2.0 * tick.position - 1.0) * limit_um
    if abs(value) < 1e-6 * limit_um:
        return "touching"
    more = " or more" if tick.position in (0.0, 1.0) else ""
    return f"{number(round(abs(value), 6))} {'overlap' if value > 0.0 else 'gap'}{more}"
