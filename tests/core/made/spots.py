"""The form of the demo's spots in closed form.

A spot of the demo has the form h (1 − r²/R²)³ (``demo/production_errors.Cap``). Above a band t it
covers, on a plane, r ≤ ρ with ρ² = R² (1 − (t/h)^⅓), so that its area is π ρ² and its volume
∫ h (1 − r²/R²)³ dA = π R² h/4 · (1 − (t/h)^(4/3)): closed forms, derived here.
"""

from __future__ import annotations

import numpy as np
from cuspwise.standalone_core.arrays import FloatArray

RADIUS_MM = 0.5


def cap(points: FloatArray, height_mm: float, radius_mm: float = RADIUS_MM) -> FloatArray:
    """The demo's spot about the origin, mm."""
    share = (points[:, :2] ** 2).sum(axis=1) / radius_mm**2
    return height_mm * np.maximum(1.0 - share, 0.0) ** 3


def cap_area_mm2(height_um: float, band_um: float, radius_mm: float = RADIUS_MM) -> float:
    return np.pi * radius_mm**2 * (1.0 - (band_um / abs(height_um)) ** (1 / 3))


def cap_volume_mm3(height_um: float, band_um: float, radius_mm: float = RADIUS_MM) -> float:
    left = 1.0 - (band_um / abs(height_um)) ** (4 / 3)
    return np.pi * radius_mm**2 * 1e-3 * height_um / 4 * left
