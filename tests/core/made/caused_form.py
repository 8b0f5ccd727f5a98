"""Form errors of three kinds: what no cause explains, and what estimators take for a covariance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, Wave
from made.caused import Flaws
from made.caused_shapes import CausedDesign

FORM_UM = 4.0


def form_error(
    rng: np.random.Generator,
    rms_um: float = FORM_UM,
    low_mm: float = 3.0,
    high_mm: float = 12.0,
    count: int = 6,
) -> Flaws:
    """Smooth form error: equal plane waves, their wavelengths even on a logarithmic scale."""
    lengths = np.exp(rng.uniform(np.log(low_mm), np.log(high_mm), count))
    return _waves(rng, lengths, np.ones(count), rms_um)


def rough_form_error(rng: np.random.Generator, rms_um: float = FORM_UM) -> Flaws:
    """Form error of all sizes: waves of 1 to 25 mm, amplitudes as the root of the wavelength.

    Neither a Gaussian nor a Matérn 3/2 covariance describes it.
    """
    lengths = np.exp(rng.uniform(0.0, np.log(25.0), 14))
    return _waves(rng, lengths, np.sqrt(lengths), rms_um)


def bumpy_form_error(
    rng: np.random.Generator, design: CausedDesign, rms_um: float = FORM_UM, count: int = 60
) -> Flaws:
    """Form error of single bumps and hollows, some of them large, between places without any.

    No sum of waves and no stationary covariance: (1 - r²/R²)³ within R of a place of the surface,
    R from 1 to 5 mm, even on a logarithmic scale, heights normal, and ``rms_um`` over the design.
    """
    middles = design.points[rng.choice(len(design.points), count)]
    radii = np.exp(rng.uniform(0.0, np.log(5.0), count))
    heights = rng.normal(size=count)
    bumps = Bumps(middles, radii, heights)
    size_um = design.rms_um(bumps(design.points, design.normals))
    return Flaws(shifts=(Bumps(middles, radii, rms_um / size_um * heights),))


@dataclass(frozen=True, eq=False)
class Bumps:
    """Smooth caps in space about places: middles (k, 3), radii (k,), heights (k,), mm."""

    middles: FloatArray
    radii: FloatArray
    heights: FloatArray

    def __call__(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Shift along the normals, (n,), mm."""
        total = np.zeros(len(points))
        for middle, radius, height in zip(self.middles, self.radii, self.heights, strict=True):
            share = 1.0 - np.sum((points - middle) ** 2, axis=1) / radius**2
            total += height * np.maximum(share, 0.0) ** 3
        return total


def _waves(
    rng: np.random.Generator, lengths: FloatArray, amplitudes: FloatArray, rms_um: float
) -> Flaws:
    """Plane waves of random directions and phases; their mean squares add up to that of rms."""
    amplitudes = amplitudes * rms_um * np.sqrt(2.0 / np.sum(amplitudes**2))
    waves = []
    for length, amplitude in zip(lengths, amplitudes, strict=True):
        x, y, z = rng.normal(size=3)
        phase = float(rng.uniform(0.0, 360.0))
        waves.append(Wave((x, y, z), float(length), float(amplitude), phase))
    return Flaws(ProductionErrors(waves=tuple(waves)))


FORMS: dict[str, Callable[[np.random.Generator, CausedDesign, float], Flaws]] = {
    "smooth": lambda rng, design, rms_um: form_error(rng, rms_um),
    "rough": lambda rng, design, rms_um: rough_form_error(rng, rms_um),
    "bumpy": bumpy_form_error,
}
"""The three kinds by name, each from a generator, a design and a size in µm."""
