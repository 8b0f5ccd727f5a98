"""The axis of figures that go around the crown: from mesial over buccal, distal and lingual."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import FloatArray, IntArray
from ...deviation.margin_directions import ZERO_WORDS, Directions
from ..drawing.matplotlib_figure import SMALL

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FULL_DEG = 360
_QUARTERS_DEG = (0, 90, 180, 270, 360)
_GAP_DEG = 15.0  # neighbours farther apart are the ends of an open line


@dataclass(frozen=True)
class AngleAxis:
    """Where angles about the path of insertion lie on an axis from 0 to 360.

    Where mesial and buccal are known, buccal comes before lingual: angles then run clockwise seen
    from occlusal on the one side of the mouth, and counter-clockwise on the other.

    Attributes
    ----------
    directions : Directions or None
        None where it is not known where the angles begin.
    """

    directions: Directions | None

    @property
    def clockwise(self) -> bool:
        """Whether the axis runs against the angles."""
        known = self.directions
        return known is not None and known.zero_name == "mesial" and known.buccal_deg > 180.0

    @property
    def degrees(self) -> IntArray:
        """The whole angle at 0, 1, …, 360 on the axis, (361,)."""
        places = np.arange(FULL_DEG + 1)
        return (-places if self.clockwise else places) % FULL_DEG

    def around(self, angle_deg: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return places on the axis and values, in order, all around and a little beyond.

        Parameters
        ----------
        angle_deg, values : (p,) float

        Returns
        -------
        places, values : (q,) float
            NaN within a gap that is wider than 15°.
        """
        place = np.mod(-angle_deg if self.clockwise else angle_deg, FULL_DEG)
        order = np.argsort(place, kind="stable")
        place, values = place[order], values[order]
        place = np.concatenate([place[-1:] - FULL_DEG, place, place[:1] + FULL_DEG])
        values = np.concatenate([values[-1:], values, values[:1]])
        gaps = np.flatnonzero(np.diff(place) > _GAP_DEG) + 1
        return np.insert(place, gaps, np.nan), np.insert(values, gaps, np.nan)

    def name(self, axes: Axes) -> None:
        """Set the axis' ends and ticks, and the label of the whole figure."""
        axes.set_xlim(0, FULL_DEG)
        axes.set_xticks(_QUARTERS_DEG, [self._words(place) for place in _QUARTERS_DEG])
        axes.get_xticklabels()[0].set_horizontalalignment("left")
        axes.get_xticklabels()[-1].set_horizontalalignment("right")
        known = self.directions
        start = "angle" if known is None else f"from {ZERO_WORDS[known.zero_name]}"
        way = "clockwise" if self.clockwise else "counter-clockwise"
        axes.figure.supxlabel(f"{start}, {way} seen from occlusal", fontsize=SMALL)

    def _words(self, place: int) -> str:
        """Name a quarter: its direction where that is known, else its angle."""
        number = f"{place}°"
        if self.directions is None:
            return number
        angle = (-place if self.clockwise else place) % FULL_DEG
        words = self.directions.words(float(angle))
        return number if " " in words else words
