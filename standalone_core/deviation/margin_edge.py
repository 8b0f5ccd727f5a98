"""Where a crown's edge lies in planes across its margin line: how long, and how large."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.refine import EvaluationMesh
from ..mesh.section import Sections, cut_near_places
from .margin_places import MarginPlaces


@dataclass(frozen=True, eq=False)
class Edge:
    """A surface's edge at each place, measured from the place, mm; NaN where it does not show.

    Attributes
    ----------
    down : (p,) float
        How far the outline reaches against the path of insertion (towards gingival).
    out : (p,) float
        How far it reaches outward within the band above that.
    on_border : (p,) bool
        Where the outline is lowest at an open border of the surface.
    """

    down: FloatArray
    out: FloatArray
    on_border: BoolArray


def edge_at(
    surface: EvaluationMesh,
    places: MarginPlaces,
    *,
    search_mm: float,
    band_mm: float,
    border_is_edge: bool,
) -> Edge:
    """Find a surface's edge in the plane across the margin line at each place.

    The plane holds the path of insertion and the way outward. Of the outline in it, the curve
    that comes nearest to the place counts, out to ``search_mm``. Its reach against the path of
    insertion and, in the lowest ``band_mm``, outward are the largest values over the curve:
    they belong to the outline and not to the triangles that it was cut from, they move as the
    surface moves, and they need no edge sharp enough to be found. An outline that is lowest
    where it ends does not show its edge.

    Parameters
    ----------
    surface : EvaluationMesh
        With a spacing about as short as the places' step.
    places : MarginPlaces
    search_mm : float
    band_mm : float
    border_is_edge : bool
        Whether an open border of the mesh is its edge (of a design that is an open shell), and
        not merely where it was seen no farther (of a scan).
    """
    cut = cut_near_places(
        surface.mesh,
        places.points_mm,
        places.along,
        radius_mm=search_mm,
        longest_edge_mm=surface.spacing_mm,
        closed=places.closed,
    )
    cut = cut.kept(_nearest_curves(cut, places))
    arms = cut.ends_mm - places.points_mm[cut.plane][:, None]
    down = -arms @ places.insertion
    out = np.einsum("kei,ki->ke", arms, places.out[cut.plane])
    lowest = _largest(down.max(axis=1, initial=-np.inf), cut.plane, len(places))
    on_border = _ends_lowest(cut, down, lowest, cut.loose & cut.border)
    cut_off = _ends_lowest(cut, down, lowest, cut.loose & ~cut.border)
    seen = np.isfinite(lowest) & ~cut_off & (border_is_edge | ~on_border)
    level = lowest[cut.plane] - band_mm
    widest = _largest(_out_below(down, out, level), cut.plane, len(places))
    return Edge(np.where(seen, lowest, np.nan), np.where(seen, widest, np.nan), on_border)


def _nearest_curves(cut: Sections, places: MarginPlaces) -> BoolArray:
    """Which pieces belong to the curve that comes nearest to their place."""
    distance = _distances(cut, places.points_mm)
    curve = cut.curve
    nearest = -_largest(-distance, cut.plane, len(places))
    chosen = np.zeros(int(curve.max(initial=-1)) + 1, dtype=bool)
    chosen[curve[distance == nearest[cut.plane]]] = True
    kept: BoolArray = chosen[curve]
    return kept


def _distances(cut: Sections, points: FloatArray) -> FloatArray:
    """Distance of each piece from its place, (k,)."""
    start = cut.ends_mm[:, 0] - points[cut.plane]
    way = cut.ends_mm[:, 1] - cut.ends_mm[:, 0]
    square = np.einsum("ij,ij->i", way, way)
    share = -np.einsum("ij,ij->i", start, way) / np.where(square > 0, square, 1.0)
    distance: FloatArray = np.linalg.norm(start + np.clip(share, 0, 1)[:, None] * way, axis=1)
    return distance


def _ends_lowest(
    cut: Sections, down: FloatArray, lowest: FloatArray, marked: BoolArray
) -> BoolArray:
    """Whether a plane's outline is lowest at a marked end, (p,)."""
    ends = marked[cut.node] & (down >= lowest[cut.plane][:, None])
    result = np.zeros(len(lowest), dtype=bool)
    result[cut.plane[ends.any(axis=1)]] = True
    return result


def _out_below(down: FloatArray, out: FloatArray, level: FloatArray) -> FloatArray:
    """How far each piece reaches outward where it lies below a level, (k,); −inf if nowhere."""
    below = down >= level[:, None]
    fall = down[:, 1] - down[:, 0]
    share = (level - down[:, 0]) / np.where(fall != 0, fall, 1.0)
    crossing = (1.0 - share) * out[:, 0] + share * out[:, 1]
    reach = np.where(below, out, crossing[:, None])
    return np.where(below.any(axis=1), reach.max(axis=1, initial=-np.inf), -np.inf)


def _largest(values: FloatArray, plane: IntArray, count: int) -> FloatArray:
    largest = np.full(count, -np.inf)
    np.maximum.at(largest, plane, values)
    return largest
