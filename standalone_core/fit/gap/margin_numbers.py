"""What marginal measures around a crown come to: numbers, sectors and harmonics."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...arrays import FloatArray
from ...deviation.margin_directions import Directions
from .result import Harmonic, Sector

EXTENSION_LIMIT_UM = 50.0
"""Beyond ± this, µm, a place counts as over- or under-extended; ours, no source."""

SECTORS = 8
_ORDERS = (0, 1, 2)
_LARGEST_HOLE_DEG = 90.0  # between measured places: over a wider one a harmonic is a guess
_LEAST_UM = 0.01  # an amplitude below this has no direction


def numbers_of(
    angle_deg: FloatArray,
    gap_um: FloatArray,
    absolute_um: FloatArray,
    extension_um: FloatArray,
    limit_um: float,
    directions: Directions,
) -> dict[str, Any]:
    """Return the fields of :class:`.result.MarginalGap` that are single numbers and words.

    Parameters
    ----------
    angle_deg, gap_um, absolute_um, extension_um : (p,) float
        NaN where not measured.
    limit_um : float
        For the gap. A gap below zero is beyond nothing: the margin is closed there.
    directions : Directions
    """
    measured = np.isfinite(gap_um)
    coverage = float(measured.mean())
    names = ("mean_um", "sd_um", "most_um", "most_deg", "absolute_mean_um", "absolute_most_um")
    shares = ("over_share", "under_share", "share_beyond")
    if not measured.any():
        empty = dict.fromkeys((*names, *shares), np.nan)
        return {**empty, "most_where": "", "coverage": coverage, "within": False}
    gap, extension, absolute = gap_um[measured], extension_um[measured], absolute_um[measured]
    most_deg = float(angle_deg[np.nanargmax(gap_um)])
    sizes = (gap.mean(), gap.std(), gap.max(), most_deg, absolute.mean(), absolute.max())
    over, under = extension > EXTENSION_LIMIT_UM, extension < -EXTENSION_LIMIT_UM
    beyond = gap > limit_um
    return {
        **dict(zip(names, map(float, sizes), strict=True)),
        **{k: float(part.mean()) for k, part in zip(shares, (over, under, beyond), strict=True)},
        "most_where": directions.words(most_deg),
        "coverage": coverage,
        "within": not beyond.any(),
    }


def sectors_of(
    angle_deg: FloatArray,
    gap_um: FloatArray,
    absolute_um: FloatArray,
    extension_um: FloatArray,
    limit_um: float,
    directions: Directions,
) -> tuple[Sector, ...]:
    """Return means over eight sectors of 45°, the first about 0°; NaN for one without a place.

    Parameters are those of :func:`numbers_of`.
    """
    wide = 360.0 / SECTORS
    number = np.floor(angle_deg / wide + 0.5).astype(np.int64) % SECTORS
    measured = np.isfinite(gap_um)
    sectors = []
    for k in range(SECTORS):
        inside = measured & (number == k)
        columns = (gap_um, absolute_um, extension_um, (gap_um > limit_um).astype(np.float64))
        means = [float(v[inside].mean()) if inside.any() else np.nan for v in columns]
        name = _sector_name(k * wide, directions)
        sectors.append(Sector(name, (k - 0.5) * wide % 360.0, (k + 0.5) * wide, *means))
    return tuple(sectors)


def _sector_name(middle_deg: float, directions: Directions) -> str:
    words = directions.words(middle_deg)
    return f"{middle_deg:g}°" if words.startswith("at ") else words


def harmonics_of(
    angle_deg: FloatArray, values_um: FloatArray, of: str, directions: Directions
) -> tuple[Harmonic, ...]:
    """Fit a₀ + Σ A_k cos k(θ − φ_k), k = 1 and 2, by least squares to the measured places.

    Order 1 of the gap is a tilt, of the extension a shift of the crown towards φ₁; order 2 is an
    oval whose long axis lies at φ₂ (roundness metrology calls two undulations per turn ovality;
    ISO 12181, from memory).

    Parameters
    ----------
    angle_deg, values_um : (p,) float
        NaN where not measured.
    of : "gap" or "extension"
    directions : Directions

    Returns
    -------
    tuple of Harmonic
        Empty where more than 90° in a row were not measured.
    """
    measured = np.isfinite(values_um)
    if not _all_around(angle_deg[measured]):
        return ()
    theta = np.radians(angle_deg[measured])
    waves = [wave(k * theta) for k in _ORDERS[1:] for wave in (np.cos, np.sin)]
    columns = np.stack([np.ones_like(theta), *waves], axis=1)
    found = np.linalg.lstsq(columns, values_um[measured], rcond=None)[0]
    harmonics = [Harmonic(of, 0, float(found[0]), np.nan, "")]
    for k in _ORDERS[1:]:
        cosine, sine = found[2 * k - 1 : 2 * k + 1]
        amplitude = float(np.hypot(cosine, sine))
        angle = np.nan
        if amplitude >= _LEAST_UM:
            angle = float(np.degrees(np.arctan2(sine, cosine)) % 360.0) / k
        harmonics.append(Harmonic(of, k, amplitude, angle, _where(k, angle, directions)))
    return tuple(harmonics)


def _all_around(angle_deg: FloatArray) -> bool:
    """Whether no hole between angles is too wide."""
    if not len(angle_deg):
        return False
    ring = np.sort(angle_deg % 360.0)
    holes = np.diff(ring, append=ring[0] + 360.0)
    return bool(holes.max() <= _LARGEST_HOLE_DEG)


def _where(order: int, angle_deg: float, directions: Directions) -> str:
    """A harmonic's maxima in words."""
    if not np.isfinite(angle_deg):
        return ""
    turn = 360.0 / order
    return " and ".join(directions.words(angle_deg + k * turn) for k in range(order))
