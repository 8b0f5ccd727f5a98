"""Nearest point on a surface given by parameters: Newton's method on its formula."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray

DIFFERENCE = 1e-4
"""Step of the differences (rad and mm): errors of 1e-7 in the second derivatives."""

NEWTON_STEPS = 12
SETTLED_MM = 1e-4
"""Last step at which to stop: what is left is its square, and its square again in distance."""

SAMPLE_MM = 0.1
"""Spacing of the points from which Newton's method is started again."""


class ParametricSurface(Protocol):
    """A closed surface over θ (periodic) and s (between two poles)."""

    def points(self, theta: FloatArray, s: FloatArray) -> FloatArray:
        """Points (..., 3) in mm."""
        ...


@dataclass(frozen=True, eq=False)
class NearestPoints:
    """Nearest points.

    Attributes
    ----------
    theta, s : (n,) array
        Parameters of the nearest points.
    signed_mm : (n,) array
        Distance, positive on the outer side.
    normals : (n, 3) array
        Outward unit normals there.
    unsettled : int
        Points for which Newton's method did not settle.
    """

    theta: FloatArray
    s: FloatArray
    signed_mm: FloatArray
    normals: FloatArray
    unsettled: int


def nearest_feet(
    surface: ParametricSurface,
    limits: tuple[float, float],
    queries: FloatArray,
    theta: FloatArray,
    s: FloatArray,
    sample: SurfaceSample | None = None,
) -> NearestPoints:
    """Find the nearest point of the surface for each query.

    Newton's method on the squared distance from the given first guess. With a sample of the
    surface, every query whose nearest sample point is nearer than the point found is started
    again from there, so that the nearest of several stationary points is taken.

    Parameters
    ----------
    surface : ParametricSurface
        The surface.
    limits : (float, float)
        The two ends of s.
    queries : (n, 3) array
        Query points, mm.
    theta, s : (n,) array
        First guess.
    sample : SurfaceSample, optional
        Points of the surface.
    """
    theta, s, settled = _newton(surface, limits, queries, theta, s)
    if sample is not None:
        found = np.linalg.norm(queries - surface.points(theta, s), axis=1)
        bound, index = sample.tree.query(queries)
        again = np.flatnonzero(bound < found - 1e-9)
        if len(again):
            nearer = np.asarray(index)[again]
            start = sample.theta[nearer], sample.s[nearer]
            other = _newton(surface, limits, queries[again], *start)
            theta[again], s[again], settled[again] = other
    points, normals = _points_and_normals(surface, limits, theta, s)
    offset = queries - points
    sign = np.sign(np.einsum("ij,ij->i", offset, normals))
    distance = np.linalg.norm(offset, axis=1)
    return NearestPoints(theta, s, sign * distance, normals, int((~settled).sum()))


@dataclass(frozen=True, eq=False)
class SurfaceSample:
    """Points of a surface with their parameters, for first guesses.

    Attributes
    ----------
    theta, s : (n,) array
        Parameters.
    tree : scipy.spatial.cKDTree
        Of the points.
    """

    theta: FloatArray
    s: FloatArray
    tree: cKDTree


def _newton(
    surface: ParametricSurface,
    limits: tuple[float, float],
    queries: FloatArray,
    theta: FloatArray,
    s: FloatArray,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Minimise the squared distance; steps that do not lower it are halved."""
    theta, s = np.array(theta, dtype=np.float64), np.array(s, dtype=np.float64)
    theta, s = _inside(limits, theta, s)
    settled = np.zeros(len(s), dtype=bool)
    active = np.arange(len(s))
    for _ in range(NEWTON_STEPS):
        step, moved_mm, value = _newton_step(surface, queries[active], theta[active], s[active])
        trial = _inside(limits, theta[active] + step[:, 0], s[active] + step[:, 1])
        reached = np.sum((queries[active] - surface.points(*trial)) ** 2, axis=1)
        for _ in range(4):
            worse = reached > value + 1e-16
            if not worse.any():
                break
            step[worse] *= 0.3
            part = active[worse]
            again = _inside(limits, theta[part] + step[worse, 0], s[part] + step[worse, 1])
            trial[0][worse], trial[1][worse] = again
            reached[worse] = np.sum((queries[part] - surface.points(*again)) ** 2, axis=1)
        better = reached <= value + 1e-16
        theta[active[better]], s[active[better]] = trial[0][better], trial[1][better]
        settled[active] = moved_mm < SETTLED_MM
        active = active[moved_mm >= SETTLED_MM]
        if not len(active):
            break
    return theta, s, settled


def _newton_step(
    surface: ParametricSurface, queries: FloatArray, theta: FloatArray, s: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Newton step (n, 2), its length on the surface in mm, and the squared distance now."""
    h = DIFFERENCE
    at = {(i, j): surface.points(theta + i * h, s + j * h) for i in (-1, 0, 1) for j in (-1, 0, 1)}
    u = (at[1, 0] - at[-1, 0]) / (2.0 * h)
    v = (at[0, 1] - at[0, -1]) / (2.0 * h)
    uu = (at[1, 0] - 2.0 * at[0, 0] + at[-1, 0]) / h**2
    vv = (at[0, 1] - 2.0 * at[0, 0] + at[0, -1]) / h**2
    uv = (at[1, 1] - at[1, -1] - at[-1, 1] + at[-1, -1]) / (4.0 * h**2)
    offset = queries - at[0, 0]
    gradient = np.stack([_dot(u, offset), _dot(v, offset)], axis=1)
    metric = np.stack([_dot(u, u), _dot(u, v), _dot(v, v)], axis=1)
    bend = np.stack([_dot(uu, offset), _dot(uv, offset), _dot(vv, offset)], axis=1)
    hessian = metric - bend
    convex = (hessian[:, 0] > 0) & (
        hessian[:, 0] * hessian[:, 2] - hessian[:, 1] ** 2
        > 1e-3 * (metric[:, 0] * metric[:, 2] - metric[:, 1] ** 2)
    )
    hessian = np.where(convex[:, None], hessian, metric)
    determinant = hessian[:, 0] * hessian[:, 2] - hessian[:, 1] ** 2
    determinant = np.maximum(determinant, 1e-12)
    first = hessian[:, 2] * gradient[:, 0] - hessian[:, 1] * gradient[:, 1]
    second = hessian[:, 0] * gradient[:, 1] - hessian[:, 1] * gradient[:, 0]
    step = np.stack([first, second], axis=1) / determinant[:, None]
    length = np.linalg.norm(step[:, :1] * u + step[:, 1:] * v, axis=1)
    shorter = np.minimum(1.0, 0.2 / np.maximum(length, 1e-12))
    return step * shorter[:, None], length, _dot(offset, offset)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    product: FloatArray = np.einsum("ij,ij->i", a, b)
    return product


def _inside(
    limits: tuple[float, float], theta: FloatArray, s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Carry steps over a pole down the opposite meridian; stay a little off the poles."""
    low, high = limits[0] + 2.0 * DIFFERENCE, limits[1] - 2.0 * DIFFERENCE
    over = (s > high) | (s < low)
    s = np.where(s > high, 2.0 * high - s, np.where(s < low, 2.0 * low - s, s))
    return theta + np.pi * over, np.clip(s, low, high)


def _points_and_normals(
    surface: ParametricSurface, limits: tuple[float, float], theta: FloatArray, s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    h = 0.1 * DIFFERENCE
    u = surface.points(theta + h, s) - surface.points(theta - h, s)
    v = surface.points(theta, s + h) - surface.points(theta, s - h)
    normals = np.cross(u, v)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return surface.points(theta, s), normals
