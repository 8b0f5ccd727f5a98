"""How what no cause explains hangs together over the surface: its covariance, found by REML.

cov(r_i, r_j) = σ² [ρ_ij k(|x_i − x_j| / ℓ) + ν m δ_ij / n_i], with ρ_ij = 1 on one side of the
crown and ρ across the wall, n_i the count of points of cell i and m their median. Restricted
maximum likelihood: Patterson & Thompson 1971, Biometrika 58 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from scipy.linalg import LinAlgError, cholesky, solve_triangular
from scipy.optimize import minimize

from ..arrays import BoolArray, FloatArray

Kernel: TypeAlias = Callable[[FloatArray], FloatArray]

_TYPICAL = np.array([np.log(1.2), -1.5, 0.0])
_SPREAD = np.array([0.8, 2.0, 1.0])
"""Weak prior of log ℓ/mm, log ν and artanh ρ: crowns of few cells would else leave them open."""

_START_LENGTH_MM = {"gaussian": 1.4, "matern": 3.5}
_START = np.array([np.log(0.01), 1.3])
_STEPS = np.diag([0.5, -1.5, -0.6])
"""Near what crowns mostly have; wide steps: from narrow ones the search never leaves its start."""

_TRIES = 24

LEAST_SIGMA_MM = 1e-5
"""0.01 µm: no surface is known better, and deviations that fit a model exactly must not divide."""


def gaussian(distance: FloatArray) -> FloatArray:
    """Correlation of very smooth deviations at a distance in units of ℓ."""
    correlation: FloatArray = np.exp(-0.5 * distance * distance)
    return correlation


def matern(distance: FloatArray) -> FloatArray:
    """Correlation of rougher ones: Matérn of smoothness 3/2."""
    scaled = np.sqrt(3.0) * distance
    correlation: FloatArray = (1.0 + scaled) * np.exp(-scaled)
    return correlation


KERNELS: tuple[Kernel, ...] = (gaussian, matern)
"""Both must agree before anything is stated: the first sees growth where form error is rough, the
second none where it is smooth."""


@dataclass(frozen=True, eq=False)
class Sites:
    """Where values were taken whose covariance is sought.

    Attributes
    ----------
    distance_mm : (c, c) float
        Between each two.
    across : (c, c) bool
        Whether the wall lies between them.
    count : (c,) float
        Points that each is a mean of.
    """

    distance_mm: FloatArray
    across: BoolArray
    count: FloatArray

    def at(self, chosen: BoolArray) -> Sites:
        """Return some of the sites."""
        both = np.ix_(chosen, chosen)
        return Sites(self.distance_mm[both], self.across[both], self.count[chosen])


@dataclass(frozen=True, eq=False)
class Covariance:
    """A covariance up to its size.

    Attributes
    ----------
    kernel : function
    length_mm, nugget, rho : float
        ℓ, ν and ρ.
    factor : (c, c) float
        Lower Cholesky factor of the covariance divided by σ².
    cost : float
        Minus the logarithm of the restricted likelihood, with the prior's.
    sigma_mm : float
        σ.
    """

    kernel: Kernel
    length_mm: float
    nugget: float
    rho: float
    factor: FloatArray
    cost: float
    sigma_mm: float

    def with_doubt(self, variance: FloatArray, columns: FloatArray) -> Covariance:
        """Return the covariance with more of it.

        Parameters
        ----------
        variance : (c,) float
            Of each site by itself, mm².
        columns : (c, k) float
            What may be added to all sites together, mm per standard deviation.
        """
        matrix = self.factor @ self.factor.T
        columns = columns / self.sigma_mm
        matrix += columns @ columns.T
        matrix[np.diag_indices_from(matrix)] += variance / self.sigma_mm**2
        return replace(self, factor=cholesky(matrix, lower=True, overwrite_a=True))

    def whitened(self, values: FloatArray) -> FloatArray:
        """Return values (c, …) as if each were independent of the others, and of variance σ²."""
        white: FloatArray = solve_triangular(self.factor, values, lower=True, check_finite=False)
        return white


def correlation(
    sites: Sites, kernel: Kernel, length_mm: float, nugget: float, rho: float
) -> FloatArray:
    """Return the covariance divided by σ², (c, c); see the head of this module."""
    matrix = kernel(sites.distance_mm / length_mm)
    matrix[sites.across] *= rho
    matrix[np.diag_indices_from(matrix)] += nugget * np.median(sites.count) / sites.count
    return matrix


def restricted_cost(factor: FloatArray, design: FloatArray, values: FloatArray) -> float:
    """Minus the logarithm of the restricted likelihood, σ² at its best, up to a constant.

    Parameters
    ----------
    factor : (c, c) float
        Lower Cholesky factor of the covariance divided by σ².
    design : (c, p) float
        Columns of the mean.
    values : (c,) float
    """
    count, columns = design.shape
    diagonal = _whitened_diagonal(factor, design, values)
    rest = max(diagonal[-1] ** 2 / (count - columns), LEAST_SIGMA_MM**2)
    half_logs = np.log(diagonal[:-1]).sum() + np.log(np.diag(factor)).sum()
    return float(0.5 * (count - columns) * np.log(rest) + half_logs)


def _whitened_diagonal(factor: FloatArray, design: FloatArray, values: FloatArray) -> FloatArray:
    """Sizes of what each whitened column keeps beside those before it, (p + 1,)."""
    both = np.column_stack([design, values])
    white = solve_triangular(factor, both, lower=True, check_finite=False)
    return np.abs(np.diag(triangle_of(white)))


def triangle_of(columns: FloatArray) -> FloatArray:
    """Return R of a QR decomposition: its last entry is what the last column keeps for itself."""
    triangle: FloatArray = np.asarray(np.linalg.qr(columns, mode="r"), dtype=np.float64)
    return triangle


def find_covariance(
    sites: Sites, design: FloatArray, values: FloatArray, kernel: Kernel
) -> Covariance:
    """Find the covariance of what a linear model leaves, by restricted maximum likelihood.

    Parameters
    ----------
    sites : Sites
    design : (c, p) float
        All columns that the mean may need, of full rank.
    values : (c,) float
    kernel : function
    """
    two_sided = bool(sites.across.any())
    free = slice(0, 3 if two_sided else 2)

    def at(parameters: FloatArray) -> tuple[float, float, float]:
        rho = float(np.tanh(parameters[2])) if two_sided else 1.0
        return float(np.exp(parameters[0])), float(np.exp(parameters[1])), rho

    def cost(parameters: FloatArray) -> float:
        try:
            factor = cholesky(
                correlation(sites, kernel, *at(parameters)),
                lower=True,
                overwrite_a=True,
                check_finite=False,
            )
        except LinAlgError:
            return 1e12
        prior = 0.5 * (((parameters - _TYPICAL[free]) / _SPREAD[free]) ** 2).sum()
        return restricted_cost(factor, design, values) + float(prior)

    start = np.array([np.log(_START_LENGTH_MM[kernel.__name__]), *_START])[free]
    simplex = np.vstack([start, start + _STEPS[free, free]])
    options = {"maxfev": _TRIES, "xatol": 0.05, "fatol": 0.2, "initial_simplex": simplex}
    best = minimize(cost, start, method="Nelder-Mead", options=options)
    length, nugget, rho = at(best.x)
    factor = cholesky(correlation(sites, kernel, length, nugget, rho), lower=True)
    rest = _whitened_diagonal(factor, design, values)[-1]
    sigma = max(float(rest / np.sqrt(len(values) - design.shape[1])), LEAST_SIGMA_MM)
    return Covariance(kernel, length, nugget, rho, factor, float(best.fun), sigma)
