"""Lines and places that somebody gave for a design's surface: refused where they lie off it.

Before anything is measured along the surface: a line in another unit, or of a design that was
moved, would take as much time and memory as it is long.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray
from ..errors import AreaError
from ..mesh.refine import EvaluationMesh
from ..mesh.triangle_mesh import TriangleMesh
from ..surface.closest import SurfaceIndex
from .area_set import MarginLine

OFF_SURFACE_MM = 0.5
"""How far a margin line may lie off the surface, mm. One that is drawn by hand lies 0.3 mm off
where it cuts a corner; ours, no source."""

MOST_LINE_POINTS = 100_000
"""A margin line of 50 mm has as many when they lie half a micrometre apart; ours, no source."""

_MOST_DIAGONALS = 20.0  # a margin line is about two of the design's diagonals long; ours, no source
_FARTHEST_MM = 1e12  # farther places are told as this far: their squares must stay numbers
_SOME_POINTS = 500  # tell another unit as well as all
_SIZES = (25.4, 1000.0, 10.0, 0.1, 0.001, 1.0 / 25.4)
_OF_SIZE = {25.4: "inches for millimetres", 1.0 / 25.4: "millimetres for inches"}
_REMEDY = "Correct its places (mm, in the design's own coordinates), or delete it to have it found."


def refuse_line_off_surface(line: MarginLine, evaluation: EvaluationMesh) -> None:
    """Refuse a margin line that cannot be one of this design.

    Parameters
    ----------
    line : MarginLine
    evaluation : EvaluationMesh
        The design; a line may lie :data:`OFF_SURFACE_MM` off it, or as far as its edges are long.

    Raises
    ------
    AreaError
        Too many points, or too few, one that is not finite or too far off, or a line that is many
        times too long. Says how far off it lies, and why that probably is.
    """
    points, name = line.points_mm, evaluation.design.name
    if not 3 <= len(points) <= MOST_LINE_POINTS:
        raise AreaError(
            f"The margin line has {len(points):,} points; 3 to {MOST_LINE_POINTS:,} can be used.",
            subject=name,
            remedy=_REMEDY,
        )
    if not np.isfinite(points).all():
        raise AreaError(
            "The margin line has places that are not finite.", subject=name, remedy=_REMEDY
        )
    limit_mm = max(OFF_SURFACE_MM, _usual_edge_mm(evaluation.design))
    far = _too_far(points, evaluation, limit_mm)
    if far.any():
        farthest_mm = _farthest_mm(points[far], evaluation)
        raise AreaError(
            f"The margin line lies off the design's surface at {int(far.sum()):,} of its "
            f"{len(points):,} points, at most by {farthest_mm:.4g} mm ({limit_mm:.2g} mm are "
            f"allowed).{cause_of(points, evaluation, limit_mm)}",
            subject=name,
            remedy=_REMEDY,
        )
    longest_mm = _MOST_DIAGONALS * evaluation.design.diagonal_mm
    if line.length_mm > longest_mm:
        raise AreaError(
            f"The margin line is {line.length_mm:.4g} mm long; on a design of this size at most "
            f"{longest_mm:.4g} mm can be. Its points are probably not in order.",
            subject=name,
            remedy="Put its points in the order in which they follow each other around the "
            "cavity, or delete it to have it found.",
        )


def cause_of(points: FloatArray, evaluation: EvaluationMesh, limit_mm: float) -> str:
    """Say why places probably lie off the surface, as a sentence after a space; empty if unknown.

    Parameters
    ----------
    points : (k, 3) float
    evaluation : EvaluationMesh
    limit_mm : float
        Places within it lie on the surface.
    """
    tree, within_mm = _tree(evaluation), limit_mm + evaluation.spacing_mm
    points = np.clip(points, -_FARTHEST_MM, _FARTHEST_MM)
    some = points[:: 1 + len(points) // _SOME_POINTS]
    for size in _SIZES:
        if np.isfinite(_gaps(tree, some / size, within_mm)).all():
            times = f"{size:g} times" if size > 1.0 else f"1/{1.0 / size:g}"
            said = f" ({_OF_SIZE[size]})" if size in _OF_SIZE else ""
            return f" Its coordinates look {times} what they should be{said}."
    extent = float(np.linalg.norm(np.ptp(points, axis=0)))
    diagonal = evaluation.design.diagonal_mm
    if len(points) > 1 and 0.2 * diagonal < extent < 1.2 * diagonal:
        return " It has the design's size: one of the two was probably moved."
    return ""


def _too_far(points: FloatArray, evaluation: EvaluationMesh, limit_mm: float) -> BoolArray:
    """Which points (k,) lie farther from the surface than the limit."""
    off_mm = _gaps(_tree(evaluation), points, limit_mm + evaluation.spacing_mm)
    # A place of the surface is nearer to one of its points than the spacing.
    unsure = np.flatnonzero((off_mm > limit_mm) & np.isfinite(off_mm))
    if len(unsure):
        feet = SurfaceIndex(evaluation.mesh, threads=1).closest(points[unsure])
        off_mm[unsure] = feet.distance_mm
    far: BoolArray = off_mm > limit_mm
    return far


def _farthest_mm(points: FloatArray, evaluation: EvaluationMesh) -> float:
    """Distance from the surface of the point that lies farthest from the design's middle."""
    points = np.clip(points, -_FARTHEST_MM, _FARTHEST_MM)
    from_middle = np.linalg.norm(points - evaluation.design.bounds.mean(axis=0), axis=1)
    farthest = points[[from_middle.argmax()]]
    return float(np.linalg.norm(evaluation.points - farthest, axis=1).min())


def _gaps(tree: cKDTree, points: FloatArray, bound_mm: float) -> FloatArray:
    """Distance of each point from the nearest of the tree's; infinite beyond the bound."""
    return np.asarray(tree.query(points, distance_upper_bound=bound_mm)[0])


def _tree(evaluation: EvaluationMesh) -> cKDTree:
    mesh = evaluation.mesh
    # Few points are sought: a tree that is quick to build.
    return cKDTree(mesh.vertices[mesh.used_vertices], balanced_tree=False, compact_nodes=False)


def _usual_edge_mm(design: TriangleMesh) -> float:
    corners = design.triangles
    return float(np.median(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)))
