"""Smooth functions of the surface parameters, given by a table."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import CubicSpline, RectBivariateSpline

from ..arrays import FloatArray

TURN = 2.0 * np.pi
_PAD = 12


def turn_angles(count: int) -> FloatArray:
    """Equally spaced angles over one turn from 0, (count,), radians."""
    return np.linspace(0.0, TURN, count, endpoint=False)


@dataclass(frozen=True, eq=False)
class PeriodicTable:
    """A bicubic spline, periodic in θ, zero outside its range of s.

    Attributes
    ----------
    theta : (n,) array
        Equally spaced over one turn, from 0.
    s : (m,) array
        Increasing.
    values : (n, m) array
        The table.
    """

    theta: FloatArray
    s: FloatArray
    values: FloatArray

    @cached_property
    def _spline(self) -> RectBivariateSpline:
        theta = np.concatenate([self.theta[-_PAD:] - TURN, self.theta, self.theta[:_PAD] + TURN])
        values = np.concatenate([self.values[-_PAD:], self.values, self.values[:_PAD]])
        return RectBivariateSpline(theta, self.s, values, kx=3, ky=3)

    def at(self, theta: FloatArray, s: FloatArray) -> FloatArray:
        """Values at parameters of any equal shapes."""
        theta, s = np.broadcast_arrays(theta, s)
        inside = (s >= self.s[0]) & (s <= self.s[-1])
        result = np.zeros(s.shape)
        result[inside] = self._spline.ev(theta[inside] % TURN, s[inside])
        return result


@dataclass(frozen=True, eq=False)
class PeriodicCurve:
    """A cubic spline through values around one turn.

    Attributes
    ----------
    theta : (n,) array
        Increasing, within one turn.
    values : (n,) array
        The values there.
    """

    theta: FloatArray
    values: FloatArray

    @cached_property
    def _spline(self) -> CubicSpline:
        theta = np.append(self.theta, self.theta[0] + TURN)
        return CubicSpline(theta, np.append(self.values, self.values[0]), bc_type="periodic")

    def at(self, theta: FloatArray) -> FloatArray:
        """Values at any angles."""
        values: FloatArray = self._spline(theta)
        return values
