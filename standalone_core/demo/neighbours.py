"""Invented neighbours and an antagonist of the demo crown, with contacts known by formula.

A **neighbour** is a tooth whose outermost place towards the crown is laid opposite the crown's
outermost place towards it, on a common normal, so many micrometres apart (or overlapping). Where
they are apart, the plane between them shows that no two other places are nearer; where they
overlap, both bulge there, and the deepest place is that one.

The **antagonist** is a plate with a few lobes, each ending in a ball. A ball of radius r whose
centre lies at ``P + (r + gap) N``, with P a place of the crown's occlusal surface and N its
normal, has the gap there, measured along the common normal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from ..mesh.triangle_mesh import TriangleMesh
from .crown import DIRECTIONS, DemoCrown
from .die_shape import once_per_angle, root_points
from .meshing import mesh_surface
from .shape import CrownShape, Outline, superellipse

MESIAL_TOOTH = CrownShape(
    cusp_count=4, contour=Outline(5.2, (0.08, 0.15, 0.03, -0.14), (-0.05, 0.0, 0.06, 0.02))
)
DISTAL_TOOTH = CrownShape(
    cusp_count=4, contour=Outline(5.5, (-0.06, 0.25, 0.0, -0.15), (0.04, 0.0, 0.05, -0.02))
)
"""Forms of the two neighbours, invented."""

LOBE_DEG = 65.0
"""A lobe is a ball up to this angle from its lowest place, then the cone that touches it there."""


@dataclass(frozen=True, eq=False)
class DesignedContact:
    """A place where the design touches, or nearly touches, another tooth.

    Attributes
    ----------
    place_mm : (3,) array
        On the design.
    normal : (3,) array
        The design's outward normal there; the other surface's is opposite.
    gap_um : float
        Negative for an overlap.
    """

    place_mm: FloatArray
    normal: FloatArray
    gap_um: float


@dataclass(frozen=True, eq=False)
class OtherTooth:
    """A tooth that the demo crown touches, in the design's frame.

    Attributes
    ----------
    kind : str
        "proximal" or "occlusal".
    mesh : TriangleMesh
        Closed and outward, mm.
    contacts : tuple of DesignedContact
        By formula; the mesh follows it to the sag of its facets.
    """

    kind: str
    mesh: TriangleMesh
    contacts: tuple[DesignedContact, ...]


@dataclass(frozen=True)
class ToothShape:
    """A solid tooth: the outside of a crown's form, and a root below its margin.

    Attributes
    ----------
    crown : CrownShape
    at_mm : tuple of float
        Where its origin lies.
    root_height_mm : float
    """

    crown: CrownShape
    at_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    root_height_mm: float = 4.0

    @property
    def limits(self) -> tuple[float, float]:
        """Ends of s: the middle of the base and that of the occlusal surface."""
        below = self.root_height_mm + self.crown.margin_outline.mean_mm
        return -below, self.crown.external_length_mm

    def points(self, theta: FloatArray, s: FloatArray) -> FloatArray:
        """Points (..., 3) in mm at parameters of any shapes that go together."""
        theta, s = np.broadcast_arrays(
            np.asarray(theta, dtype=np.float64), np.asarray(s, dtype=np.float64)
        )
        result = np.empty((*s.shape, 3))
        up = s >= 0.0
        result[up] = self.crown.points(theta[up], s[up])
        finish = once_per_angle(self._margin, theta[~up])
        share = s[~up] / self.limits[0]
        result[~up] = root_points(finish, theta[~up], share, self.root_height_mm)
        result += np.array(self.at_mm)
        return result

    def _margin(self, theta: FloatArray) -> FloatArray:
        margin: FloatArray = self.crown.points(theta, np.zeros(theta.shape))
        return margin


@dataclass(frozen=True)
class Lobe:
    """Where the antagonist meets the crown.

    Attributes
    ----------
    x_mm, y_mm : float
        Place on the crown's occlusal surface, seen along the path of insertion, about.
    gap_um : float
        Negative for an overlap.
    radius_mm : float
        Of the ball that the lobe ends in.
    """

    x_mm: float
    y_mm: float
    gap_um: float
    radius_mm: float = 0.8


LOBES = (Lobe(2.2, 2.3, -20.0), Lobe(-0.75, 2.4, -10.0), Lobe(-1.8, -2.4, 15.0))
"""On the mesiobuccal, distobuccal and distolingual cusps' inner sides."""


@dataclass(frozen=True)
class AntagonistShape:
    """A round plate over the crown with lobes on its underside.

    Parameter s goes from 0, the middle of the underside, outwards, around the plate's edge and
    back to the middle of its upper side.

    Attributes
    ----------
    balls : tuple of (float, float, float, float)
        Centre and radius of each lobe's ball, mm.
    underside_mm, upper_mm, radius_mm : float
        Heights of the plate's two sides, and its radius.
    """

    balls: tuple[tuple[float, float, float, float], ...]
    underside_mm: float = 8.4
    upper_mm: float = 10.5
    radius_mm: float = 5.5

    @property
    def limits(self) -> tuple[float, float]:
        """Ends of s."""
        return -self.radius_mm, self.radius_mm + self.upper_mm - self.underside_mm

    def points(self, theta: FloatArray, s: FloatArray) -> FloatArray:
        """Points (..., 3) in mm at parameters of any shapes that go together."""
        theta, s = np.broadcast_arrays(
            np.asarray(theta, dtype=np.float64), np.asarray(s, dtype=np.float64)
        )
        low, high = self.limits
        reach, rest = superellipse(np.clip(1.0 - s / high, 0.0, 1.0), 5.0 + 0.0 * s)
        rho = np.where(s < 0.0, self.radius_mm * (1.0 - s / low), self.radius_mm * reach)
        x, y = rho * np.cos(theta), rho * np.sin(theta)
        upper = self.underside_mm + (self.upper_mm - self.underside_mm) * rest
        z = np.where(s < 0.0, self._underside(x, y), upper)
        return np.stack([x, y, z], axis=-1)

    def _underside(self, x: FloatArray, y: FloatArray) -> FloatArray:
        lowest = np.full(x.shape, self.underside_mm)
        angle = np.deg2rad(LOBE_DEG)
        for cx, cy, cz, r in self.balls:
            apart = np.hypot(x - cx, y - cy)
            edge = r * np.sin(angle)
            ball = cz - np.sqrt(np.maximum(r**2 - np.minimum(apart, edge) ** 2, 0.0))
            lowest = np.minimum(lowest, ball + np.tan(angle) * np.maximum(apart - edge, 0.0))
        return lowest


def demo_neighbours(
    crown: DemoCrown | CrownShape,
    *,
    mesial_um: float = -20.0,
    distal_um: float = 10.0,
    edge_mm: float = 0.15,
) -> tuple[OtherTooth, OtherTooth]:
    """Make the mesial and the distal neighbour of a demo crown.

    Parameters
    ----------
    crown : DemoCrown or CrownShape
    mesial_um, distal_um : float
        Gap to each, µm; negative for an overlap.
    edge_mm : float
        Mean edge length.
    """
    shape = crown if isinstance(crown, CrownShape) else crown.shape
    mesial = DIRECTIONS.mesial
    return (
        _neighbour(shape, MESIAL_TOOTH, mesial, mesial_um, edge_mm, "mesial neighbour"),
        _neighbour(shape, DISTAL_TOOTH, -mesial, distal_um, edge_mm, "distal neighbour"),
    )


def _neighbour(
    crown: CrownShape,
    tooth: CrownShape,
    side: FloatArray,
    gap_um: float,
    edge_mm: float,
    name: str,
) -> OtherTooth:
    place, facing = outermost(crown, side), outermost(tooth, -side)
    at = place + 1e-3 * gap_um * side - facing
    shape = ToothShape(tooth, (float(at[0]), float(at[1]), float(at[2])))
    contact = DesignedContact(place, side, gap_um)
    return OtherTooth("proximal", _meshed(shape.points, shape.limits, edge_mm, name), (contact,))


def demo_antagonist(
    crown: DemoCrown | CrownShape, lobes: tuple[Lobe, ...] = LOBES, *, edge_mm: float = 0.1
) -> OtherTooth:
    """Make an antagonist of a demo crown that meets it at known places.

    Parameters
    ----------
    crown : DemoCrown or CrownShape
    lobes : tuple of Lobe
        Where it meets the crown.
    edge_mm : float
        Mean edge length.
    """
    shape = crown if isinstance(crown, CrownShape) else crown.shape
    contacts, balls = [], []
    for lobe in lobes:
        place, normal = _occlusal_place(shape, lobe)
        centre = place + (lobe.radius_mm + 1e-3 * lobe.gap_um) * normal
        contacts.append(DesignedContact(place, normal, lobe.gap_um))
        balls.append((float(centre[0]), float(centre[1]), float(centre[2]), lobe.radius_mm))
    plate = AntagonistShape(tuple(balls))
    mesh = _meshed(plate.points, plate.limits, edge_mm, "antagonist")
    return OtherTooth("occlusal", mesh, tuple(contacts))


def _meshed(
    points: Callable[[FloatArray, FloatArray], FloatArray],
    limits: tuple[float, float],
    edge_mm: float,
    name: str,
) -> TriangleMesh:
    grid = mesh_surface(points, *limits, edge_mm)
    return TriangleMesh(points(grid.theta, grid.s), grid.faces, name)


def outermost(shape: CrownShape, side: FloatArray) -> FloatArray:
    """The outermost place (3,) of a crown's outside in a horizontal direction, to 1e-9 mm.

    Around the best of a grid of parameters a finer one is laid, again and again: the height at a
    summit is lower by the square of what its place is off.
    """
    theta = float(np.arctan2(side[1], side[0]))
    s, half = 0.5 * shape.external_length_mm, np.array([1.0, 0.45 * shape.external_length_mm])
    steps = np.linspace(-1.0, 1.0, 41)
    while half.max() > 1e-6:
        angles, levels = np.meshgrid(theta + half[0] * steps, s + half[1] * steps)
        points = shape.points(angles, levels)
        best = np.unravel_index(np.argmax(points @ side), angles.shape)
        theta, s, half = float(angles[best]), float(levels[best]), 0.1 * half
    place: FloatArray = points[best]
    return place


def _occlusal_place(shape: CrownShape, lobe: Lobe) -> tuple[FloatArray, FloatArray]:
    """Place and normal of the crown's outside nearest to being under x and y, each (3,)."""
    theta = np.arctan2(lobe.y_mm, lobe.x_mm)
    s = np.linspace(0.45, 0.999, 2000) * shape.external_length_mm
    points = shape.points(np.full(2000, theta), s)
    off = np.hypot(points[:, 0] - lobe.x_mm, points[:, 1] - lobe.y_mm)
    best = np.argmin(off)
    place, normal = shape.points_and_normals(np.array([theta]), s[best : best + 1])
    return place[0], normal[0]
