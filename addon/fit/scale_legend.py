"""The legend of a map of the fit, from the scale that the report draws. Needs no Blender."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...standalone_core.report.drawing.deviation_colours import unmeasured_hex
from ...standalone_core.report.drawing.legend import Legend, LegendStop, LegendTick

if TYPE_CHECKING:
    from ...standalone_core.report.fit.colours import Scale


@dataclass(frozen=True)
class ScaleLegend(Legend):
    """A legend that says what its single colours mean, and no shares."""

    @property
    def clipped_text(self) -> str:
        """Nothing: the scale's own words say what lies at its end."""
        return ""

    @property
    def unmeasured_text(self) -> str:
        """Say what is grey."""
        return "not measured"


def legend_of(scale: Scale, limit: float) -> ScaleLegend:
    """Return a scale as a legend, upright: what is low lies below."""
    span = scale.right - scale.left
    grey = unmeasured_hex()
    return ScaleLegend(
        limit_um=limit,
        tolerance_um=None,
        ticks=tuple(LegendTick((tick.x - scale.left) / span, tick.text) for tick in scale.ticks),
        band=None,
        stops=tuple(
            LegendStop(k / (len(scale.bars) - 1), bar.colour) for k, bar in enumerate(scale.bars)
        ),
        unmeasured_colour=grey,
        share_clipped=0.0,
        share_unmeasured=0.0,
    )


def swatches_of(scale: Scale) -> tuple[tuple[str, str], ...]:
    """Return the scale's other colours with their words; the grey is the legend's own."""
    grey = unmeasured_hex()
    return tuple((colour, words) for colour, words in scale.swatches if colour != grey)
