"""The form of the demo crown's die: the crown's intaglio, moved into the die by a cement space.

Parameters
----------
``theta`` goes around as on the crown (:mod:`.shape`). ``s`` goes up along a meridian: from the
middle of the base, ``s = -root_length_mm``, up the root to ``s = 0``, the **finish line**, which is
an edge, then over the prepared surface to the middle of its roof at ``s = intaglio_length_mm``.

Formulae
--------
Prepared surface: with P, N the crown's intaglio and its outward normal (out of the crown's
material, so into the die) at the crown's parameters (θ, −q), ``D = P + g(q) N``; the cement space g
is ``margin_um`` up to ``free_mm`` from the margin line, then changes over ``fade_mm`` to
``cement_um``, twice continuously differentiable. Where the crown's rim is rounded, q below its
reach r, the die goes on straight along the tangent, ``D = P_r + g N_r + (r − q) ∂P/∂s``, to the
foot of the rim's crest: there the design ends neither over nor under the preparation, unless
``extension_um`` says so. The root is a superellipse down to a flat base, with two grooves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from ..arrays import FloatArray
from .shape import CrownShape, Groove, superellipse

ROOT_EXPONENT = 7.0
"""Superellipse exponent of the root's meridian: how tight the edge of its base is."""


@dataclass(frozen=True)
class DieShape:
    """Parameters of the demo die. All numbers are invented.

    Attributes
    ----------
    crown : CrownShape
        The design whose die it is; both lie in one frame when the crown is where it was designed.
    cement_um, margin_um : float
        Cement space inside, and near the margin; alike, the die is parallel to the intaglio.
    free_mm, fade_mm : float
        How far from the margin line the latter holds, and how far beyond that the former is
        reached, along the crown's parameter s, which is about a length.
    extension_um : float
        How far the design reaches over the finish line along the prepared surface; negative where
        it ends short of it.
    root_height_mm : float
        From the base to the mean margin.
    root_taper_mm : float
        By how much the root is narrower at the base.
    root_grooves : tuple of Groove
        Deepest at the base, none at the finish line.
    """

    crown: CrownShape = field(default_factory=CrownShape)
    cement_um: float = 50.0
    margin_um: float = 20.0
    free_mm: float = 0.8
    fade_mm: float = 0.8
    extension_um: float = 0.0
    root_height_mm: float = 7.0
    root_taper_mm: float = 0.8
    root_grooves: tuple[Groove, ...] = (Groove(80.0, 1.4, 9.0), Groove(255.0, 1.1, 7.0))

    @property
    def prepared_length_mm(self) -> float:
        """Largest s: the middle of the roof."""
        return self.crown.intaglio_length_mm

    @property
    def root_length_mm(self) -> float:
        """Largest −s: the middle of the base."""
        return self.root_height_mm + self.crown.margin_outline.mean_mm

    def space_mm(self, q: FloatArray) -> FloatArray:
        """Cement space in mm, along the intaglio's normal, at distances q along its meridian."""
        t = np.clip((q - self.free_mm) / self.fade_mm, 0.0, 1.0)
        share = t**3 * (10.0 - 15.0 * t + 6.0 * t**2)
        space: FloatArray = 1e-3 * (self.margin_um + (self.cement_um - self.margin_um) * share)
        return space

    def points(self, theta: FloatArray, s: FloatArray) -> FloatArray:
        """Points (..., 3) in mm at parameters of any shapes that go together."""
        theta, s = np.broadcast_arrays(
            np.asarray(theta, dtype=np.float64), np.asarray(s, dtype=np.float64)
        )
        result = np.empty((*s.shape, 3))
        up = s >= 0.0
        q = self.intaglio_distance(theta[up], s[up])
        result[up] = self._prepared(theta[up], q)
        result[~up] = self._root(theta[~up], -s[~up] / self.root_length_mm)
        return result

    def intaglio_distance(self, theta: FloatArray, s: FloatArray) -> FloatArray:
        """Where on the crown, at its parameter −q, the die at s ≥ 0 was taken from."""
        first = once_per_angle(self._finish_distance, theta)
        length = self.prepared_length_mm
        distance: FloatArray = np.minimum(first + (length - first) * s / length, length)
        return distance

    def _finish_distance(self, theta: FloatArray) -> FloatArray:
        """The same at the finish line: the foot of the rim's crest, less the extension."""
        reach = self.crown.rim_reach_mm
        start, _, along = self.crown.tangents(theta, np.full(theta.shape, -reach))
        speed = np.linalg.norm(along, axis=-1)
        crest = self.crown.points(theta, np.zeros(theta.shape)) - start
        foot = np.einsum("...k,...k->...", crest, along) / speed
        distance: FloatArray = reach - (foot - 1e-3 * self.extension_um) / speed
        return distance

    def _finish(self, theta: FloatArray) -> FloatArray:
        return self._prepared(theta, self._finish_distance(theta))

    def _prepared(self, theta: FloatArray, q: FloatArray) -> FloatArray:
        reach = self.crown.rim_reach_mm
        points, normals = self.crown.points_and_normals(theta, -np.maximum(q, reach))
        result: FloatArray = points + self.space_mm(q)[..., None] * normals
        straight = q < reach
        if straight.any():
            at = np.full(np.count_nonzero(straight), -reach)
            along = self.crown.tangents(theta[straight], at)[2]
            result[straight] += (reach - q[straight])[..., None] * along
        return result

    def _root(self, theta: FloatArray, w: FloatArray) -> FloatArray:
        finish = once_per_angle(self._finish, theta)
        height, taper = self.root_height_mm, self.root_taper_mm
        return root_points(finish, theta, w, height, taper, self.root_grooves)


def once_per_angle(function: Callable[[FloatArray], FloatArray], theta: FloatArray) -> FloatArray:
    """Values of a costly function of θ alone, where the same angles come many times."""
    angles, back = np.unique(theta, return_inverse=True)
    values: FloatArray = function(angles)[back.reshape(theta.shape)]
    return values


def root_points(
    finish: FloatArray,
    theta: FloatArray,
    w: FloatArray,
    height_mm: float,
    taper_mm: float = 0.0,
    grooves: tuple[Groove, ...] = (),
) -> FloatArray:
    """Points of a root below a line around a tooth: a superellipse down to a flat base.

    Parameters
    ----------
    finish : (..., 3) array
        Points of the line at ``theta``, mm.
    theta, w : (...) array
        Angle, and share of the way from the line (0) to the middle of the base (1).
    height_mm : float
        How far below z = 0 the base lies.
    taper_mm : float
        By how much the root is narrower at the base.
    grooves : tuple of Groove
        Deepest at the base, none at the line.
    """
    reach, fallen = superellipse(np.maximum(1.0 - w, 0.0), ROOT_EXPONENT + 0.0 * w)
    lost = taper_mm * fallen
    for groove in grooves:
        bump = np.exp(groove.sharpness * (np.cos(theta - np.deg2rad(groove.angle_deg)) - 1.0))
        lost = lost + groove.depth_mm * bump * fallen**2
    radius = np.linalg.norm(finish[..., :2], axis=-1)
    result: FloatArray = finish * ((1.0 - lost / radius) * reach)[..., None]
    result[..., 2] = (1.0 - fallen) * finish[..., 2] - fallen * height_mm
    return result
