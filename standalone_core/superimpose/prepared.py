"""A design made ready for many superimpositions: samples, their tree and a lookup grid."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from ..mesh.triangle_mesh import FloatArray, IntArray
from ..surface.closest import SurfaceIndex
from .frame import Frame
from .rigid import box_corners
from .sampling import SurfaceSamples, surface_samples

_FINE_SAMPLES = 30_000
_COARSE_SAMPLES = 4_000
_GRID_CELLS = 110_000
_GRID_MARGIN = 0.2
"""Share of the design's diagonal by which the lookup grid reaches beyond the design."""


@dataclass(frozen=True, eq=False)
class PreparedDesign:
    """A design's surface index with what the search for a pose needs, built once on demand.

    Pass it instead of the index when many scans are laid on one design.

    Attributes
    ----------
    index : SurfaceIndex
        Exact closest points on the design.
    """

    index: SurfaceIndex

    @cached_property
    def samples(self) -> SurfaceSamples:
        """30,000 samples, evenly spread."""
        return surface_samples(self.index.mesh, _FINE_SAMPLES)

    @cached_property
    def tree(self) -> cKDTree:
        """Tree of :attr:`samples`."""
        return cKDTree(self.samples.points, balanced_tree=False, compact_nodes=False)

    @cached_property
    def grid(self) -> LookupGrid:
        """Nearest of about 4,000 samples for every cell of a grid around the design."""
        return LookupGrid.around(self.samples.every(_COARSE_SAMPLES), self.diagonal_mm)

    @cached_property
    def corners(self) -> FloatArray:
        """Corners of the design's box, (8, 3), mm."""
        return box_corners(self.samples.points)

    @cached_property
    def centroid(self) -> FloatArray:
        """Centroid of the surface, (3,), mm."""
        centre: FloatArray = self.samples.points.mean(axis=0)
        return centre

    @cached_property
    def frame(self) -> Frame:
        """Frame in which steps are taken."""
        return Frame.of(self.samples.points, np.ones(len(self.samples)))

    @property
    def diagonal_mm(self) -> float:
        """Diagonal of the design's box, mm."""
        return self.index.mesh.diagonal_mm


@dataclass(frozen=True, eq=False)
class LookupGrid:
    """Nearest sample by cell: one array access instead of a search, exact to about a cell.

    Attributes
    ----------
    origin : (3,) float32 ndarray
        Lowest corner, mm.
    cell_mm : float
    shape : (3,) ndarray of int
        Cells along each axis.
    nearest : (cells,) ndarray of int
        Index of the sample nearest to each cell's middle.
    points, normals : (n, 3) float32 ndarray
        The samples.
    """

    origin: FloatArray
    cell_mm: float
    shape: IntArray
    nearest: IntArray
    points: FloatArray
    normals: FloatArray

    @classmethod
    def around(cls, samples: SurfaceSamples, diagonal_mm: float) -> LookupGrid:
        """Lay the grid around samples, with a margin of a fifth of the diagonal."""
        margin = _GRID_MARGIN * diagonal_mm
        low, high = samples.points.min(axis=0) - margin, samples.points.max(axis=0) + margin
        cell = float(np.prod(high - low) / _GRID_CELLS) ** (1.0 / 3.0)
        shape = np.maximum(np.ceil((high - low) / cell), 1).astype(np.int64)
        axes = [low[k] + (np.arange(shape[k]) + 0.5) * cell for k in range(3)]
        middles = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
        nearest = np.asarray(cKDTree(samples.points).query(middles, workers=-1)[1], dtype=np.int64)
        return cls(
            low.astype(np.float32),
            cell,
            shape,
            nearest,
            samples.points.astype(np.float32),
            samples.normals.astype(np.float32),
        )

    def look_up(self, points: FloatArray) -> IntArray:
        """Sample near each of the points (..., 3); those outside take their nearest cell's."""
        place = (points - self.origin) * np.float32(1.0 / self.cell_mm)
        np.clip(place, 0.0, (self.shape - 1).astype(np.float32), out=place)
        cell = place.astype(np.int32)
        flat = (cell[..., 0] * self.shape[1] + cell[..., 1]) * self.shape[2] + cell[..., 2]
        found: IntArray = self.nearest[flat]
        return found
