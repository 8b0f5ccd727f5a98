"""Boxes around the faces of a mesh in a binary tree: which faces a shape may meet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from ...mesh.morton import curve_order
from ...mesh.triangle_mesh import TriangleMesh

Meets: TypeAlias = Callable[[IntArray, FloatArray, FloatArray], BoolArray]
"""Whether the shapes of rows (k,) may meet boxes with these low and high corners (3, k)."""

_AT_ONCE = 2048
"""Shapes followed down the tree together: what lies in between stays in the cache."""


@dataclass(frozen=True, eq=False)
class BoxTree:
    """Boxes of a mesh's faces, two of which make one of the level above.

    Attributes
    ----------
    faces : (m,) int
        The faces along a space-filling curve, as the boxes of the last level hold them.
    levels : tuple of ((3, k) float, (3, k) float)
        Low and high corners of the boxes, the whole mesh first.
    """

    faces: IntArray
    levels: tuple[tuple[FloatArray, FloatArray], ...]

    @classmethod
    def of(cls, mesh: TriangleMesh) -> BoxTree:
        """Make the tree of a mesh with at least one face; O(m log m)."""
        faces = curve_order(mesh.triangles.mean(axis=1))
        corners = mesh.triangles[faces]
        low, high = corners.min(axis=1).T.copy(), corners.max(axis=1).T.copy()
        levels = [(low, high)]
        while low.shape[1] > 1:
            pairs = np.arange(0, low.shape[1], 2)  # the last may be alone
            low, high = (
                np.minimum.reduceat(low, pairs, axis=1),
                np.maximum.reduceat(high, pairs, axis=1),
            )
            levels.append((low, high))
        return cls(faces, tuple(levels[::-1]))

    def meeting(self, count: int, meets: Meets) -> Iterator[tuple[IntArray, IntArray]]:
        """Yield pairs of shape and face whose boxes meet, for some of the shapes at a time.

        Parameters
        ----------
        count : int
            Shapes are numbered 0 … count − 1.
        meets : callable
            Must hold for a box wherever it holds for a box inside it.

        Yields
        ------
        row, face : (k,) int
            Rows ascend.
        """
        for start in range(0, count, _AT_ONCE):
            row = np.arange(start, min(start + _AT_ONCE, count))
            node = np.zeros_like(row)
            for number, (low, high) in enumerate(self.levels):
                if number:
                    row = np.repeat(row, 2)
                    node = np.repeat(2 * node, 2)
                    node[1::2] += 1
                    there = np.flatnonzero(node < low.shape[1])
                    row, node = row.take(there), node.take(there)
                keep = np.flatnonzero(meets(row, low.take(node, 1), high.take(node, 1)))
                row, node = row.take(keep), node.take(keep)
            yield row, self.faces.take(node)
