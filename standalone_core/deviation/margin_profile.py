"""The deviation along the margin line, place by place: where a crown closes and where not."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .margin_edge import edge_at
from .margin_places import MarginPlaces, margin_places
from .margin_summary import MarginLimits, MarginSummary, MarginValues, summarise
from .settings import MarginProfileSettings

if TYPE_CHECKING:
    from ..areas.area_set import AreaSet
    from ..arrays import BoolArray, FloatArray, IntArray
    from ..mesh.refine import EvaluationMesh
    from .field import DeviationField
    from .margin_directions import Directions

NO_PATH = (
    "Without the path of insertion there is no way down along which a margin is long or short."
)

_CUT_OFF = 0.4
"""Twice what was measured at a rim of 35 µm radius: 61 and 82 µm for edges of 0.3 and 0.4 mm. Ours,
no source."""


@dataclass(frozen=True, eq=False)
class MarginProfile:
    """What a scan shows at each place of its design's margin line; all arrays (p,) or (p, 3).

    Attributes
    ----------
    place_mm : (p,) float
        Arc length along the line from its first place, mm; see
        :func:`.margin_places.margin_places` for where that is.
    angle_deg : (p,) float
        Angle about the path of insertion, counter-clockwise seen from occlusal.
    points_mm : (p, 3) float
        The places, in the design's frame.
    deviation_um : (p,) float
        Area-weighted mean of the counted deviations, from design to scan, within ``reach_mm`` of
        the place; NaN where none counts.
    vertical_um, horizontal_um : (p,) float
        The scan's edge less the design's in the plane across the line: along the path of
        insertion towards gingival (positive: longer) and outward (positive: larger); NaN where
        either does not show its edge. See :func:`.margin_edge.edge_at`.
    flash_um : (p,) float
        Greatest height of scan surface above the design among the scan's points whose foot on the
        design lies within ``reach_mm`` of the place, whether they count or not; 0 where nothing
        stands out.
    counted : (p,) bool
        Where at least ``min_share`` of the design's surface within ``reach_mm`` counted and the
        scan shows its edge; where the design itself ends in an open border, the edge of a scan
        that does is not asked for.
    edge_seen : (p,) bool
        Where it does.
    beyond : (p,) bool
        Which places are beyond; see :class:`.margin_summary.MarginSummary`.
    step_mm : float
        Distance between places along the line, mm.
    closed : bool
        Whether the last place is followed by the first.
    directions : Directions
        Where the angle is 0, and what else is known of the directions.
    summary : MarginSummary
    settings : MarginProfileSettings
    """

    place_mm: FloatArray
    angle_deg: FloatArray
    points_mm: FloatArray
    deviation_um: FloatArray
    vertical_um: FloatArray
    horizontal_um: FloatArray
    flash_um: FloatArray
    counted: BoolArray
    edge_seen: BoolArray
    beyond: BoolArray
    step_mm: float
    closed: bool
    directions: Directions
    summary: MarginSummary
    settings: MarginProfileSettings

    def __len__(self) -> int:
        """Count of places."""
        return len(self.place_mm)

    @property
    def length_mm(self) -> float:
        """Length of the line, mm."""
        return self.summary.length_mm

    @property
    def counted_um(self) -> FloatArray:
        """The deviations of the places that count, (p,); NaN elsewhere."""
        return np.where(self.counted, self.deviation_um, np.nan)

    def with_tolerance(self, tolerance_um: float) -> MarginProfile:
        """Return the same profile, summed up by another tolerance, µm; NaN for none."""
        values = MarginValues(
            self.deviation_um, self.vertical_um, self.horizontal_um, self.flash_um, self.counted
        )
        missing_um, short_um = self.summary.missing_limit_um, self.summary.short_limit_um
        limits = MarginLimits(
            tolerance_um,
            self.settings.edge_limit_um,
            self.settings.gap_mm,
            missing_um,
            short_um,
        )
        summary = summarise(self, values, limits)
        return replace(self, beyond=values.beyond(limits), summary=summary)


def why_no_margin_profile(area_set: AreaSet) -> str:
    """Return why a design has no margin profile, as a sentence; empty if it has one."""
    if area_set.margin_line is None:
        reason = area_set.missing.get("margin", "").strip()
        return f"There is no margin line. {reason}".strip()
    return "" if area_set.insertion is not None else NO_PATH


def margin_profile(
    there: DeviationField,
    back: DeviationField,
    area_set: AreaSet,
    scan_in_place: EvaluationMesh,
    tolerance_um: float = np.nan,
    settings: MarginProfileSettings | None = None,
    *,
    scan_edge_mm: float = 0.0,
) -> MarginProfile | None:
    """Measure a scan along its design's margin line.

    Parameters
    ----------
    there, back : DeviationField
        From design to scan at the area set's evaluation points, and from scan to design at the
        scan's own.
    area_set : AreaSet
    scan_in_place : EvaluationMesh
        The superimposed scan, whose points ``back`` was measured at.
    tolerance_um : float
        That of the margin, µm; NaN for none.
    settings : MarginProfileSettings, optional
    scan_edge_mm : float
        Mean length of the scan's own edges, mm: coarse ones cut off a sharp rim.

    Returns
    -------
    MarginProfile or None
        None where :func:`why_no_margin_profile` has a reason.

    Notes
    -----
    Edges are measured on the meshes as they are: a scan whose triangles cut a rounded rim of
    radius R off with edges of length L is short by up to L²/8R.
    """
    settings = settings or MarginProfileSettings()
    if why_no_margin_profile(area_set) or area_set.margin_line is None:
        return None
    places = margin_places(area_set.margin_line, area_set, settings.step_mm)
    deviation, share = _deviations(there, places, settings.reach_mm)
    vertical, horizontal, is_shell = _edges(area_set.evaluation, scan_in_place, places, settings)
    flash = _flash(back, area_set.evaluation, places, settings.reach_mm)
    seen = np.isfinite(vertical)
    values = MarginValues(
        deviation_um=1e3 * deviation,
        vertical_um=1e3 * vertical,
        horizontal_um=1e3 * horizontal,
        flash_um=1e3 * flash,
        counted=(seen | is_shell) & (share >= settings.min_share - 1e-12),
    )
    edge_um, cut_off_um = settings.edge_limit_um, 1e3 * _CUT_OFF * scan_edge_mm
    limits = MarginLimits(
        tolerance_um, edge_um, settings.gap_mm, max(edge_um, cut_off_um), edge_um + cut_off_um
    )
    return MarginProfile(
        place_mm=places.place_mm,
        angle_deg=places.angle_deg,
        points_mm=places.points_mm,
        deviation_um=values.deviation_um,
        vertical_um=values.vertical_um,
        horizontal_um=values.horizontal_um,
        flash_um=values.flash_um,
        counted=values.counted,
        edge_seen=seen,
        beyond=values.beyond(limits),
        step_mm=places.step_mm,
        closed=places.closed,
        directions=places.directions,
        summary=summarise(places, values, limits),
        settings=settings,
    )


def _deviations(
    field: DeviationField, places: MarginPlaces, reach_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Return the mean deviation (p,) about each place, mm, and the share of the surface counted."""
    place, point = _within(places, field.points_mm, reach_mm)
    weight = field.weights_mm2[point]
    counted = np.where(field.counted[point], weight, 0.0)
    values = counted * np.nan_to_num(field.deviation_mm[point])
    sums = [np.bincount(place, terms, minlength=len(places)) for terms in (weight, counted, values)]
    whole, part, total = sums
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(part > 0, total / part, np.nan), np.where(whole > 0, part / whole, 0.0)


def _within(places: MarginPlaces, points: FloatArray, reach_mm: float) -> tuple[IntArray, IntArray]:
    """All pairs of a place and a point within reach of it, as two arrays of numbers."""
    from scipy.spatial import cKDTree

    low = places.points_mm.min(axis=0) - reach_mm
    high = places.points_mm.max(axis=0) + reach_mm
    boxed = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
    if not len(boxed):
        return boxed, boxed
    tree = cKDTree(points[boxed])
    found = tree.query_ball_point(places.points_mm, reach_mm, return_sorted=True)
    counts = np.array([len(rows) for rows in found])
    place: IntArray = np.repeat(np.arange(len(places)), counts)
    return place, boxed[np.concatenate(found).astype(np.int64)]


def _edges(
    design: EvaluationMesh,
    scan: EvaluationMesh,
    places: MarginPlaces,
    settings: MarginProfileSettings,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """How much longer and larger the scan's edge is, mm, and where the design is an open shell."""
    search, band = settings.search_mm, settings.band_mm
    own = edge_at(design, places, search_mm=search, band_mm=band, border_is_edge=True)
    other = edge_at(scan, places, search_mm=search, band_mm=band, border_is_edge=False)
    return other.down - own.down, other.out - own.out, own.on_border


def _flash(
    back: DeviationField, evaluation: EvaluationMesh, places: MarginPlaces, reach_mm: float
) -> FloatArray:
    """Greatest height of the scan above the design about each place, mm; 0 for none.

    Points that do not count have no deviation, so all are measured again, to those faces of the
    design that hold a foot near the line: a foot lies at most an edge away from the corner that
    is kept of it.
    """
    from ..surface.closest import SurfaceIndex

    height = np.zeros(len(places))
    mesh, around = evaluation.mesh, reach_mm + evaluation.spacing_mm
    near = np.zeros(len(mesh.vertices), dtype=bool)
    near[_within(places, mesh.vertices, around)[1]] = True
    points = np.flatnonzero((back.area_point >= 0) & near[back.area_point])
    if not len(points):
        return height
    index = SurfaceIndex(mesh.kept(near[mesh.faces].any(axis=1)), threads=1)
    limit = back.settings.search_mm
    feet = index.closest(back.points_mm[points], max_distance_mm=limit, signed=True)
    assert feet.signed_mm is not None  # signed distances were asked for
    found = feet.found
    place, row = _within(places, feet.foot[found], reach_mm)
    np.maximum.at(height, place, feet.signed_mm[found][row])
    return height
