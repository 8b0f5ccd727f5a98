"""Scan surface that has no counterpart on the design: flash, stubs, a second layer, debris.

From the design such surface cannot be seen: every design point finds the nearest scan point, and
passes over what lies behind. Seen from the scan it stands higher above the design than anything
that the design finds thereabouts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..areas.margin_line import length_near_mm
from ..areas.support_marks import SUPPORTS
from ..mesh.graph import components
from ..mesh.patches import connected_patches, with_neighbours
from .field import NORMALS_DISAGREE, NOT_MUTUAL, ON_BORDER, TOO_FAR, DeviationField
from .places import areas_holding, place

if TYPE_CHECKING:
    from ..areas.area_set import AreaSet
    from ..arrays import BoolArray, FloatArray, IntArray
    from ..mesh.triangle_mesh import TriangleMesh
    from ..surface.closest import SurfaceIndex

_LEAST_MM = 0.03
"""Surface must stand out by more than this, and than the noise. Ours, no source."""
_NOISE_SPREADS = 6.0
_QUARTER_OF_NORMAL = 0.3186
"""A quarter of normal errors are smaller than this many standard deviations. The half would not
do for a spread: in a scan of two layers half of the points lie on the second one."""
_REACH = 2.0
"""The design is asked as far around a foot as this many times the height above it."""
_MIN_PIECE_MM2 = 0.02
"""Smaller pieces are listed only if they are higher than their limit."""
_SPECK_MM2 = 0.05
"""A smaller piece beside the end of an open design is not listed. Ours, no source."""
_MIN_SHARE = 0.1
"""A piece stands beside an area that holds at least this share of it."""


@dataclass(frozen=True)
class UnmatchedPiece:
    """One connected piece of scan surface without a counterpart on the design.

    Attributes
    ----------
    area_mm2 : float
        Surface of the scan, mm²; a thin fin has two sides.
    height_um : float
        Greatest height above the design, µm; where ``beyond_search``, at least this.
    mean_um : float
        Mean height, weighted by area, µm.
    beyond_search : bool
        Whether part of it lies farther from the design than the search distance.
    loose : bool
        Whether it belongs to a piece of the scan that is not joined to the crown.
    areas : tuple of str
        The areas that it stands beside, the one with the largest share first; empty if all of it
        is beyond the search distance.
    margin_mm : float
        Length of the margin line that it stands beside, mm; 0 without one.
    centre_mm, peak_mm : (3,) tuple of float
        Its middle and its highest place, mm, in the design's frame.
    n : int
        Points of the scan's evaluation mesh.
    """

    area_mm2: float
    height_um: float
    mean_um: float
    beyond_search: bool
    loose: bool
    areas: tuple[str, ...]
    margin_mm: float
    centre_mm: tuple[float, float, float]
    peak_mm: tuple[float, float, float]
    n: int

    def beside(self, area: str) -> bool:
        """Return whether the piece stands beside an area; beside the whole if beside any."""
        return bool(self.areas) if area == "whole" else area in self.areas


def with_unmatched(
    back: DeviationField, there: DeviationField, design: SurfaceIndex
) -> DeviationField:
    """Return the deviations from scan to design with the heights of unmatched scan surface.

    Parameters
    ----------
    back : DeviationField
        ``scan_to_design``.
    there : DeviationField
        ``design_to_scan``, at the vertices of the design's evaluation mesh.
    design : SurfaceIndex
        Of that mesh.

    Notes
    -----
    A scan point of height h above the design is unmatched if h exceeds every deviation D (and 0)
    that the design finds within 2 h of its foot, along the design's edges, by more than 30 µm and
    six robust spreads of h − D. A bump as wide as it is high is seen from below with its height, so
    it is matched; a fin, an overhang or a second layer is not. Missing material is never unmatched,
    nor is what goes on past the border of an open design.
    """
    height = _heights(back, design)
    seen = np.where(there.counted, np.nan_to_num(there.deviation_mm), 0.0)
    near = back.area_point >= 0
    excess = np.full(len(back), -np.inf)
    excess[near] = height[near] - np.maximum(seen[back.area_point[near]], 0.0)
    counted = back.counted & np.isfinite(excess)
    quarter = float(np.quantile(np.abs(excess[counted]), 0.25)) if counted.any() else 0.0
    spread = quarter / _QUARTER_OF_NORMAL
    least = max(_LEAST_MM, _NOISE_SPREADS * spread)
    candidates = np.flatnonzero(excess > least)
    standing = _standing_out(
        height[candidates] - least, back.area_point[candidates], seen, design.mesh
    )
    unmatched = np.full(len(back), np.nan)
    unmatched[candidates[standing]] = height[candidates[standing]]
    return replace(back, unmatched_mm=_before_the_end(back, unmatched))


def _before_the_end(back: DeviationField, unmatched_mm: FloatArray) -> FloatArray:
    """Return the heights, (n,), without what lies past the end of an open design.

    And without specks beside that: there is no saying whether the design would have seen them.
    """
    end = back.status == ON_BORDER
    if back.faces is None or not end.any() or not np.isfinite(unmatched_mm).any():
        return unmatched_mm
    past = _past_the_end(back)
    kept = np.where(past, np.nan, unmatched_mm)
    beside = with_neighbours(past | end, back.faces)
    for points in connected_patches(back.faces, np.isfinite(kept)):
        if beside[points].any() and back.weights_mm2[points].sum() < _SPECK_MM2:
            kept[points] = np.nan
    return kept


def _past_the_end(back: DeviationField) -> BoolArray:
    """Return which points, (n,), lie past an open design's border: it says nothing of them."""
    past = np.zeros(len(back), dtype=bool)
    end = back.status == ON_BORDER
    if back.faces is None or not end.any():
        return past
    beside = with_neighbours(end, back.faces)
    lost = np.isin(back.status, (NOT_MUTUAL, TOO_FAR))
    for points in connected_patches(back.faces, lost):
        past[points] = beside[points].any()
    return past


def _heights(back: DeviationField, design: SurfaceIndex) -> FloatArray:
    """Signed distance of scan points from the design, of those that do not count too, (n,)."""
    height = back.deviation_mm.copy()
    turned = np.flatnonzero(np.isin(back.status, (NORMALS_DISAGREE, NOT_MUTUAL)))
    if len(turned):
        feet = design.closest(
            back.points_mm[turned], max_distance_mm=back.settings.search_mm, signed=True
        )
        assert feet.signed_mm is not None  # signed distances were asked for
        height[turned] = feet.signed_mm
    return np.nan_to_num(height, nan=-np.inf)


def _standing_out(
    height: FloatArray, point: IntArray, seen: FloatArray, design: TriangleMesh
) -> BoolArray:
    """Return which heights over design points exceed all that the design sees around, (k,)."""
    standing = np.zeros(len(height), dtype=bool)
    waiting = np.arange(len(height))
    around, reach = seen, 0.0
    corners = design.faces.ravel()
    order = np.argsort(corners, kind="stable")
    used, starts = np.unique(corners[order], return_index=True)
    while len(waiting):
        waiting = waiting[height[waiting] > around[point[waiting]]]
        settled = _REACH * height[waiting] <= reach
        standing[waiting[settled]] = True
        waiting = waiting[~settled]
        highest = around[design.faces].max(axis=1)[order // 3]
        around = around.copy()
        around[used] = np.maximum(around[used], np.maximum.reduceat(highest, starts))
        reach += design.mean_edge_mm
    return standing


def unmatched_pieces(
    back: DeviationField, area_set: AreaSet, *, least_um: float
) -> tuple[UnmatchedPiece, ...]:
    """Gather unmatched scan surface to connected pieces, the highest first.

    Parameters
    ----------
    back : DeviationField
        ``scan_to_design``, with the heights of unmatched surface.
    area_set : AreaSet
        Surface beside a support mark is left out: it belongs to the mark.
    least_um : float
        Pieces smaller than 0.02 mm² are listed only if they are higher than this, µm, and more
        than a single point, which is no surface.
    """
    if back.unmatched_mm is None or back.faces is None:
        return ()
    near = np.isfinite(back.unmatched_mm)
    if SUPPORTS in area_set.areas:
        near &= ~back.inside(area_set.areas[SUPPORTS])
    if not near.any():
        return ()
    far = (back.status == TOO_FAR) & ~_past_the_end(back)
    patches = connected_patches(back.faces, near | far)
    loose = _loose(back, near)
    pieces = [
        _piece(points, near[points], bool(loose[points[0]]), back, area_set)
        for points in patches
        if near[points].any()
    ]
    told = [
        piece
        for piece in pieces
        if piece.area_mm2 >= _MIN_PIECE_MM2 or (piece.height_um > least_um and piece.n > 1)
    ]
    return tuple(sorted(told, key=lambda piece: (-piece.height_um, -piece.area_mm2)))


def _loose(back: DeviationField, near: BoolArray) -> BoolArray:
    """Return which points belong to pieces of the scan that are not the crown itself, (n,)."""
    assert back.faces is not None
    piece = components(np.vstack([back.faces[:, :2], back.faces[:, 1:]]), len(back))
    matched = np.where(near | (back.status == TOO_FAR), 0.0, back.weights_mm2)
    crown = np.bincount(piece, weights=matched).argmax()
    loose: BoolArray = piece != crown
    return loose


def _piece(
    points: IntArray, near: BoolArray, loose: bool, back: DeviationField, area_set: AreaSet
) -> UnmatchedPiece:
    assert back.unmatched_mm is not None
    weights, places = back.weights_mm2[points], back.points_mm[points]
    height = np.where(near, back.unmatched_mm[points], back.settings.search_mm)
    beyond = bool((~near).any())
    below = back.area_point[points[near]]
    under = area_set.evaluation.points[below]
    line = area_set.margin_line
    area = float(weights.sum())
    return UnmatchedPiece(
        area_mm2=area,
        height_um=1e3 * float(height.max()),
        mean_um=1e3 * float(weights @ height) / area if area > 0 else np.nan,
        beyond_search=beyond,
        loose=loose,
        areas=areas_holding(below, weights[near], area_set, _MIN_SHARE),
        margin_mm=0.0 if line is None else length_near_mm(line, under),
        centre_mm=place(weights @ places / area if area > 0 else places.mean(axis=0)),
        peak_mm=place(places[int(np.argmax(height))]),
        n=len(points),
    )
