"""Scale in all directions, along one, or per direction: from fitted sizes to rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from .averaged import Averaged
from .sizes import NORMAL_95
from .strain import parts_of, tensor_of

_NORMAL_99 = 2.5758293035489004
"""Quantile of the normal distribution for 99 % both ways: two of a strain's main values are told
apart only where that is sure, since one odd direction is what a build leaves."""


@dataclass(frozen=True, eq=False)
class Strain:
    """A crown's strain, ‰: how much longer it is in each direction.

    Attributes
    ----------
    parts : (6,) float
        xx, yy, zz, xy, yz, zx.
    covariance : (6, 6) float
    """

    parts: FloatArray
    covariance: FloatArray

    def along(self, direction: FloatArray) -> tuple[float, float]:
        """Return the strain along a unit vector and its standard error, ‰."""
        gradient = _gradient(direction, direction)
        return float(gradient @ self.parts), self.sd(gradient)

    def along_any(self) -> tuple[float, float]:
        """Return the strain of a scale in all directions and its standard error, ‰."""
        gradient = parts_of(np.eye(3)) / 3.0
        return float(gradient @ self.parts), self.sd(gradient)

    def with_scale_sd(self, permille: float) -> Strain:
        """Return the strain with an uncertainty of all directions alike added."""
        alike = parts_of(np.eye(3))
        return Strain(self.parts, self.covariance + permille**2 * np.outer(alike, alike))

    def sd(self, gradient: FloatArray) -> float:
        """Standard error of a combination (6,) of the parts."""
        return math.sqrt(max(float(gradient @ self.covariance @ gradient), 0.0))


@dataclass(frozen=True, eq=False)
class MainDirections:
    """A strain by its main directions.

    Attributes
    ----------
    directions : (3, 3) float
        Unit vectors in rows, that of the odd one out first.
    permille, sd_permille : (3,) float
    uniaxial : bool
        Whether the second and third agree within their uncertainty (99 %).
    cone_deg : float
        Half angle of the cone that holds the first direction with 95 %.
    """

    directions: FloatArray
    permille: FloatArray
    sd_permille: FloatArray
    uniaxial: bool
    cone_deg: float


def strain_of(evidence: Averaged, places: Sequence[int]) -> Strain:
    """Return the strain that stated members of the scale family make together.

    Parameters
    ----------
    evidence : Averaged
    places : sequence of int
        The members: scale and scale along the build direction, or scale per direction.
    """
    sizes, spread = evidence.sizes_of(places)
    ways = np.hstack([evidence.model.members[place].strains for place in places])
    return Strain(ways @ sizes, ways @ spread @ ways.T)


def main_directions(strain: Strain) -> MainDirections:
    """Find the main directions of a strain.

    Eigenvectors of the tensor, their uncertainty to first order: δλ = vᵀδEv, and the turn of
    vᵢ towards vⱼ is vᵢᵀδEvⱼ / (λᵢ − λⱼ).
    """
    values, vectors = np.linalg.eigh(tensor_of(strain.parts))
    # The odd one out is the eigenvalue that is farther from the middle one.
    first = 0 if values[1] - values[0] > values[2] - values[1] else 2
    order = [first, 1, 2 - first]
    values, rows = values[order], vectors.T[order]
    gradients = [_gradient(row, row) for row in rows]
    apart = strain.sd(gradients[1] - gradients[2])
    turns = [
        strain.sd(_gradient(rows[0], rows[k])) / max(abs(values[0] - values[k]), 1e-9)
        for k in (1, 2)
    ]
    cone = min(np.degrees(NORMAL_95 * float(np.hypot(*turns))), 90.0)
    largest = np.argmax(np.abs(rows[0]))
    rows[0] *= np.sign(rows[0, largest])
    return MainDirections(
        directions=rows,
        permille=values,
        sd_permille=np.array([strain.sd(gradient) for gradient in gradients]),
        uniaxial=abs(values[1] - values[2]) <= _NORMAL_99 * apart,
        cone_deg=float(cone),
    )


def excess_along(strain: Strain, direction: FloatArray) -> tuple[float, float]:
    """Strain along a direction above that across it, and its standard error, ‰."""
    along = _gradient(direction, direction)
    gradient = along - (parts_of(np.eye(3)) - along) / 2.0
    return float(gradient @ strain.parts), strain.sd(gradient)


def strain_across(strain: Strain, direction: FloatArray) -> tuple[float, float]:
    """Mean strain across a direction, and its standard error, ‰."""
    along = _gradient(direction, direction)
    gradient = (parts_of(np.eye(3)) - along) / 2.0
    return float(gradient @ strain.parts), strain.sd(gradient)


def _gradient(one: FloatArray, other: FloatArray) -> FloatArray:
    """Weights (6,) of the parts in oneᵀ E other."""
    both = np.outer(one, other)
    double = both + both.T
    parts = parts_of(double)
    parts[:3] /= 2.0
    return parts
