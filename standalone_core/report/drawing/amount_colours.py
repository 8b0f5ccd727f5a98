"""Colours of a study beside the map of deviations: amounts without a sign, and the groups.

The map of amounts (standard deviation, share of crowns) is one arm of a helix in OKLab as in
:mod:`.colour`, from nearly white to a dark plum: lightness falls evenly and carries the value by
itself; its hue is none of the diverging map's, so that an amount is never read as excess.

The groups' colours differ in lightness and hue, and stay apart under each kind of dichromacy;
every group has a marker of its own as well, so that none rests on colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from ...arrays import FloatArray
from ...errors import SettingError
from .deviation_colours import (
    ColourArray,
    linear_to_srgb,
    oklab_to_linear,
    unmeasured_colour,
)

ZERO_LIGHTNESS, MOST_LIGHTNESS = 0.975, 0.33
MOST_CHROMA = 0.13
MOST_HUE_DEG, HUE_TURN_DEG = 325.0, 50.0  # plum at the limit, from a pale yellow-green
STEPS = 512

# OKLab lightness, chroma, hue in degrees, and matplotlib's name of the marker.
_GROUPS = (
    (0.45, 0.075, 195.0, "o"),  # deep teal
    (0.70, 0.150, 62.0, "s"),  # amber
    (0.52, 0.190, 328.0, "^"),  # plum
    (0.74, 0.100, 245.0, "D"),  # sky
    (0.34, 0.060, 60.0, "v"),  # umber
    (0.82, 0.150, 112.0, "P"),  # lime
    (0.38, 0.130, 285.0, "X"),  # indigo
    (0.60, 0.140, 10.0, "*"),  # rose
)


@dataclass(frozen=True)
class GroupStyle:
    """How a group is drawn: ``#rrggbb`` and a marker of matplotlib's."""

    colour: str
    marker: str


def group_style(index: int) -> GroupStyle:
    """Return the style of a study's group by its place; after eight groups they repeat."""
    lightness, chroma, hue, marker = _GROUPS[index % len(_GROUPS)]
    return GroupStyle(_hex(_srgb(lightness, chroma, hue)), marker)


def amount_colours(values: ArrayLike, limit: float) -> ColourArray:
    """Colour amounts from 0 to a limit; what lies beyond takes the colour of the limit.

    Parameters
    ----------
    values : (n,) array_like of float
        Not negative; NaN where nothing was measured.
    limit : float
        Where the map ends, in the values' unit.

    Returns
    -------
    (n, 3) uint8
        sRGB; NaN becomes the grey of what was not measured.

    Raises
    ------
    SettingError
        A limit that is not a positive number.
    """
    if not (np.isfinite(limit) and limit > 0.0):
        raise SettingError(
            f"The colour limit is {limit!r}.",
            subject="limit",
            remedy="Give a positive number.",
        )
    scaled = np.clip(np.asarray(values, dtype=np.float64) * (STEPS / limit), 0.0, STEPS)
    index = np.rint(np.where(np.isnan(scaled), STEPS + 1.0, scaled)).astype(np.intp)
    return np.take(_table(), index, axis=0)


def amount_hex(share: float) -> str:
    """Colour of an amount as share of the limit (0…1) as ``#rrggbb``."""
    return _hex(_table()[round(STEPS * min(max(share, 0.0), 1.0))] / 255.0)


@cache
def _table() -> ColourArray:
    """Colours from 0 to the limit, then the grey of what was not measured."""
    share = np.linspace(0.0, 1.0, STEPS + 1)
    turn = np.radians(HUE_TURN_DEG)
    lightness = ZERO_LIGHTNESS + (MOST_LIGHTNESS - ZERO_LIGHTNESS) * share
    chroma = MOST_CHROMA * np.sin(share * turn) / np.sin(turn)
    hue = np.radians(MOST_HUE_DEG) + (1.0 - share) * turn
    lab = np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)
    srgb = np.rint(255.0 * linear_to_srgb(oklab_to_linear(lab)))
    table: ColourArray = np.vstack([srgb, unmeasured_colour()]).astype(np.uint8)
    table.setflags(write=False)
    return table


def _srgb(lightness: float, chroma: float, hue_deg: float) -> FloatArray:
    hue = np.radians(hue_deg)
    lab = np.array([lightness, chroma * np.cos(hue), chroma * np.sin(hue)])
    return linear_to_srgb(oklab_to_linear(lab))


def _hex(srgb: FloatArray) -> str:
    return "#{:02x}{:02x}{:02x}".format(*(round(255.0 * float(channel)) for channel in srgb))
