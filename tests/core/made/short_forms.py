"""Solids with a piece missing from a sharp edge, and what is missing by formula."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh

Profile = Sequence[tuple[float, float]]

HALF_LENGTH_MM = 2.0
HALF_CHIP_MM = 0.75
DEPTH_MM = 2.0

TIP_MM = 4.0
"""Radius of the thimble's margin line, at height 0."""
OUTSIDE: Profile = ((4.0, 0.0), (4.35, 1.5), (4.3, 4.6), (3.6, 5.6), (0.0, 6.0))
INSIDE: Profile = ((4.0, 0.0), (3.65, 0.7), (3.3, 1.2), (3.1, 4.0), (0.0, 4.4))
"""Meridians (radius, height) from the margin to the axis, mm; they meet at 40° there."""


def wedge(angle_deg: float, chip_mm: float = 0.0) -> TriangleMesh:
    """Return a prism whose lowest edge, along x, is as sharp as stated and perhaps chipped.

    The chip takes all below the height ``chip_mm`` and between x = ±0.75 mm: the scan has a flat
    floor and two upright sides there.
    """
    slope = np.tan(np.radians(angle_deg / 2))
    height = chip_mm or 0.5
    levels = np.array([0.0, height, DEPTH_MM])
    x = np.array([-HALF_LENGTH_MM, -HALF_CHIP_MM, HALF_CHIP_MM, HALF_LENGTH_MM])
    points, faces = [], []

    def add(*corners: tuple[float, float, float]) -> None:
        first = len(points)
        points.extend(corners)
        faces.extend([first, first + k, first + k + 1] for k in range(1, len(corners) - 1))

    def at(k: int, side: int, level: int) -> tuple[float, float, float]:
        return x[k], side * slope * levels[level], levels[level]

    for k in range(3):
        broken = chip_mm > 0 and k == 1
        for level in range(int(broken), 2):
            add(
                at(k, -1, level),
                at(k + 1, -1, level),
                at(k + 1, -1, level + 1),
                at(k, -1, level + 1),
            )
            add(at(k + 1, 1, level), at(k, 1, level), at(k, 1, level + 1), at(k + 1, 1, level + 1))
        add(at(k, -1, 2), at(k + 1, -1, 2), at(k + 1, 1, 2), at(k, 1, 2))
        if broken:
            add(at(k, 1, 1), at(k + 1, 1, 1), at(k + 1, -1, 1), at(k, -1, 1))
            add(at(1, 1, 0), at(1, 1, 1), at(1, -1, 1))
            add(at(2, -1, 0), at(2, -1, 1), at(2, 1, 1))
    for k, order in ((0, -1), (3, 1)):
        add(at(k, 1, 0), *(at(k, side, 1) for side in (order, -order)))
        add(at(k, -order, 1), at(k, order, 1), at(k, order, 2), at(k, -order, 2))
    return _joined(np.array(points), np.array(faces))


def missing_from_wedge(points: np.ndarray, chip_mm: float) -> np.ndarray:
    """Return how far each point of the whole wedge is from the chipped one, mm.

    Straight above a point below the floor lies the floor, beside it an upright side: both hold the
    point's projection, since the wedge only widens upwards.
    """
    below, beside = chip_mm - points[:, 2], HALF_CHIP_MM - np.abs(points[:, 0])
    return np.maximum(np.minimum(below, beside), 0.0)


def thimble(
    short_mm: float = 0.0,
    quarter: bool = False,
    *,
    outside_only: bool = False,
    around: int = 160,
    outside: Profile = OUTSIDE,
    inside: Profile = INSIDE,
) -> TriangleMesh:
    """Return a crown of revolution, perhaps short at its margin, all round or on a quarter.

    What is missing lies below the height ``short_mm``, in the quarter between −45° and 45°.
    """
    level = short_mm or 0.2
    out, into = _with_level(outside, level), _with_level(inside, level)
    theta = np.arange(around + 1) * (2 * np.pi / around)
    edge = around // 8
    points, faces = [], []

    def at(k: int, place: tuple[float, float]) -> tuple[float, float, float]:
        return place[0] * np.cos(theta[k]), place[0] * np.sin(theta[k]), place[1]

    def add(*corners: tuple[float, float, float]) -> None:
        first = len(points)
        points.extend(corners)
        faces.extend([first, first + k, first + k + 1] for k in range(1, len(corners) - 1))

    for k in range(around):
        gone = short_mm > 0 and (not quarter or k < edge or k >= around - edge)
        for i in range(int(gone), len(out) - 1):
            add(at(k, out[i]), at(k + 1, out[i]), at(k + 1, out[i + 1]), at(k, out[i + 1]))
        if outside_only:
            continue
        for i in range(int(gone), len(into) - 1):
            add(at(k + 1, into[i]), at(k, into[i]), at(k, into[i + 1]), at(k + 1, into[i + 1]))
        if gone:
            add(at(k, into[1]), at(k + 1, into[1]), at(k + 1, out[1]), at(k, out[1]))
    if short_mm > 0 and quarter:
        add(at(edge, out[0]), at(edge, out[1]), at(edge, into[1]))
        add(at(around - edge, out[0]), at(around - edge, into[1]), at(around - edge, out[1]))
    return _joined(np.array(points), np.array(faces))


def _with_level(profile: Profile, level: float) -> list[tuple[float, float]]:
    """Return a meridian with its own point at a height between its first two."""
    (r0, z0), (r1, z1) = profile[:2]
    share = (level - z0) / (z1 - z0)
    return [profile[0], (r0 + share * (r1 - r0), level), *profile[1:]]


def _joined(points: np.ndarray, faces: np.ndarray) -> TriangleMesh:
    """Return a mesh whose equal points are one, without faces that have no area."""
    rounded, index = np.unique(np.round(points, 9) + 0.0, axis=0, return_inverse=True)
    joined = index.reshape(-1)[faces]
    whole = (joined != np.roll(joined, 1, axis=1)).all(axis=1)
    return TriangleMesh(rounded, joined[whole], "solid")


def missing_from_thimble(
    points: np.ndarray, short_mm: float, quarter: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Return how far points of the whole thimble are from the short one, mm, and where that holds.

    Straight above what is missing lies the flat end. Of a quarter it holds farther from the
    upright sides than what is missing is high.
    """
    below = np.maximum(short_mm - points[:, 2], 0.0)
    if not quarter:
        return below, np.ones(len(points), dtype=bool)
    radius = np.hypot(points[:, 0], points[:, 1])
    away = radius * (np.pi / 4 - np.abs(np.arctan2(points[:, 1], points[:, 0])))
    return np.where(away > 0, below, 0.0), np.abs(away) > 1.1 * short_mm
