"""Our colour maps for deviations, built from formulas in the OKLab colour space.

Each arm of a diverging map is a helix in OKLab (B. Ottosson, "A perceptual color space for image
processing", 2020). With s from 0 at zero deviation to 1 at the limit, and Φ the turn of hue,

    L(s) = L₀ + (L₁ − L₀)·s,    C(s) = C₁·sin(sΦ) / sin Φ,    h(s) = h₁ ∓ (1 − s)·Φ.

In the a-b plane C(s), h(s) run along a circle through the neutral axis at constant speed, so
lightness falls evenly, every step has the same OKLab length, and the two arms, which share L₀,
L₁, C₁ and Φ and differ in hue only, mirror each other in lightness and in step. Missing material
goes from aqua to blue, excess from sand to brick red: hues that stay apart under each kind of
dichromacy (tested with the matrices of Machado, Oliveira & Fernandes 2009). What was not
measured has a neutral grey that is no colour of the map. The transfer function is that of sRGB
(IEC 61966-2-1).

The grey map is for printers without colour, where two arms cannot be told apart: lightness rises
evenly from missing material (dark) to excess (light), and what was not measured is black.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...arrays import FloatArray
from ...errors import SettingError

ColourArray = NDArray[np.uint8]


@dataclass(frozen=True)
class Palette:
    """The numbers of one colour map.

    Attributes
    ----------
    title, words : str
        Its name, and what it is for, as people read them.
    missing, zero, excess : str
        The colours of missing material, of no deviation and of excess, in words.
    zero_lightness, excess_lightness, missing_lightness : float
        OKLab lightness at zero, at the positive and at the negative limit.
    chroma, excess_hue_deg, missing_hue_deg, hue_turn_deg : float
        Chroma and hues at the limits, and how far hue turns on the way from zero.
    unmeasured_lightness : float
        Of the neutral colour of what was not measured.
    refused_lightness : float
        Of that of points without a mutual match.
    """

    title: str
    words: str
    missing: str
    zero: str
    excess: str
    zero_lightness: float
    excess_lightness: float
    missing_lightness: float
    chroma: float
    excess_hue_deg: float
    missing_hue_deg: float
    hue_turn_deg: float
    unmeasured_lightness: float
    refused_lightness: float


STANDARD, STRONG, GREY = "standard", "strong", "grey"
PALETTES: Mapping[str, Palette] = MappingProxyType(
    {
        STANDARD: Palette(
            "Standard",
            "Blue where material is missing, brick red where there is too much",
            "blue",
            "nearly white",
            "brick red",
            zero_lightness=0.965,
            excess_lightness=0.44,
            missing_lightness=0.44,
            chroma=0.165,
            excess_hue_deg=32.0,
            missing_hue_deg=265.0,
            hue_turn_deg=45.0,
            unmeasured_lightness=0.55,
            refused_lightness=0.2,
        ),
        STRONG: Palette(
            "Strong Contrast",
            "The same two colours, darker at the limits: for projectors and bright rooms",
            "dark blue",
            "nearly white",
            "dark red",
            zero_lightness=0.965,
            excess_lightness=0.36,
            missing_lightness=0.36,
            chroma=0.145,
            excess_hue_deg=28.0,
            missing_hue_deg=270.0,
            hue_turn_deg=75.0,
            unmeasured_lightness=0.55,
            refused_lightness=0.2,
        ),
        GREY: Palette(
            "Grey",
            "Dark where material is missing, light where there is too much, black where nothing "
            "was measured: for printing without colour",
            "dark grey",
            "grey",
            "nearly white",
            zero_lightness=0.61,
            excess_lightness=0.97,
            missing_lightness=0.25,
            chroma=0.0,
            excess_hue_deg=0.0,
            missing_hue_deg=0.0,
            hue_turn_deg=45.0,
            unmeasured_lightness=0.0,
            refused_lightness=0.0,
        ),
    }
)

STEPS_PER_ARM = 512

# Linear sRGB to cone response, and its cube root to OKLab (Ottosson 2020).
_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_OPPONENT = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def linear_to_srgb(linear: ArrayLike) -> FloatArray:
    """Encode linear light as sRGB, cut to 0…1 (IEC 61966-2-1)."""
    value = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    encoded: FloatArray = np.where(
        value <= 0.0031308, 12.92 * value, 1.055 * value ** (1.0 / 2.4) - 0.055
    )
    return encoded


def oklab_to_linear(lab: ArrayLike) -> FloatArray:
    """Turn OKLab L, a, b (…, 3) into linear sRGB (…, 3), not cut to what a screen can show."""
    cones = np.asarray(lab, dtype=np.float64) @ np.linalg.inv(_OPPONENT).T
    linear: FloatArray = cones**3 @ np.linalg.inv(_CONES).T
    return linear


def map_oklab(position: ArrayLike, palette: str = STANDARD) -> FloatArray:
    """Evaluate the map's formula.

    Parameters
    ----------
    position : (n,) array_like of float
        Deviation over limit, from −1 to 1.
    palette : str
        One of ``PALETTES``.

    Returns
    -------
    (n, 3) float
        L, a, b in OKLab.
    """
    signed = np.asarray(position, dtype=np.float64)
    share = np.abs(signed)
    chosen = _palette(palette)
    turn = np.radians(chosen.hue_turn_deg)
    ends = np.where(signed >= 0.0, chosen.excess_lightness, chosen.missing_lightness)
    lightness = chosen.zero_lightness + (ends - chosen.zero_lightness) * share
    chroma = chosen.chroma * np.sin(share * turn) / np.sin(turn)
    hue = np.where(
        signed >= 0.0,
        np.radians(chosen.excess_hue_deg) + (1.0 - share) * turn,
        np.radians(chosen.missing_hue_deg) - (1.0 - share) * turn,
    )
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)


def map_srgb(position: ArrayLike, palette: str = STANDARD) -> FloatArray:
    """Colours of the map as sRGB in 0…1, (n, 3), at deviation over limit from −1 to 1."""
    return linear_to_srgb(oklab_to_linear(map_oklab(position, palette)))


def deviation_colours(
    values_mm: ArrayLike,
    limit_mm: float,
    palette: str = STANDARD,
    refused: ArrayLike | None = None,
) -> ColourArray:
    """Colour deviations; values beyond the limit take the colour of the limit.

    Parameters
    ----------
    values_mm : (n,) array_like of float
        Signed deviations; NaN where nothing was measured.
    limit_mm : float
        The map runs from −limit to +limit.
    palette : str
        One of ``PALETTES``.
    refused : (n,) array_like of bool, optional
        Which points have no mutual match.

    Returns
    -------
    (n, 3) uint8
        sRGB; NaN becomes the grey of :func:`unmeasured_colour`, or of :func:`refused_colour`.

    Raises
    ------
    SettingError
        A limit that is not a positive number, or no such palette.
    """
    if not (np.isfinite(limit_mm) and limit_mm > 0.0):
        raise SettingError(
            f"The colour limit is {limit_mm!r} mm.",
            subject="limit_mm",
            remedy="Give a positive number of millimetres.",
        )
    values = np.asarray(values_mm, dtype=np.float64)
    scaled = np.clip(values * (STEPS_PER_ARM / limit_mm), -STEPS_PER_ARM, STEPS_PER_ARM)
    # NaN passes through clip; it is sent to the grey kept behind the last colour of the table.
    np.copyto(scaled, STEPS_PER_ARM + 1.0, where=np.isnan(scaled))
    if refused is not None:
        np.copyto(scaled, STEPS_PER_ARM + 2.0, where=np.asarray(refused, dtype=bool))
    index = np.rint(scaled).astype(np.intp) + STEPS_PER_ARM
    return np.take(_table(palette), index, axis=0)


def unmeasured_colour(palette: str = STANDARD) -> tuple[int, int, int]:
    """Return the neutral colour (sRGB) of what was not measured; never a colour of the map."""
    red, green, blue = (int(channel) for channel in _table(palette)[-2])
    return red, green, blue


def refused_colour(palette: str = STANDARD) -> tuple[int, int, int]:
    """Return the neutral colour (sRGB) of points without a mutual match.

    In the grey palette, which has no room for another grey, that of what was not measured.
    """
    red, green, blue = (int(channel) for channel in _table(palette)[-1])
    return red, green, blue


def hex_colours(positions: ArrayLike, palette: str = STANDARD) -> list[str]:
    """Colours of the map at deviations over limit (−1…1), (n,), each as ``#rrggbb``."""
    return [_hex(colour) for colour in map_srgb(np.clip(positions, -1.0, 1.0), palette)]


def hex_colour(position: float, palette: str = STANDARD) -> str:
    """Colour of the map at one deviation over limit as ``#rrggbb``."""
    return hex_colours([position], palette)[0]


def unmeasured_hex(palette: str = STANDARD) -> str:
    """Colour of what was not measured as ``#rrggbb``."""
    return "#{:02x}{:02x}{:02x}".format(*unmeasured_colour(palette))


def refused_hex(palette: str = STANDARD) -> str:
    """Colour of points without a mutual match as ``#rrggbb``."""
    return "#{:02x}{:02x}{:02x}".format(*refused_colour(palette))


@cache
def _table(palette: str) -> ColourArray:
    """Colours from −limit to +limit, then of what was not measured and of what was refused."""
    position = np.linspace(-1.0, 1.0, 2 * STEPS_PER_ARM + 1)
    chosen = _palette(palette)
    neutral = np.zeros((2, 3))
    neutral[:, 0] = chosen.unmeasured_lightness, chosen.refused_lightness
    greys = linear_to_srgb(oklab_to_linear(neutral))
    # One value for the three channels: the rounded matrices leave grey off by some 1e-8.
    even = np.repeat(greys.mean(axis=1)[:, None], 3, axis=1)
    colours = np.vstack([map_srgb(position, palette), even])
    table: ColourArray = np.rint(255.0 * colours).astype(np.uint8)
    table.setflags(write=False)
    return table


def _palette(name: str) -> Palette:
    if name not in PALETTES:
        raise SettingError(
            f"There is no palette {name!r}.",
            subject="palette",
            remedy=f"Choose from {', '.join(PALETTES)}.",
        )
    return PALETTES[name]


def _hex(srgb: FloatArray) -> str:
    return "#{:02x}{:02x}{:02x}".format(*(round(255.0 * float(channel)) for channel in srgb))
