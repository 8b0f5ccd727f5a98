"""The demo crown as a mesh with its exact margin line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray
from ..mesh.triangle_mesh import TriangleMesh
from .meshing import mesh_surface
from .nearest import nearest_feet
from .shape import CrownShape
from .true_areas import TRUE_AREA_NAMES, TrueAreas, areas_of


class Directions(NamedTuple):
    """Unit directions of the demo crown, each (3,)."""

    insertion: FloatArray
    mesial: FloatArray
    buccal: FloatArray


DIRECTIONS = Directions(
    np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
)


@dataclass(frozen=True, eq=False)
class DemoCrown:
    """A design by formula; invented, no tooth was measured.

    Attributes
    ----------
    shape : CrownShape
        The form.
    mesh : TriangleMesh
        Closed and outward, in mm.
    theta, s : (n,) array
        Surface parameters of the mesh's vertices.
    margin_line_mm : (k, 3) array
        Exact points of the closed margin line, in order, equally spaced in θ.
    insertion, mesial, buccal : (3,) array
        Unit directions: path of insertion to occlusal, to mesial, to buccal.
    """

    shape: CrownShape
    mesh: TriangleMesh
    theta: FloatArray
    s: FloatArray
    margin_line_mm: FloatArray
    insertion: FloatArray
    mesial: FloatArray
    buccal: FloatArray

    @cached_property
    def vertex_normals(self) -> FloatArray:
        """Exact outward unit normals at the vertices, (n, 3)."""
        return self.shape.normals(self.theta, self.s)

    @property
    def true_areas(self) -> TrueAreas:
        """The true areas, at any surface parameters; defined in :mod:`.true_areas`."""
        return areas_of(self.shape)

    @cached_property
    def vertex_areas(self) -> Mapping[str, BoolArray]:
        """Which vertices lie in each true area, name → (n,)."""
        return {
            name: self.true_areas.contains(name, self.theta, self.s) for name in TRUE_AREA_NAMES
        }

    def areas_at(self, points: FloatArray) -> Mapping[str, BoolArray]:
        """Which points on or beside the surface lie in each true area.

        Parameters
        ----------
        points : (n, 3) array
            Points in mm, such as those of an evaluation mesh of this or a like design; the
            nearest points of the formula's surface decide.

        Returns
        -------
        Mapping of str to (n,) bool
        """
        _, nearest = cKDTree(self.mesh.vertices).query(points)
        limits = (-self.shape.intaglio_length_mm, self.shape.external_length_mm)
        feet = nearest_feet(self.shape, limits, points, self.theta[nearest], self.s[nearest])
        # A vertex on the margin line must not fall to the intaglio by rounding.
        s = np.where(np.abs(feet.s) < 1e-6, 0.0, feet.s)
        return {name: self.true_areas.contains(name, feet.theta, s) for name in TRUE_AREA_NAMES}


def demo_crown(
    edge_mm: float = 0.1,
    shape: CrownShape | None = None,
    *,
    margin_edges: bool = True,
    rng: np.random.Generator | None = None,
) -> DemoCrown:
    """Make the demo crown's design.

    Parameters
    ----------
    edge_mm : float
        Mean edge length; 0.1 gives about 101,000 triangles, 0.05 about 405,000.
    shape : CrownShape, optional
        The form; the five-cusp lower first molar by default.
    margin_edges : bool
        Whether a closed row of edges follows the margin line. False gives a mesh in which the
        rows of edges cross it, as after remeshing.
    rng : Generator, optional
        Jitters the vertices along their rings; none by default.

    Returns
    -------
    DemoCrown
        The mesh, mm, with its margin line, its directions and its true areas.

    Raises
    ------
    SettingError
        Edge length out of range.

    Examples
    --------
    >>> import cuspwise
    >>> crown = cuspwise.demo_crown(edge_mm=0.5)
    >>> cuspwise.inspect_mesh(crown.mesh).closed, crown.insertion.tolist()
    (True, [0.0, 0.0, 1.0])
    """
    shape = CrownShape() if shape is None else shape
    grid = mesh_surface(
        shape.points,
        -shape.intaglio_length_mm,
        shape.external_length_mm,
        edge_mm,
        on_margin=margin_edges,
        rng=rng,
    )
    mesh = TriangleMesh(shape.points(grid.theta, grid.s), grid.faces, "demo crown")
    return DemoCrown(shape, mesh, grid.theta, grid.s, margin_line(shape), *DIRECTIONS)


def margin_line(shape: CrownShape, count: int = 2000) -> FloatArray:
    """Exact points (count, 3) of the margin line: the crest of the rim, s = 0."""
    theta = np.arange(count) * (2.0 * np.pi / count)
    points: FloatArray = shape.points(theta, np.zeros(count))
    return points
