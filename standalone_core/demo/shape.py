"""The form of the demo crown: one closed surface over two parameters, by formula.

Parameters
----------
``theta`` goes around the path of insertion (radians; 0 is mesial, π/2 buccal). ``s`` goes along
a meridian: ``s = external_length_mm`` at the centre of the occlusal surface, down over the
cusps and the axial wall to ``s = 0``, the crest of the rim, which is the **margin line**, then
up the intaglio (negative ``s``) to the centre of its roof at ``s = -intaglio_length_mm``.

Formulae
--------
External sheet, φ = (π/2) v with v = 0 at the occlusal centre and 1 at the rim: superellipse
``f = sin φ / (sinⁿ φ + cosⁿ φ)^(1/n)``, ``1 - τ = cos φ / (…)^(1/n)``;
``ρ = R_contour(θ) f + (R_margin(θ) - R_contour(θ)) τ^p``, with grooves pressed into the wall, and
``z = (1 - τ) relief(ρ cos θ, ρ sin θ) + τ z_margin(θ)``. The intaglio sheet is built alike, with
a chamfer to the margin. Both sheets start half a rim apart on either side of the margin line;
a smooth switch across ``|s| ≤ rim`` joins them into a round edge (twice continuously
differentiable). All numbers are invented: no tooth was measured.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import zip_longest

import numpy as np

from ..arrays import FloatArray
from ..errors import SettingError
from .occlusal import (
    MARGINAL_RIDGES,
    THREE_BUCCAL_TWO_LINGUAL,
    TWO_BUCCAL_TWO_LINGUAL,
    Complexes,
    Cusp,
    OcclusalRelief,
)

STEP = 1e-30
"""Imaginary step of the complex-step derivative: no cancellation, so as small as one likes."""

INTAGLIO_EXPONENT = 6.5
"""Superellipse exponent of the intaglio's meridian: how tight its roof edge is."""

INTAGLIO_HEIGHT_MM = 4.8
"""Height of the intaglio that its taper and chamfer are reckoned over."""

MEAN_RELIEF_MM = 5.6
"""Height about which the roof of the intaglio follows the cusps."""


@dataclass(frozen=True)
class Groove:
    """A vertical groove pressed into the axial wall.

    Attributes
    ----------
    angle_deg : float
        Where it runs, around the crown.
    depth_mm : float
        Its depth; full at the occlusal edge, none at the margin and on the occlusal surface.
    sharpness : float
        Concentration κ of exp(κ (cos Δθ - 1)): its width is about 1/√κ radians.
    """

    angle_deg: float
    depth_mm: float
    sharpness: float


@dataclass(frozen=True)
class Chip:
    """A piece broken off the rim; the walls above it stay as they are.

    Attributes
    ----------
    angle_deg : float
        Where its middle is, around the crown.
    width_mm : float
        Its length along the margin line.
    depth_mm : float
        How much of the rim is gone in the middle, along the meridian.
    """

    angle_deg: float
    width_mm: float
    depth_mm: float


@dataclass(frozen=True)
class Outline:
    """A closed curve around the crown as a short Fourier series in θ.

    Attributes
    ----------
    mean_mm : float
        Constant term.
    cosines_mm, sines_mm : tuple of float
        Terms of orders 1, 2, 3, …
    """

    mean_mm: float
    cosines_mm: tuple[float, ...] = ()
    sines_mm: tuple[float, ...] = ()

    def at(self, theta: Complexes) -> Complexes:
        """Value in mm at each angle."""
        value = self.mean_mm + 0.0 * theta
        cosine, sine = np.cos(theta), np.sin(theta)
        turned: tuple[Complexes, Complexes] = (cosine, sine)  # cos and sin of order × θ
        for a, b in zip_longest(self.cosines_mm, self.sines_mm, fillvalue=0.0):
            value = value + a * turned[0] + b * turned[1]
            turned = (
                turned[0] * cosine - turned[1] * sine,
                turned[1] * cosine + turned[0] * sine,
            )
        return value


@dataclass(frozen=True)
class CrownShape:
    """Parameters of the demo crown: a lower left first molar, about 11 × 10 × 7 mm.

    All numbers are invented. With x to mesial, y to buccal and z to occlusal it is a left one;
    mirrored it would be a right one.

    Attributes
    ----------
    cusp_count : int
        5 (three buccal, two lingual) or 4.
    contour, margin_outline, margin_height : Outline
        Largest contour, margin line seen along the path of insertion, and its height.
    grooves : tuple of Groove
        Buccal and lingual grooves of the wall.
    corner_exponent, corner_exponent_buccal : float
        Superellipse exponent n of the external meridian: its mean and its first sine in θ.
    taper_power : float
        p in the formula: how low the height of contour lies.
    rim_width_mm : float
        Width of the rim's rounded edge.
    wall_mm : float
        Thickness of the axial wall at the height of the intaglio's roof edge.
    chamfer_height_mm : float
        Height of the chamfer above the margin.
    taper_deg : float
        Taper of the intaglio's axial walls against the path of insertion.
    roof_drop_mm : float
        Mean thickness of the occlusal part.
    roof_relief : float
        How much of the cusps' relief the roof of the intaglio follows.
    external_length_mm, intaglio_length_mm : float
        Range of the parameter s, about the length of a meridian.
    chips : tuple of Chip
        Pieces missing from the rim; a design has none.
    """

    cusp_count: int = 5
    contour: Outline = field(
        default=Outline(5.58, (0.10, 0.27, 0.06, -0.16), (0.06, 0.0, -0.11, -0.03))
    )
    margin_outline: Outline = field(
        default=Outline(4.72, (0.06, 0.16, 0.03, -0.08), (0.02, 0.02, -0.05))
    )
    margin_height: Outline = field(default=Outline(0.0, (-0.03, 0.40, 0.03), (-0.10, 0.05, 0.04)))
    grooves: tuple[Groove, ...] = (
        Groove(66.0, 0.24, 60.0),
        Groove(134.0, 0.16, 70.0),
        Groove(274.0, 0.22, 60.0),
    )
    corner_exponent: float = 4.4
    corner_exponent_buccal: float = -0.4
    taper_power: float = 2.4
    rim_width_mm: float = 0.07
    wall_mm: float = 0.72
    chamfer_height_mm: float = 0.45
    taper_deg: float = 5.0
    roof_drop_mm: float = 1.52
    roof_relief: float = 1.08
    external_length_mm: float = 10.0
    intaglio_length_mm: float = 7.5
    chips: tuple[Chip, ...] = ()

    def __post_init__(self) -> None:
        if self.cusp_count not in (4, 5):
            raise SettingError(
                f"A crown of {self.cusp_count} cusps is not known.",
                subject="cusp_count",
                remedy="Ask for 4 or 5.",
            )

    @cached_property
    def cusps(self) -> tuple[Cusp, ...]:
        """The cusps, buccal ones first, from mesial to distal."""
        return THREE_BUCCAL_TWO_LINGUAL if self.cusp_count == 5 else TWO_BUCCAL_TWO_LINGUAL

    @cached_property
    def relief(self) -> OcclusalRelief:
        """The external occlusal relief."""
        return OcclusalRelief(self.cusps + MARGINAL_RIDGES)

    @cached_property
    def roof(self) -> OcclusalRelief:
        """The smoother relief that the roof of the intaglio follows."""
        return OcclusalRelief(
            self.cusps + MARGINAL_RIDGES,
            fissure_roundness_mm=0.2,
            groove_depth_mm=0.0,
            extra_roundness_mm=0.7,
        )

    def points(self, theta: Complexes, s: Complexes) -> Complexes:
        """Points of the surface.

        Parameters
        ----------
        theta, s : (...) array
            Parameters, radians and mm; real or complex (for a complex step).

        Returns
        -------
        (..., 3) array
            Coordinates in mm.
        """
        theta, s = np.broadcast_arrays(theta, s)
        switch, distance = self._rim_switch(theta, s)
        outer = switch.real > -1.0
        inner = switch.real < 1.0
        result = np.zeros((*s.shape, 3), dtype=np.result_type(theta, switch))
        for mask, weight, sheet in (
            (outer, 0.5 * (1.0 + switch), self._external),
            (inner, 0.5 * (1.0 - switch), self._intaglio),
        ):
            if mask.any():
                rho, z = sheet(theta[mask], distance[mask])
                share = weight[mask]
                result[mask, 0] += share * rho * np.cos(theta[mask])
                result[mask, 1] += share * rho * np.sin(theta[mask])
                result[mask, 2] += share * z
        return result

    def _rim_switch(self, theta: Complexes, s: Complexes) -> tuple[Complexes, Complexes]:
        """Switch −1 … 1 from intaglio to external, and smooth |s|, 0 at the crest.

        A chip widens the range over which the sheets are joined, so that they meet higher up.
        """
        width = self.rim_reach_mm
        for chip in self.chips:
            kappa = (2.0 * self.margin_outline.mean_mm / chip.width_mm) ** 2 * 2.0
            bump = np.exp(kappa * (np.cos(theta - np.deg2rad(chip.angle_deg)) - 1.0))
            width = width + 8.0 / 3.0 * chip.depth_mm * bump
        t = s / width
        inside = np.abs(t.real) < 1.0
        sign = np.sign(t.real)
        switch = np.where(inside, (15.0 * t - 10.0 * t**3 + 3.0 * t**5) / 8.0, sign)
        distance = np.where(inside, (0.375 + 0.75 * t**2 - t**4 / 8.0) * width, sign * s)
        return switch, distance - 0.375 * self.rim_reach_mm

    @property
    def rim_reach_mm(self) -> float:
        """Half range of s over which the two sheets are joined."""
        return 0.9 * self.rim_width_mm

    def _external(self, theta: Complexes, distance: Complexes) -> tuple[Complexes, Complexes]:
        """Radius and height of the external sheet at a meridian distance from the rim."""
        v = 1.0 - distance / (self.external_length_mm - 0.375 * self.rim_reach_mm)
        exponent = self.corner_exponent + self.corner_exponent_buccal * np.sin(theta)
        reach, rest = superellipse(v, exponent)
        drop = 1.0 - rest
        contour = self.contour.at(theta)
        for groove in self.grooves:
            bump = np.exp(groove.sharpness * (np.cos(theta - np.deg2rad(groove.angle_deg)) - 1.0))
            contour = contour - groove.depth_mm * bump * reach**4 * rest**0.5
        out, up = self._rim_offset
        margin = self.margin_outline.at(theta) + out
        rho = contour * reach + (margin - contour) * drop**self.taper_power
        relief = self.relief.height(rho * np.cos(theta), rho * np.sin(theta))
        return rho, rest * relief + drop * (self.margin_height.at(theta) + up)

    def _intaglio(self, theta: Complexes, distance: Complexes) -> tuple[Complexes, Complexes]:
        """Radius and height of the intaglio sheet at a meridian distance from the rim."""
        v = 1.0 - distance / (self.intaglio_length_mm - 0.375 * self.rim_reach_mm)
        reach, rest = superellipse(v, INTAGLIO_EXPONENT + 0.0 * theta)
        drop = 1.0 - rest
        out, up = self._rim_offset
        slope = np.tan(np.deg2rad(self.taper_deg)) * INTAGLIO_HEIGHT_MM
        chamfer_share = self.chamfer_height_mm / INTAGLIO_HEIGHT_MM
        chamfer = _ramp((drop - 1.0) / chamfer_share + 1.0)
        wall = self.margin_outline.at(theta) - out - self.wall_mm
        rho = (wall + slope * drop + (self.wall_mm - slope) * chamfer) * reach
        roof = self.roof.height(rho * np.cos(theta), rho * np.sin(theta))
        roof = MEAN_RELIEF_MM - self.roof_drop_mm + self.roof_relief * (roof - MEAN_RELIEF_MM)
        return rho, rest * roof + drop * (self.margin_height.at(theta) - up)

    @property
    def _rim_offset(self) -> tuple[float, float]:
        """Half the rim's width, outward and upward, across the bisector of the two sheets."""
        half = 0.5 * self.rim_width_mm
        tilt = np.deg2rad(20.0)
        return half * float(np.cos(tilt)), half * float(np.sin(tilt))

    def tangents(
        self, theta: FloatArray, s: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Points and their derivatives with respect to θ and s, each (..., 3), by complex step."""
        theta, s = np.broadcast_arrays(
            np.asarray(theta, dtype=np.float64), np.asarray(s, dtype=np.float64)
        )
        around = self.points(theta + 1j * STEP, s)
        along = self.points(theta, s + 1j * STEP)  # what depends on θ alone stays real
        return around.real.copy(), around.imag / STEP, along.imag / STEP

    def points_and_normals(self, theta: FloatArray, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Points and outward unit normals, (..., 3); at a pole the normal of a point beside it."""
        near = 1e-5
        clipped = np.clip(s, -self.intaglio_length_mm + near, self.external_length_mm - near)
        points, around, along = self.tangents(theta, clipped)
        normal = np.cross(around, along)
        normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
        at_pole = clipped != s
        if at_pole.any():
            points[at_pole] = self.points(theta[at_pole], s[at_pole])
        return points, normal

    def normals(self, theta: FloatArray, s: FloatArray) -> FloatArray:
        """Outward unit normals, (..., 3)."""
        return self.points_and_normals(*np.broadcast_arrays(theta, s))[1]


def superellipse(v: Complexes, exponent: Complexes) -> tuple[Complexes, Complexes]:
    """Horizontal share and height share of a quarter superellipse; v = 0 on top, 1 at the side."""
    angle = 0.5 * np.pi * v
    sine, cosine = np.sin(angle), np.cos(angle)
    norm = (sine**exponent + cosine**exponent) ** (1.0 / exponent)
    return sine / norm, cosine / norm


def _ramp(t: Complexes) -> Complexes:
    """A rounded ramp: about 0 below t = 0, about t above, exactly 1 at t = 1 (soft plus)."""
    sharpness = 4.0
    soft = np.log1p(np.exp(sharpness * t)) / sharpness
    value: Complexes = soft / (np.log1p(np.exp(sharpness)) / sharpness)
    return value
