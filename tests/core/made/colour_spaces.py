"""From sRGB to linear light and on to OKLab: the way back of what the product computes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

# Ottosson, A perceptual color space for image processing (2020): from linear sRGB to the cones'
# signals, and from their cube roots to L, a, b.
CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
OPPONENT = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def srgb_to_linear(encoded: ArrayLike) -> np.ndarray:
    """Decode sRGB values in 0…1 to linear light (IEC 61966-2-1)."""
    value = np.asarray(encoded, dtype=np.float64)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def linear_to_oklab(linear: ArrayLike) -> np.ndarray:
    """Turn linear sRGB (…, 3) into OKLab L, a, b (…, 3)."""
    return np.cbrt(np.asarray(linear, dtype=np.float64) @ CONES.T) @ OPPONENT.T
