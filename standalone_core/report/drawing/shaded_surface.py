"""A coloured surface seen from several sides, as pixels: shaded, all views at one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...arrays import FloatArray, IntArray
from ...mesh.triangle_mesh import TriangleMesh
from .deviation_colours import ColourArray
from .views import View
from .visible import PixelArray, plane_slopes, visible_faces

SAMPLES = 2
"""Samples of a pixel along each side; their mean makes edges smooth."""

_LIGHT = np.array([-0.35, 0.45, 0.82])
_DARKEST = 0.6


@dataclass(frozen=True)
class Canvas:
    """Width and height of pictures, and what the surface must leave free, in pixels."""

    width: int
    height: int
    side: int
    top: int
    base: int


@dataclass(frozen=True, eq=False)
class SeenSurface:
    """A surface from one side: what is seen in each sample, whatever its colours.

    Attributes
    ----------
    faces : (m, 3) int
        Of the surface.
    nearest : (h, w) int
        The face seen in each sample; −1 where there is none.
    flat : (n, 2) float
        The vertices in samples.
    light : (n,) float
        Share of its light that each vertex shows.
    """

    faces: IntArray
    nearest: PixelArray
    flat: FloatArray
    light: FloatArray

    def painted(self, colours: ColourArray) -> NDArray[np.uint8]:
        """Return the picture in colours of the vertices, (h', w', 3), on white.

        Colours are darkened in linear light, and blended within a face as they are seen.
        """
        lit = 255.0 * _encoded(_decoded(colours / 255.0) * self.light[:, None])
        slope = plane_slopes(self.flat[self.faces], lit[self.faces])
        with np.errstate(invalid="ignore"):  # faces seen from their edge, that no sample shows
            at_zero = (slope * self.flat[self.faces[:, 0], :, None]).sum(axis=1)
        level = lit[self.faces[:, 0]] - at_zero
        height, width = self.nearest.shape
        seen = np.flatnonzero(self.nearest >= 0)
        face = self.nearest.ravel()[seen]
        row, column = np.divmod(seen.astype(np.int32), np.int32(width))
        x, y = (one.astype(np.float32) + np.float32(0.5) for one in (column, row))
        picture = np.empty((height // SAMPLES, width // SAMPLES, 3), dtype=np.uint8)
        for k in range(3):
            start, along_x, along_y = (
                one.astype(np.float32) for one in (level[:, k], slope[:, 0, k], slope[:, 1, k])
            )
            samples = np.full(height * width, np.float32(255.0))
            samples[seen] = start[face] + along_x[face] * x + along_y[face] * y
            blocks = samples.reshape(height // SAMPLES, SAMPLES, width // SAMPLES, SAMPLES)
            picture[:, :, k] = np.clip(blocks.mean(axis=(1, 3)) + 0.5, 0.0, 255.0)
        return picture


def pixels_per_mm(mesh: TriangleMesh, views: Sequence[View], size: Canvas) -> float:
    """Return the scale at which a surface fits all views."""
    free = size.width - 2 * size.side, size.height - size.top - size.base
    points = mesh.vertices - _middle(mesh)
    scale = np.inf
    for view in views:
        half = np.abs(points @ _turn(view).T[:, :2]).max(axis=0)
        scale = min(
            scale, *(0.5 * room / max(one, 1e-9) for room, one in zip(free, half, strict=True))
        )
    return float(scale)


def see_surface(mesh: TriangleMesh, view: View, scale: float, size: Canvas) -> SeenSurface:
    """Turn a surface to a view and find what is seen of it.

    Parameters
    ----------
    mesh : TriangleMesh
    view : View
    scale : float
        Pixels per mm.
    size : Canvas
    """
    turn = _turn(view)
    points = (mesh.vertices - _middle(mesh)) @ turn.T * scale
    x = 0.5 * size.width + points[:, 0]
    y = 0.5 * (size.height + size.top - size.base) - points[:, 1]
    placed = SAMPLES * np.column_stack([x, y, points[:, 2]])
    nearest = visible_faces(
        placed,
        mesh.faces,
        SAMPLES * size.width,
        SAMPLES * size.height,
        both_sides=len(mesh.graph.border_sides) > 0,
    )
    return SeenSurface(mesh.faces, nearest, placed[:, :2], _shade(mesh.vertex_normals @ turn.T))


def _middle(mesh: TriangleMesh) -> FloatArray:
    middle: FloatArray = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    return middle


def _turn(view: View) -> FloatArray:
    """Return the turn that brings a view's directions to the right, up and to the viewer."""
    front, up = np.array(view.towards_viewer), np.array(view.up)
    return np.array([np.cross(up, front), up, front])


def _shade(normals: FloatArray) -> FloatArray:
    """Return the light on each vertex, (n,), for normals in the viewer's frame.

    Kept mild so that a colour can still be found on the legend: places that face the viewer or
    the light keep their colour exactly, the steepest ones keep three fifths of their light.
    """
    cosine = normals @ (_LIGHT / np.linalg.norm(_LIGHT))
    # Back sides are seen through open borders only; they are lit as their front would be.
    cosine = np.where(normals[:, 2] < 0.0, -cosine, cosine)
    rim = 0.3 * (1.0 - np.abs(normals[:, 2])) ** 4  # sets the outline off from the white
    light: FloatArray = np.clip(_DARKEST + 0.4 * (cosine + 0.1) / 0.92 - rim, _DARKEST, 1.0)
    return light


def _decoded(srgb: FloatArray) -> FloatArray:
    decoded: FloatArray = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return decoded


def _encoded(linear: FloatArray) -> FloatArray:
    encoded: FloatArray = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1.0 / 2.4) - 0.055
    )
    return encoded
