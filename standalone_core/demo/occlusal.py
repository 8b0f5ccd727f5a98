"""The occlusal relief of the demo crown: cusps, ridges and fissures as one height formula.

Every cusp and every ridge is a rounded cone ``h - a (sqrt(|A (q - c)|² + e²) - e)`` over the
plane across the path of insertion. The relief is their smooth maximum (log-sum-exp), so that
the fissures are the valleys in which neighbouring cones meet, as on a tooth; the entropy of
the smooth maximum's weights, largest in these valleys, cuts them a little deeper. The form and
all numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Complexes = NDArray[Any]
"""Real arrays, or complex ones while a derivative is taken by a complex step."""


@dataclass(frozen=True)
class Cusp:
    """A rounded cone with its own ridge direction.

    Attributes
    ----------
    x_mm, y_mm : float
        Place of the tip; x points to mesial, y to buccal.
    height_mm : float
        Height of the tip above the mean margin.
    ridge_deg : float
        Direction of the ridge in the occlusal plane, from x.
    slope_along, slope_across : float
        Fall per mm along the ridge and across it.
    roundness_mm : float
        The tip's rounding e in the formula.
    """

    x_mm: float
    y_mm: float
    height_mm: float
    ridge_deg: float
    slope_along: float
    slope_across: float
    roundness_mm: float


THREE_BUCCAL_TWO_LINGUAL = (
    Cusp(2.55, 2.75, 6.75, 245.0, 0.62, 0.86, 0.55),
    Cusp(-0.75, 3.05, 6.60, 268.0, 0.62, 0.88, 0.50),
    Cusp(-3.35, 1.55, 6.15, 330.0, 0.60, 0.84, 0.50),
    Cusp(2.30, -2.85, 7.15, 118.0, 0.70, 0.92, 0.45),
    Cusp(-1.85, -2.90, 6.95, 70.0, 0.70, 0.92, 0.45),
)
"""Mesiobuccal, distobuccal, distal, mesiolingual, distolingual: a lower first molar."""

TWO_BUCCAL_TWO_LINGUAL = (
    THREE_BUCCAL_TWO_LINGUAL[0],
    Cusp(-1.95, 2.75, 6.55, 300.0, 0.62, 0.86, 0.50),
    *THREE_BUCCAL_TWO_LINGUAL[3:],
)
"""The variant with four cusps, as a lower second molar has."""

MARGINAL_RIDGES = (
    Cusp(4.05, -0.15, 5.85, 92.0, 0.16, 1.05, 0.45),
    Cusp(-4.25, -0.75, 5.55, 78.0, 0.18, 1.05, 0.45),
)
"""Mesial and distal marginal ridge: cones drawn out along the ridge."""


@dataclass(frozen=True)
class OcclusalRelief:
    """Height of the occlusal surface over the plane across the path of insertion.

    Attributes
    ----------
    cones : tuple of Cusp
        Cusps and marginal ridges.
    fissure_roundness_mm : float
        Temperature k of the smooth maximum: larger is rounder and shallower.
    groove_depth_mm : float
        Depth factor of the entropy term that deepens the fissures.
    groove_width_mm : float
        Temperature of the weights in the entropy term.
    extra_roundness_mm : float
        Added to the rounding of every cone (the die under the crown is smoother).
    waviness_mm : float
        The plane is bent by sines of this size first, so that no fissure runs straight.
    """

    cones: tuple[Cusp, ...]
    fissure_roundness_mm: float = 0.09
    groove_depth_mm: float = 0.22
    groove_width_mm: float = 0.16
    extra_roundness_mm: float = 0.0
    waviness_mm: float = 0.16

    def height(self, x: Complexes, y: Complexes) -> Complexes:
        """Height in mm above the mean margin at the given places.

        Parameters
        ----------
        x, y : (...) array, mm
            Places in the occlusal plane, real or complex (for a complex step).
        """
        x, y = (
            x + self.waviness_mm * np.sin(1.9 * y + 0.7),
            y + self.waviness_mm * np.sin(1.6 * x + 1.9),
        )
        cones = [self._cone(cone, x, y) for cone in self.cones]
        top = np.maximum.reduce([cone.real for cone in cones])
        height: Complexes = top + self.fissure_roundness_mm * np.log(
            sum(np.exp((cone - top) / self.fissure_roundness_mm) for cone in cones)
        )
        if self.groove_depth_mm:
            height = height - self.groove_depth_mm * self._entropy(cones, top)
        return height

    def _cone(self, cone: Cusp, x: Complexes, y: Complexes) -> Complexes:
        angle = np.deg2rad(cone.ridge_deg)
        along = (x - cone.x_mm) * np.cos(angle) + (y - cone.y_mm) * np.sin(angle)
        across = (y - cone.y_mm) * np.cos(angle) - (x - cone.x_mm) * np.sin(angle)
        fall2 = (cone.slope_along * along) ** 2 + (cone.slope_across * across) ** 2
        rounding = cone.slope_across * (cone.roundness_mm + self.extra_roundness_mm)
        value: Complexes = cone.height_mm - (np.sqrt(fall2 + rounding**2) - rounding)
        return value

    def _entropy(self, cones: list[Complexes], top: Complexes) -> Complexes:
        """Entropy of the weights e^(z/T): 0 on a cusp, ln 2 in the valley between two."""
        lifted = [(cone - top) / self.groove_width_mm for cone in cones]
        shares = [np.exp(value) for value in lifted]
        total = sum(shares)
        mean = sum(share * value for share, value in zip(shares, lifted, strict=True)) / total
        entropy: Complexes = np.log(total) - mean
        return entropy
