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


@dataclass(frozen=True)
class NamedLegend(Legend):
    """A legend whose words below are given.

    Attributes
    ----------
    notes : tuple of str
        What the scale runs over, in words.
    beyond_words, unmeasured_words : str
        Of the two colours that are not on the scale; empty for none.
    """

    notes: tuple[str, ...] = ()
    beyond_words: str = ""
    unmeasured_words: str = ""

    @property
    def tolerance_text(self) -> str:
        """What the scale runs over."""
        return "  ".join(self.notes)

    @property
    def clipped_text(self) -> str:
        """The colour of what stands out."""
        return self.beyond_words

    @property
    def unmeasured_text(self) -> str:
        """The colour of what has no value."""
        return self.unmeasured_words


def swatches_of(legend: Legend) -> dict[str, str]:
    """Return the colours beside lines below a legend, by their words."""
    found = {legend.unmeasured_text: legend.unmeasured_colour}
    if isinstance(legend, NamedLegend) and legend.beyond_words:
        found[legend.beyond_words] = BEYOND_HEX
    return found


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
        notes=(f"required: {', '.join(needs)}",),
        beyond_words=capital(THINNER_WORDS),
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
    return f"{number(round(abs(value), 6))} {'overlap' if value > 0.0 else 'gap'}"
