"""Facet sag: what the scan's flat triangles alone read as, though the crown is perfect.

Over a triangle with corners on z = κ (x² + y²) / 2 linear interpolation is off by
(κ/2) Σ λᵢ λⱼ eᵢⱼ² over the pairs of corners i < j, λ the barycentric weights, e the side between
two corners: with z quadratic, Σ λᵢ zᵢ − z(Σ λᵢ xᵢ) is its variance under the weights. The mean of
λᵢ λⱼ over a triangle is 1/12, so the mean sag is κ Σe² / 24, L² κ / 8 for equilateral triangles.
Of two principal curvatures κ₁, κ₂ each counts by the squares of the sides along it; in a mesh
without a favoured direction these are alike, and κ becomes the mean curvature H.

On convex places the triangles lie inside the crown: it reads as worn there, and as filled in
concave ones.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..shares import share_words
from ..words.names import the_area
from ..words.text import listed

if TYPE_CHECKING:
    from ..areas.area_set import AreaSet
    from ..arrays import FloatArray
    from ..mesh.triangle_mesh import TriangleMesh
    from .field import DeviationField

MAX_SHARE_OF_TOLERANCE = 0.1
"""More mean sag than this share of an area's tolerance is told; ours, no source."""


@dataclass(frozen=True)
class AreaSag:
    """How much of an area's deviation from design to scan is facet sag.

    Attributes
    ----------
    area : str
    edge_mm : float
        Root mean square length of the sides of the scan's triangles there, mm.
    mean_um : float
        What sag adds to the mean deviation, µm: negative where the area is convex on the whole.
    mean_abs_um : float
        Its mean size, µm: what the mean absolute deviation of a perfect crown would be.
    of_mean_abs_um : float
        How much the mean absolute deviation falls where sag is taken out, µm; below 0 where the
        sag hides other deviations.
    """

    area: str
    edge_mm: float
    mean_um: float
    mean_abs_um: float
    of_mean_abs_um: float


def facet_sag_mm(curvature: FloatArray, points_mm: FloatArray, scan: TriangleMesh) -> FloatArray:
    """Return what to add to a deviation from design to scan to be rid of facet sag.

    H Σe² / 24 with Σe² of the scan's triangles around the vertex nearest to each point: scanners
    make smaller triangles where the surface bends. Where an edge is longer than the radius of
    curvature, what is quadratic no longer holds; |H| then counts as one over the edge. O(n log n).

    Parameters
    ----------
    curvature : (n,) float
        Mean curvature of the design at its evaluation points, 1/mm, positive on convex places.
    points_mm : (n, 3) float
        These points.
    scan : TriangleMesh
        The superimposed scan with its own triangles, not split.

    Returns
    -------
    (n,) float
        mm; positive on convex places.
    """
    return _sag(curvature, _side_squares_at(points_mm, scan))


def sag_by_area(
    area_set: AreaSet, field: DeviationField, scan: TriangleMesh
) -> tuple[AreaSag, ...]:
    """Say for every area how much of its deviation from design to scan is facet sag.

    Parameters
    ----------
    area_set : AreaSet
    field : DeviationField
        From design to scan.
    scan : TriangleMesh
        As for :func:`facet_sag_mm`.

    Returns
    -------
    tuple of AreaSag
        One for every area with points that count.
    """
    counted = np.flatnonzero(field.counted)
    squares = _side_squares_at(field.points_mm[counted], scan)
    sag = _sag(area_set.evaluation.curvature[counted], squares)
    deviation = field.deviation_mm[counted]
    less = np.abs(deviation) - np.abs(deviation + sag)
    columns = np.stack([np.ones(len(sag)), squares / 3.0, -sag, np.abs(sag), less], axis=1)
    columns *= field.weights_mm2[counted, None]
    found = []
    for name, area in area_set.areas.items():
        weight, *sums = area.points[counted].astype(np.float64) @ columns
        if weight > 0:
            square, *lengths = (float(value / weight) for value in sums)
            found.append(AreaSag(name, square**0.5, *(1e3 * mm for mm in lengths)))
    return tuple(found)


def about_sag(sags: Sequence[AreaSag], limits_um: Mapping[str, float]) -> str:
    """Say where sag alone takes more than a tenth of a tolerance; empty if nowhere."""
    found = [
        (sag, sag.mean_abs_um / limits_um[sag.area])
        for sag in sags
        if sag.area in limits_um and sag.mean_abs_um > MAX_SHARE_OF_TOLERANCE * limits_um[sag.area]
    ]
    if not found:
        return ""
    edge_mm = max(sag.edge_mm for sag, _ in found)
    places = listed(
        [
            f"{sag.mean_abs_um:.1f} µm on average over {the_area(sag.area)} "
            f"({share_words(share, MAX_SHARE_OF_TOLERANCE, digits=0)} of its tolerance of "
            f"{limits_um[sag.area]:g} µm)"
            for sag, share in found
        ]
    )
    return (
        f"The scan's triangles ({edge_mm:.2f} mm edges) alone read as missing material on convex "
        f"places and as excess in concave ones: {places}. Scan finer."
    )


def edges_at_mm(points_mm: FloatArray, scan: TriangleMesh) -> FloatArray:
    """Root mean square length of the sides of a scan's triangles around each point, (n,), mm.

    Parameters
    ----------
    points_mm : (n, 3) float
    scan : TriangleMesh
        The superimposed scan with its own triangles.
    """
    edges: FloatArray = np.sqrt(_side_squares_at(points_mm, scan) / 3.0)
    return edges


def _sag(curvature: FloatArray, squares: FloatArray) -> FloatArray:
    most = np.sqrt(3.0 / squares)
    sag: FloatArray = np.clip(curvature, -most, most) * squares / 24.0
    return sag


def _side_squares_at(points_mm: FloatArray, scan: TriangleMesh) -> FloatArray:
    """Σe² of the scan's triangles around the vertex nearest to each point, (n,), mm²."""
    from scipy.spatial import cKDTree

    squares = np.zeros(len(scan))
    for k in range(3):
        start, end = scan.faces[:, k - 1], scan.faces[:, k]
        side = scan.vertices.take(end, axis=0) - scan.vertices.take(start, axis=0)
        squares += np.einsum("ij,ij->i", side, side)
    shares = np.repeat(squares * scan.face_areas / 3.0, 3)
    areas = scan.vertex_areas
    used = np.flatnonzero(areas > 0)
    sums = np.bincount(scan.faces.ravel(), shares, len(areas))
    tree = cKDTree(scan.vertices[used], balanced_tree=False)  # asked once: building is half of it
    _, nearest = tree.query(points_mm)
    around: FloatArray = (sums[used] / areas[used])[nearest]
    return around
