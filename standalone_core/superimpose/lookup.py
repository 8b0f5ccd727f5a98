"""What a pose is searched on: samples of a surface and a grid that looks the nearest one up."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import FloatArray, IntArray
from .frame import MotionFrame
from .sampling import SurfaceSamples

_COARSE_SAMPLES = 4_000
_GRID_CELLS = 110_000
_BLOCK = 8_000
_GRID_MARGIN = 0.2
"""Share of the surface's diagonal by which the lookup grid reaches beyond it."""
_ROUGHLY = 0.5
"""A cell's sample may be farther than its nearest by this share: half the time, the same poses."""


@dataclass(frozen=True, eq=False)
class SearchTarget:
    """A surface, by its samples, that others are laid on roughly.

    Attributes
    ----------
    samples : SurfaceSamples
    """

    samples: SurfaceSamples

    @cached_property
    def grid(self) -> LookupGrid:
        """One of the nearest of about 4,000 samples for every cell of a grid around the surface."""
        return LookupGrid.around(self.samples.every(_COARSE_SAMPLES), self.diagonal_mm)

    @cached_property
    def frame(self) -> MotionFrame:
        """Centroid and radius of gyration of the surface."""
        return MotionFrame.of(self.samples.points, np.ones(len(self.samples)))

    @cached_property
    def diagonal_mm(self) -> float:
        """Diagonal of the box around the samples, mm."""
        return float(np.linalg.norm(np.ptp(self.samples.points, axis=0)))


@dataclass(frozen=True, eq=False)
class LookupGrid:
    """A near sample by cell: one array access instead of a search.

    Attributes
    ----------
    origin : (3,) float32 ndarray
        Lowest corner, mm.
    cell_mm : float
    shape : (3,) ndarray of int
        Cells along each axis.
    nearest : (cells,) ndarray of int
        Index of a sample near each cell's middle.
    points, normals : (3, n) float32 ndarray
        The samples, coordinate by coordinate.
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
        nearest = _nearest(samples.points, middles)
        return cls(
            low.astype(np.float32),
            cell,
            shape,
            nearest,
            np.ascontiguousarray(samples.points.T, dtype=np.float32),
            np.ascontiguousarray(samples.normals.T, dtype=np.float32),
        )

    def look_up(self, points: FloatArray) -> IntArray:
        """Sample (p, n) near each of the points (p, 3, n); those outside take a cell at the rim."""
        flat = np.zeros((len(points), points.shape[2]), dtype=np.int32)
        for k in range(3):
            place = (points[:, k] - self.origin[k]) * np.float32(1.0 / self.cell_mm)
            np.clip(place, np.float32(0.0), np.float32(self.shape[k] - 1), out=place)
            flat *= np.int32(self.shape[k])
            flat += place.astype(np.int32)
        found: IntArray = self.nearest.take(flat)
        return found

    @staticmethod
    def taken(columns: FloatArray, found: IntArray) -> FloatArray:
        """Points or normals (p, 3, n) of samples (p, n)."""
        taken: FloatArray = np.empty((len(found), 3, found.shape[1]), dtype=columns.dtype)
        for k in range(3):
            taken[:, k] = columns[k].take(found)
        return taken


def _nearest(samples: FloatArray, points: FloatArray) -> IntArray:
    """Nearest sample of each point, roughly, in threads of our own.

    Those of the tree's ``workers`` are daemons: if the caller is interrupted while it waits for
    them, they go on searching while the program, and the memory that they use, is taken down.
    """
    tree = cKDTree(samples)
    blocks = [points[start : start + _BLOCK] for start in range(0, len(points), _BLOCK)]
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        found = list(pool.map(lambda block: tree.query(block, eps=_ROUGHLY)[1], blocks))
    return np.concatenate(found).astype(np.int64)
