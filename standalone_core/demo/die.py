"""The demo crown's die as a mesh, with what is true about how the crown sits on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import FloatArray
from ..errors import SettingError
from ..mesh.triangle_mesh import TriangleMesh
from .crown import DIRECTIONS, DemoCrown
from .die_shape import DieShape
from .meshing import mesh_surface
from .nearest import SurfaceSample, nearest_feet
from .periodic import turn_angles
from .shape import CrownShape


@dataclass(frozen=True, eq=False)
class DemoDie:
    """A die by formula; invented, no tooth was measured.

    Attributes
    ----------
    shape : DieShape
        The form.
    mesh : TriangleMesh
        Closed and outward, in mm, in the design's frame.
    theta, s : (n,) array
        Surface parameters of the mesh's vertices.
    finish_line_mm : (k, 3) array
        Exact points of the closed finish line, in order, at the same θ as the points of the
        crown's ``margin_line_mm``, equally spaced.
    insertion : (3,) array
        Path of insertion, a unit vector to occlusal.
    T_true_die_crown : (4, 4) array or None
        Where the design rests, if a formula says so: where it was designed if the cement space
        at the margin is 0, since it then touches all round the chamfer; lower by the cement space
        δ if that is the same everywhere, since a gap of δ changes by v·n under a motion v, and
        the roof has places with n along the path of insertion. Otherwise None.
    """

    shape: DieShape
    mesh: TriangleMesh
    theta: FloatArray
    s: FloatArray
    finish_line_mm: FloatArray
    insertion: FloatArray
    T_true_die_crown: FloatArray | None

    def gap_um(self, points: FloatArray) -> FloatArray:
        """Exact gap to the die's formula, (n,), in µm; negative inside the die.

        Parameters
        ----------
        points : (n, 3) array
            In mm, in the die's frame, within a few tenths of a millimetre of it.
        """
        sample = self._sample
        _, nearest = sample.tree.query(points)
        limits = (-self.shape.root_length_mm, self.shape.prepared_length_mm)
        start = sample.theta[nearest], sample.s[nearest]
        feet = nearest_feet(self.shape, limits, np.asarray(points), *start, sample)
        gap: FloatArray = 1e3 * feet.signed_mm
        return gap

    @cached_property
    def _sample(self) -> SurfaceSample:
        return SurfaceSample(self.theta, self.s, cKDTree(self.mesh.vertices))


def demo_die(
    crown: DemoCrown | CrownShape,
    *,
    cement_um: float = 50.0,
    margin_um: float = 20.0,
    extension_um: float = 0.0,
    edge_mm: float = 0.1,
    rng: np.random.Generator | None = None,
) -> DemoDie:
    """Make the die of a demo crown.

    Parameters
    ----------
    crown : DemoCrown or CrownShape
        The design.
    cement_um, margin_um : float
        Cement space inside and near the margin, µm; see :class:`.DieShape`. A ``margin_um`` of 0
        gives a die on which the design rests where it was designed.
    extension_um : float
        How far the design reaches over the finish line, −500 to 500 µm.
    edge_mm : float
        Mean edge length.
    rng : Generator, optional
        Jitters the vertices along their rings; none by default.

    Returns
    -------
    DemoDie
        The mesh, mm, with its finish line and where the design was meant to sit.

    Raises
    ------
    SettingError
        A cement space below 0 or above 300 µm, an extension or an edge length out of range.

    Examples
    --------
    >>> import cuspwise
    >>> from cuspwise.standalone_core.demo.die import demo_die
    >>> die = demo_die(cuspwise.demo_crown(edge_mm=0.5), margin_um=0.0, edge_mm=0.5)
    >>> cuspwise.inspect_mesh(die.mesh).closed, float(die.T_true_die_crown.trace())
    (True, 4.0)
    """
    _check("cement_um", cement_um, 0.0, 300.0)
    _check("margin_um", margin_um, 0.0, 300.0)
    _check("extension_um", extension_um, -500.0, 500.0)
    shape = DieShape(
        crown if isinstance(crown, CrownShape) else crown.shape,
        cement_um=cement_um,
        margin_um=margin_um,
        extension_um=extension_um,
    )
    ends = -shape.root_length_mm, shape.prepared_length_mm
    grid = mesh_surface(shape.points, *ends, edge_mm, rng=rng)
    mesh = TriangleMesh(shape.points(grid.theta, grid.s), grid.faces, "demo die")
    seat = _true_seat(shape, DIRECTIONS.insertion)
    return DemoDie(shape, mesh, grid.theta, grid.s, finish_line(shape), DIRECTIONS.insertion, seat)


def finish_line(shape: DieShape, count: int = 2000) -> FloatArray:
    """Exact points (count, 3) of the finish line, s = 0."""
    return shape.points(turn_angles(count), np.zeros(count))


def _true_seat(shape: DieShape, insertion: FloatArray) -> FloatArray | None:
    """Where the design rests, if a formula says so."""
    if shape.margin_um not in (0.0, shape.cement_um):
        return None
    seat = np.eye(4)
    seat[:3, 3] = -1e-3 * shape.margin_um * insertion
    return seat


def _check(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise SettingError(
            f"A {name} of {value} cannot be made.",
            subject=name,
            remedy=f"Give a value between {low:g} and {high:g}.",
        )
