"""The margin line as it is drawn: pieces in the colours of the margin profile. Needs no Blender."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...standalone_core.report.drawing.deviation_colours import deviation_colours

if TYPE_CHECKING:
    from ...standalone_core.deviation.margin_profile import MarginProfile

HEAD = "Line: margin, by place"
BEYOND = "Yellow rim: beyond its limits"


@dataclass(frozen=True, eq=False)
class ProfileLine:
    """Straight pieces that make up the line, two to a place.

    Attributes
    ----------
    points_mm : (s, 2, 3) float32
        Where each piece begins and ends, in the design's frame.
    colours : (s, 3) uint8
    beyond : (s,) bool
        Whether its place is beyond what is allowed of a margin.
    """

    points_mm: NDArray[np.float32]
    colours: NDArray[np.uint8]
    beyond: NDArray[np.bool_]


def profile_line(profile: MarginProfile, limit_um: float, palette: str) -> ProfileLine:
    """Cut a margin line half-way between its places, each piece in the colour of its place.

    Places that did not count have the colour of what was not measured.

    Parameters
    ----------
    profile : MarginProfile
    limit_um : float
        The colours run from −limit to +limit, µm.
    palette : str
        One of ``colour.PALETTES``.
    """
    places = profile.points_mm
    middles = 0.5 * (places + np.roll(places, -1, axis=0))
    before = np.roll(middles, 1, axis=0)
    if not profile.closed:
        before[0], middles[-1] = places[0], places[-1]
    pieces = np.stack([before, places, places, middles], axis=1).reshape(-1, 2, 3)
    shown = np.where(profile.counted, profile.deviation_um, np.nan)
    colours = deviation_colours(1e-3 * shown, 1e-3 * limit_um, palette)
    return ProfileLine(
        points_mm=pieces.astype(np.float32),
        colours=np.repeat(colours, 2, axis=0),
        beyond=np.repeat(profile.beyond, 2),
    )
