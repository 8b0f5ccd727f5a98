"""Cut a triangle surface with one plane into curves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray, IntArray
from .triangle_mesh import TriangleMesh


@dataclass(frozen=True, eq=False)
class CutCurve:
    """A curve in which a plane cuts a surface.

    Attributes
    ----------
    points_mm : (k, 3) float
        In order, each on an edge of the mesh; the first is not repeated at the end.
    closed : bool
        Whether the last is joined to the first.
    """

    points_mm: FloatArray
    closed: bool


def plane_cut(mesh: TriangleMesh, origin: ArrayLike, normal: ArrayLike) -> tuple[CutCurve, ...]:
    """Return the curves in which a plane cuts a mesh, the longest first.

    Parameters
    ----------
    mesh : TriangleMesh
    origin, normal : (3,) array_like
        A point of the plane and its normal, of any length but 0.

    Notes
    -----
    A vertex in the plane counts as above it, so that each face that is cut is cut by two of its
    edges, and a closed surface is cut into closed curves only. O(faces).
    """
    unit = np.asarray(normal, dtype=np.float64)
    height = (mesh.vertices - np.asarray(origin, dtype=np.float64)) @ (unit / np.linalg.norm(unit))
    above = height >= 0.0
    first, second, third = (above.take(mesh.faces[:, k]) for k in range(3))
    corners = mesh.faces[(first != second) | (second != third)]
    if not len(corners):
        return ()
    sides = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2)  # (cut, 3 edges, 2 ends)
    sides = sides[above[sides[:, :, 0]] != above[sides[:, :, 1]]].astype(np.int64)
    count = len(mesh.vertices)
    edges, number = np.unique(sides.min(axis=1) * count + sides.max(axis=1), return_inverse=True)
    one, other = edges // count, edges % count
    low, high = height[one], height[other]
    share = (low / (low - high))[:, None]
    points = (1.0 - share) * mesh.vertices[one] + share * mesh.vertices[other]
    curves = [
        CutCurve(points[places], closed) for places, closed in _chained(number.reshape(-1, 2))
    ]
    return tuple(sorted(curves, key=lambda curve: -len(curve.points_mm)))


def placed_cut(
    mesh: TriangleMesh, to_world: ArrayLike, origin: ArrayLike, normal: ArrayLike
) -> tuple[CutCurve, ...]:
    """Return the curves in which a plane cuts a placed mesh, whose points are not moved for it.

    Parameters
    ----------
    mesh : TriangleMesh
    to_world : (4, 4) array_like
        Its place: any affine map that can be undone.
    origin, normal : (3,) array_like
        Of the plane, in the world; a plane n·(x − o) = 0 is (Aᵀn)·(y − A⁻¹(o − t)) = 0 in the
        mesh's coordinates y, with x = A y + t.

    Returns
    -------
    tuple of CutCurve
        In the world's units.
    """
    place = np.asarray(to_world, dtype=np.float64)
    turn, shift = place[:3, :3], place[:3, 3]
    own = np.linalg.solve(turn, np.asarray(origin, dtype=np.float64) - shift)
    curves = plane_cut(mesh, own, np.asarray(normal, dtype=np.float64) @ turn)
    return tuple(CutCurve(curve.points_mm @ turn.T + shift, curve.closed) for curve in curves)


def _chained(pieces: IntArray) -> list[tuple[list[int], bool]]:
    """Join pieces (k, 2) at their common ends; of more than two at an end, two by two."""
    at: dict[int, list[int]] = {}
    for piece, (one, other) in enumerate(pieces.tolist()):
        at.setdefault(one, []).append(piece)
        at.setdefault(other, []).append(piece)
    ends = pieces.tolist()
    used = [False] * len(ends)
    loose = [piece for node, here in at.items() if len(here) == 1 for piece in here]
    chains = []
    for first in (*loose, *range(len(ends))):  # open curves from an end of theirs
        if used[first]:
            continue
        one, other = ends[first]
        chain = [one, other] if len(at[one]) == 1 or len(at[other]) != 1 else [other, one]
        used[first] = True
        while (following := next((p for p in at[chain[-1]] if not used[p]), None)) is not None:
            used[following] = True
            start, end = ends[following]
            chain.append(end if start == chain[-1] else start)
        closed = len(chain) > 2 and chain[0] == chain[-1]
        chains.append((chain[:-1] if closed else chain, closed))
    return chains
