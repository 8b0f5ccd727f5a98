"""A picture of coloured triangles in a plane: the same bytes on every run."""

from __future__ import annotations

import io

from ...arrays import FloatArray, IntArray
from .deviation_colours import ColourArray

DPI = 100


def flat_triangles_png(
    points: FloatArray, faces: IntArray, colours: ColourArray, *, size_px: int = 640
) -> bytes:
    """Draw triangles in the square from −1 to 1, the rest transparent.

    Parameters
    ----------
    points : (n, 2) float
        y upwards.
    faces : (m, 3) int
    colours : (n, 3) uint8
        sRGB at the points, blended between them.
    size_px : int
        Width and height of the picture.

    Returns
    -------
    bytes
        PNG.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.collections import TriMesh
    from matplotlib.figure import Figure
    from matplotlib.tri import Triangulation

    inches = size_px / DPI
    drawing = Figure(figsize=(inches, inches), dpi=DPI)
    FigureCanvasAgg(drawing)
    axes = drawing.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(-1.0, 1.0)
    axes.set_ylim(-1.0, 1.0)
    triangles = Triangulation(points[:, 0], points[:, 1], triangles=faces)
    axes.add_collection(TriMesh(triangles, facecolor=colours / 255.0))
    data = io.BytesIO()
    drawing.savefig(data, format="png", dpi=DPI, transparent=True, metadata={"Software": None})
    return data.getvalue()
