"""Our diverging colour map for deviations, built from a formula in the OKLab colour space.

Each arm of the map is a helix in OKLab (B. Ottosson, "A perceptual color space for image
processing", 2020). With s from 0 at zero deviation to 1 at the limit, and Φ the turn of hue,

    L(s) = L₀ + (L₁ − L₀)·s,    C(s) = C₁·sin(sΦ) / sin Φ,    h(s) = h₁ ∓ (1 − s)·Φ.

In the a-b plane C(s), h(s) run along a circle through the neutral axis at constant speed, so
lightness falls evenly, every step has the same OKLab length, and the two arms, which share L₀,
L₁, C₁ and Φ and differ in hue only, mirror each other in lightness and in step. Missing material
goes from aqua to blue, excess from sand to brick red: hues that stay apart under each kind of
dichromacy (tested with the matrices of Machado, Oliveira & Fernandes 2009). What was not
measured has a neutral grey that is no colour of the map. The transfer function is that of sRGB
(IEC 61966-2-1).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import SettingError

FloatArray = NDArray[np.float64]
ColourArray = NDArray[np.uint8]

ZERO_LIGHTNESS = 0.965
END_LIGHTNESS = 0.44
END_CHROMA = 0.165
EXCESS_HUE_DEG = 32.0  # brick red at the positive limit
LACK_HUE_DEG = 265.0  # blue at the negative limit
HUE_TURN_DEG = 45.0  # towards sand and aqua near zero
UNMEASURED_LIGHTNESS = 0.55

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


def srgb_to_linear(encoded: ArrayLike) -> FloatArray:
    """Decode sRGB values in 0…1 to linear light (IEC 61966-2-1)."""
    value = np.asarray(encoded, dtype=np.float64)
    linear: FloatArray = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return linear


def linear_to_srgb(linear: ArrayLike) -> FloatArray:
    """Encode linear light as sRGB, cut to 0…1 (IEC 61966-2-1)."""
    value = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    encoded: FloatArray = np.where(
        value <= 0.0031308, 12.92 * value, 1.055 * value ** (1.0 / 2.4) - 0.055
    )
    return encoded


def linear_to_oklab(linear: ArrayLike) -> FloatArray:
    """Turn linear sRGB (…, 3) into OKLab L, a, b (…, 3)."""
    lab: FloatArray = np.cbrt(np.asarray(linear, dtype=np.float64) @ _CONES.T) @ _OPPONENT.T
    return lab


def oklab_to_linear(lab: ArrayLike) -> FloatArray:
    """Turn OKLab L, a, b (…, 3) into linear sRGB (…, 3), not cut to what a screen can show."""
    cones = np.asarray(lab, dtype=np.float64) @ np.linalg.inv(_OPPONENT).T
    linear: FloatArray = cones**3 @ np.linalg.inv(_CONES).T
    return linear


def map_oklab(position: ArrayLike) -> FloatArray:
    """Evaluate the map's formula.

    Parameters
    ----------
    position : (n,) array_like of float
        Deviation over limit, from −1 to 1.

    Returns
    -------
    (n, 3) float
        L, a, b in OKLab.
    """
    signed = np.asarray(position, dtype=np.float64)
    share = np.abs(signed)
    turn = np.radians(HUE_TURN_DEG)
    lightness = ZERO_LIGHTNESS + (END_LIGHTNESS - ZERO_LIGHTNESS) * share
    chroma = END_CHROMA * np.sin(share * turn) / np.sin(turn)
    hue = np.where(
        signed >= 0.0,
        np.radians(EXCESS_HUE_DEG) + (1.0 - share) * turn,
        np.radians(LACK_HUE_DEG) - (1.0 - share) * turn,
    )
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)


def map_srgb(position: ArrayLike) -> FloatArray:
    """Colours of the map as sRGB in 0…1, (n, 3), at deviation over limit from −1 to 1."""
    return linear_to_srgb(oklab_to_linear(map_oklab(position)))


def deviation_colours(values_mm: ArrayLike, limit_mm: float) -> ColourArray:
    """Colour deviations; values beyond the limit take the colour of the limit.

    Parameters
    ----------
    values_mm : (n,) array_like of float
        Signed deviations; NaN where nothing was measured.
    limit_mm : float
        The map runs from −limit to +limit.

    Returns
    -------
    (n, 3) uint8
        sRGB; NaN becomes the grey of :func:`unmeasured_colour`.

    Raises
    ------
    SettingError
        A limit that is not a positive number.
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
    index = np.rint(scaled).astype(np.intp) + STEPS_PER_ARM
    return np.take(_table(), index, axis=0)


def unmeasured_colour() -> tuple[int, int, int]:
    """Return the neutral grey (sRGB) of what was not measured; never a colour of the map."""
    red, green, blue = (int(channel) for channel in _table()[-1])
    return red, green, blue


def hex_colour(position: float) -> str:
    """Colour of the map at deviation over limit (−1…1) as ``#rrggbb``."""
    return _hex(map_srgb(np.array([np.clip(position, -1.0, 1.0)]))[0])


def unmeasured_hex() -> str:
    """Grey of what was not measured as ``#rrggbb``."""
    return "#{:02x}{:02x}{:02x}".format(*unmeasured_colour())


@cache
def _table() -> ColourArray:
    """Colours from −limit to +limit, then the grey of what was not measured."""
    position = np.linspace(-1.0, 1.0, 2 * STEPS_PER_ARM + 1)
    grey = linear_to_srgb(oklab_to_linear(np.array([[UNMEASURED_LIGHTNESS, 0.0, 0.0]])))
    # One value for the three channels: the rounded matrices leave grey off by some 1e-8.
    colours = np.vstack([map_srgb(position), np.full((1, 3), grey.mean())])
    table: ColourArray = np.rint(255.0 * colours).astype(np.uint8)
    table.setflags(write=False)
    return table


def _hex(srgb: FloatArray) -> str:
    return "#{:02x}{:02x}{:02x}".format(*(round(255.0 * float(channel)) for channel in srgb))
