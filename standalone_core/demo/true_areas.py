"""The true areas of the demo crown, decided from its formula at any point of the surface.

In geometric terms, so that a mesh can be asked the same:

- **external**, **intaglio**: the two sides of the margin line, the crest of the rim; a point
  exactly on it is external.
- **margin**: within 1 mm of the margin line along the surface, on both sides.
- **occlusal**: the external surface whose normal lies within 60° of the path of insertion, its
  largest piece, with the steep places that it surrounds (walls of fissures). **axial** is the
  rest of the external surface.
- **fossae**: occlusal places that a ball of 1.5 mm radius, let down along the path of insertion
  onto the external surface, cannot come nearer than 0.03 mm to, measured along that path.
- **contact_mesial**, **contact_distal**: axial places within 1.5 mm, along the surface, of the
  outermost place; that is the surface point next to the middle of all places that stand at
  most 0.02 mm behind the outermost one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from scipy.interpolate import RectBivariateSpline
from scipy.ndimage import grey_closing, label

from ..arrays import BoolArray, FloatArray
from ..errors import AreaError
from .geodesic_rays import geodesic_ends
from .periodic import TURN, PeriodicCurve, PeriodicTable, turn_angles
from .shape import CrownShape

TRUE_AREA_NAMES = (
    "whole",
    "external",
    "intaglio",
    "occlusal",
    "axial",
    "margin",
    "fossae",
    "contact_mesial",
    "contact_distal",
)
"""The areas that :class:`TrueAreas` knows."""

GRID_MM = 0.05
"""Spacing of the height map that is closed by a ball."""

DEEP_MM = -1000.0
"""Height of the map where the ball finds nothing to rest on."""


@dataclass(frozen=True)
class AreaDefinition:
    """The lengths and angles in the definitions above."""

    margin_band_mm: float = 1.0
    occlusal_slope_deg: float = 60.0
    fossa_ball_radius_mm: float = 1.5
    fossa_gap_mm: float = 0.03
    contact_radius_mm: float = 1.5
    contact_depth_mm: float = 0.02


@dataclass(frozen=True, eq=False)
class TrueAreas:
    """Membership of surface points in the true areas.

    Attributes
    ----------
    shape : CrownShape
        The design.
    definition : AreaDefinition
        Lengths and angles.
    """

    shape: CrownShape
    definition: AreaDefinition = field(default_factory=AreaDefinition)

    def contains(self, name: str, theta: FloatArray, s: FloatArray) -> BoolArray:
        """Whether the points at these parameters lie in an area.

        Parameters
        ----------
        name : str
            One of :data:`TRUE_AREA_NAMES`.
        theta, s : (n,) array
            Surface parameters.

        Raises
        ------
        AreaError
            No such area.
        """
        tests: dict[str, Callable[[FloatArray, FloatArray], BoolArray]] = {
            "whole": lambda theta, s: np.ones(s.shape, dtype=bool),
            "external": lambda theta, s: s >= 0.0,
            "intaglio": lambda theta, s: s < 0.0,
            "occlusal": lambda theta, s: self._occlusal_level.at(theta, s) > 0.0,
            "axial": lambda theta, s: (s >= 0.0) & (self._occlusal_level.at(theta, s) <= 0.0),
            "margin": self._in_margin,
            "fossae": self._in_fossae,
            "contact_mesial": lambda theta, s: self._in_contact(1.0, theta, s),
            "contact_distal": lambda theta, s: self._in_contact(-1.0, theta, s),
        }
        if name not in tests:
            raise AreaError(
                f"There is no true area {name!r}.",
                subject="demo crown",
                remedy=f"Choose from {', '.join(TRUE_AREA_NAMES)}.",
            )
        return tests[name](*np.broadcast_arrays(theta, s))

    def _in_margin(self, theta: FloatArray, s: FloatArray) -> BoolArray:
        upper, lower = self.margin_limits
        inside: BoolArray = (s < upper.at(theta)) & (s > lower.at(theta))
        return inside

    @cached_property
    def margin_limits(self) -> tuple[PeriodicCurve, PeriodicCurve]:
        """External and inner limit of the margin area: s as functions of θ."""
        theta = turn_angles(360)
        rim = np.zeros(360)
        _, around, along = self.shape.tangents(theta, rim)
        normal = np.cross(around, along)
        across = np.cross(normal, around)
        band = self.definition.margin_band_mm
        limits = []
        for sign in (1.0, -1.0):
            end_theta, end_s = geodesic_ends(self.shape, theta, rim, sign * across, band)
            order = np.argsort(end_theta % TURN)
            limits.append(PeriodicCurve((end_theta % TURN)[order], end_s[order]))
        return limits[0], limits[1]

    @cached_property
    def _occlusal_level(self) -> PeriodicTable:
        """Cosine of the slope less its limit; its sign turned where the pieces say so."""
        theta = turn_angles(540)
        s = np.linspace(2.0, self.shape.external_length_mm, 401)
        normals = self.shape.normals(*np.meshgrid(theta, s, indexing="ij"))
        level = normals[..., 2] - np.cos(np.deg2rad(self.definition.occlusal_slope_deg))
        facing = _largest_piece(level > 0.0)
        axial = _largest_piece(~facing)
        return PeriodicTable(theta, s, np.where(axial, -np.abs(level), np.abs(level)))

    @cached_property
    def _fossa_gap(self) -> RectBivariateSpline:
        """Gap under the ball over the occlusal plane, mm."""
        radius = self.definition.fossa_ball_radius_mm
        reach = float(np.ceil(self.shape.contour.mean_mm + 1.0 + radius))
        places = np.arange(-reach, reach + GRID_MM / 2, GRID_MM)
        x, y = np.meshgrid(places, places, indexing="ij")
        theta, s = self._below(x, y)
        heights = np.where(s > 0.0, self.shape.points(theta, s)[..., 2], DEEP_MM)
        steps = np.arange(-round(radius / GRID_MM), round(radius / GRID_MM) + 1) * GRID_MM
        square = radius**2 - steps[:, None] ** 2 - steps[None, :] ** 2
        ball: Any = np.sqrt(np.maximum(square, 0.0)) - radius
        reach_of_ball: Any = square >= -1e-9
        closed = grey_closing(heights, footprint=reach_of_ball, structure=ball, mode="nearest")
        gap = np.where(heights > DEEP_MM / 2, closed - heights, 0.0)
        return RectBivariateSpline(places, places, gap, kx=1, ky=1)

    def _below(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Parameters of the external surface seen at x, y; meridians lie in planes."""
        around = np.append(turn_angles(360), TURN)
        s = np.linspace(4.0, self.shape.external_length_mm, 601)
        points = self.shape.points(around[:, None], s[None, :])
        radius = np.hypot(points[..., 0], points[..., 1])
        share = np.linspace(0.0, 1.0, 401)
        outer = radius[:, 0]
        levels = np.stack(
            [np.interp(share * outer[k], radius[k, ::-1], s[::-1]) for k in range(len(around))]
        )
        edge = PeriodicCurve(around[:-1], outer[:-1])
        theta = np.arctan2(y, x) % TURN
        wanted = np.hypot(x, y) / edge.at(theta)
        table = PeriodicTable(around[:-1], share, levels[:-1])
        found = table.at(theta, np.minimum(wanted, 1.0))
        return theta, np.where(wanted <= 1.0, found, 0.0)

    def _in_fossae(self, theta: FloatArray, s: FloatArray) -> BoolArray:
        inside = np.array(self.contains("occlusal", theta, s))
        points = self.shape.points(theta[inside], s[inside])
        gap = self._fossa_gap.ev(points[:, 0], points[:, 1])
        inside[inside] = gap > self.definition.fossa_gap_mm
        return inside

    @cached_property
    def _contacts(self) -> dict[float, tuple[FloatArray, PeriodicCurve]]:
        return {sign: self._contact(sign) for sign in (1.0, -1.0)}

    def _contact(self, sign: float) -> tuple[FloatArray, PeriodicCurve]:
        """Outermost place (θ, s) and the zone's radius in scaled parameters around it."""
        theta = np.arange(-200, 201) * (TURN / 2400) + (0.0 if sign > 0 else np.pi)
        s = np.arange(1.0, 7.0, 0.02)
        grid = np.meshgrid(theta, s, indexing="ij")
        points = self.shape.points(*grid)
        reach = sign * points[..., 0]
        touched = reach > reach.max() - self.definition.contact_depth_mm
        _, around, along = self.shape.tangents(grid[0][touched], grid[1][touched])
        weight = np.linalg.norm(np.cross(around, along), axis=1)
        middle = weight @ points[touched] / weight.sum()
        nearest = np.argmin(np.linalg.norm(points[touched] - middle, axis=1))
        centre = np.array([grid[0][touched][nearest], grid[1][touched][nearest]])
        turn = turn_angles(180)
        _, along_theta, along_s = self.shape.tangents(*centre)
        directions = np.cos(turn)[:, None] * along_theta / np.linalg.norm(along_theta)
        directions = directions + np.sin(turn)[:, None] * along_s / np.linalg.norm(along_s)
        ends = geodesic_ends(
            self.shape,
            np.full(180, centre[0]),
            np.full(180, centre[1]),
            directions,
            self.definition.contact_radius_mm,
        )
        angle, radius = self._around(centre, *ends)
        order = np.argsort(angle)
        return centre, PeriodicCurve(angle[order], radius[order])

    def _around(
        self, centre: FloatArray, theta: FloatArray, s: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Polar coordinates in the parameter plane, θ scaled to about mm, around a centre."""
        across = (theta - centre[0] + np.pi) % TURN - np.pi
        across = across * self.shape.contour.mean_mm
        return np.arctan2(s - centre[1], across) % TURN, np.hypot(s - centre[1], across)

    def _in_contact(self, sign: float, theta: FloatArray, s: FloatArray) -> BoolArray:
        centre, limit = self._contacts[sign]
        angle, radius = self._around(centre, theta, s)
        inside: BoolArray = (radius < limit.at(angle)) & self.contains("axial", theta, s)
        return inside


@lru_cache(maxsize=4)  # crowns of any edge length share the areas of their shape
def areas_of(shape: CrownShape) -> TrueAreas:
    """The true areas of a design, by the usual definition."""
    return TrueAreas(shape)


def _largest_piece(mask: BoolArray) -> BoolArray:
    """Largest connected piece of a mask over (θ, s), going round in θ."""
    twice = np.concatenate([mask, mask])
    pieces, _ = label(twice)
    counts = np.bincount(pieces.ravel())
    counts[0] = 0
    largest = pieces == counts.argmax()
    half = len(mask)
    piece: BoolArray = largest[:half] | largest[half:]
    return piece
