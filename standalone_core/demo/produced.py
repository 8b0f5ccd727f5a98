"""The surface of a produced crown: the design by formula, deviating by formula."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ..arrays import FloatArray
from .periodic import PeriodicTable
from .production_errors import Bend, Cap, Layers, ProductionErrors, Ring, Wave
from .rolling_ball import ball_tables
from .shape import CrownShape

RIM_CHANGE_MM = 0.2
"""How far from the margin line growth changes from the intaglio's to the outside's."""

DIFFERENCE = 1e-5
"""Step of the central differences for the tangents: errors of about 1e-9 of their length."""


@dataclass(frozen=True, eq=False)
class ProducedSurface:
    """The produced crown over the design's own parameters, in the design's frame.

    ``Q = stretch (scale (P + d n + b + c))`` with P, n the point and the normal of the (chipped)
    design, d the sum of the displacements along the normal, b the way to the rolling balls, and
    c that of bent and warped margins.

    Attributes
    ----------
    shape : CrownShape
        The design.
    errors : ProductionErrors
        What went wrong.
    """

    shape: CrownShape
    errors: ProductionErrors = field(default_factory=ProductionErrors)

    @cached_property
    def base(self) -> CrownShape:
        """The design with the pieces broken off the rim."""
        return replace(self.shape, chips=self.shape.chips + self.errors.chips)

    @cached_property
    def _tables(self) -> tuple[tuple[PeriodicTable, ...], ...]:
        return tuple(
            ball_tables(self.shape, fill.radius_mm, fill.side) for fill in self.errors.fills
        )

    def points(self, theta: FloatArray, s: FloatArray) -> FloatArray:
        """Points (..., 3) in mm."""
        theta, s = np.broadcast_arrays(
            np.asarray(theta, dtype=np.float64), np.asarray(s, dtype=np.float64)
        )
        return self.moved(theta, s, *self.base.points_and_normals(theta, s))

    def moved(
        self, theta: FloatArray, s: FloatArray, points: FloatArray, normals: FloatArray
    ) -> FloatArray:
        """Where points of the base end up, given with their normals; each (..., 3), mm."""
        moved = points + self.displacement(s, points, normals)[..., None] * normals
        for fill, tables in zip(self.errors.fills, self._tables, strict=True):
            shift = np.stack([table.at(theta, s) for table in tables], axis=-1)
            moved = moved + fill.share * shift
        for bend in self.errors.bends:
            moved = moved + _bend(bend, theta, s, self.shape)
        for ring in self.errors.rings:
            moved = moved + _ring(ring, theta, s)
        scaled: FloatArray = moved * np.array(self.errors.scale)
        for stretch in self.errors.stretches:
            along = np.array(stretch.direction) / np.linalg.norm(stretch.direction)
            scaled = scaled + 1e-3 * stretch.permille * (scaled @ along)[..., None] * along
        return scaled

    def displacement(self, s: FloatArray, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Displacement along the normal before scaling, (...,), mm."""
        errors = self.errors
        shift = np.full(s.shape, 1e-3 * errors.offset_um)
        if any(errors.growth_um):
            shift += _growth(errors.growth_um, s)
        for wave in errors.waves:
            shift += _wave(wave, points)
        for spot in errors.spots:
            shift += _spot(spot, s, points, self.shape)
        if errors.layers is not None:
            shift += _layers(errors.layers, points, normals)
        return shift

    def tangents(
        self, theta: FloatArray, s: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Points and their derivatives with respect to θ and s, each (..., 3)."""
        h = DIFFERENCE
        around = (self.points(theta + h, s) - self.points(theta - h, s)) / (2.0 * h)
        low = np.maximum(s - h, -self.shape.intaglio_length_mm)
        high = np.minimum(s + h, self.shape.external_length_mm)
        along = (self.points(theta, high) - self.points(theta, low)) / (high - low)[..., None]
        return self.points(theta, s), around, along


def _growth(growth_um: tuple[float, float], s: FloatArray) -> FloatArray:
    t = np.clip(s / RIM_CHANGE_MM, -1.0, 1.0)
    outer = 0.5 + (15.0 * t - 10.0 * t**3 + 3.0 * t**5) / 16.0
    value: FloatArray = 1e-3 * (growth_um[0] * outer + growth_um[1] * (1.0 - outer))
    return value


def _wave(wave: Wave, points: FloatArray) -> FloatArray:
    direction = np.array(wave.direction) / np.linalg.norm(wave.direction)
    phase = 2.0 * np.pi * (points @ direction) / wave.wavelength_mm
    value: FloatArray = 1e-3 * wave.amplitude_um * np.sin(phase + np.deg2rad(wave.phase_deg))
    return value


def _spot(spot: Cap, s: FloatArray, points: FloatArray, shape: CrownShape) -> FloatArray:
    centre = shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
    share = np.sum((points - centre) ** 2, axis=-1) / spot.radius_mm**2
    same_side = np.sign(s) == np.sign(spot.s_mm)
    cap: FloatArray = 1e-3 * spot.height_um * np.maximum(1.0 - share, 0.0) ** 3 * same_side
    return cap


def _bend(bend: Bend, theta: FloatArray, s: FloatArray, shape: CrownShape) -> FloatArray:
    angle = np.deg2rad(bend.angle_deg)
    kappa = 2.0 * (2.0 * shape.margin_outline.mean_mm / bend.width_mm) ** 2
    bump = np.exp(kappa * (np.cos(theta - angle) - 1.0)) * np.exp(-((s / bend.reach_mm) ** 2))
    outward = np.array([np.cos(angle), np.sin(angle), 0.0])
    shift: FloatArray = 1e-3 * bend.shift_um * bump[..., None] * outward
    return shift


def _ring(ring: Ring, theta: FloatArray, s: FloatArray) -> FloatArray:
    shift = np.cos(ring.order * (theta - np.deg2rad(ring.phase_deg)))
    shift = 1e-3 * ring.amplitude_um * shift * np.exp(-((s / ring.reach_mm) ** 2))
    outward = np.stack([np.cos(theta), np.sin(theta), np.zeros_like(theta)], axis=-1)
    value: FloatArray = shift[..., None] * outward
    return value


def _layers(layers: Layers, points: FloatArray, normals: FloatArray) -> FloatArray:
    direction = np.array(layers.direction) / np.linalg.norm(layers.direction)
    cosine2 = (normals @ direction) ** 2
    flatness = cosine2 / np.sqrt(cosine2 + 0.05**2)
    frequency = 2.0 * np.pi / layers.thickness_mm
    phase = frequency * (points @ direction)
    blur = 0.5 * (frequency * layers.resolution_mm) ** 2 * (1.0 - cosine2)
    wave = sum(np.sin(k * phase) / k * np.exp(-blur * k**2) for k in range(1, layers.harmonics + 1))
    value: FloatArray = layers.thickness_mm / np.pi * flatness * wave
    return value
