"""What is left of each support mark: a stub that stands out, a gouge, or neither.

A crown may be too large or too small around a mark (shrinkage, a form error), so that its
own deviations say little about the stub. Everything here is measured from the surroundings: the
surface of the same side (external or intaglio) in a ring about the spot that holds no other
mark. Their level is the area-weighted median of their deviations, which another stub or a
scratch does not move; their spread is 1.4826 = 1/Φ⁻¹(3/4) times the area-weighted median distance
from it, the standard deviation if they are normal (Rousseeuw & Croux 1993, J. Am. Stat. Assoc.
88:1273). A level that slopes evenly across the spot has its median in the middle.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ..areas.area_set import Area, AreaSet
from ..areas.support_marks import MarkKind, mark_of
from ..arrays import BoolArray, IntArray
from ..errors import SettingError
from ..mesh.geodesics import geodesic_distance, vertex_sources
from ..mesh.vicinity import vicinity
from ..shares import limit_words, share_words
from .field import STATUS_WORDS, DeviationField
from .measures import weighted_percentile
from .places import place
from .settings import MarkSettings

STUB, GOUGE, CLEAN, NOT_MEASURED = "stub", "gouge", "clean", "not_measured"
MARK_WORDS: Mapping[str, str] = MappingProxyType(
    {STUB: "stub", GOUGE: "gouge", CLEAN: "clean", NOT_MEASURED: "not measured"}
)

_NORMAL_SPREAD = 1.4826  # standard deviation of normal values per median distance from the median
_SIDES = ("external", "intaglio")
_BEYOND_SHARE = 0.1  # of the seam around a spot that leaves the band: more than single points


@dataclass(frozen=True)
class MarkResult:
    """What is left of one support mark; lengths in µm but for the places.

    Attributes
    ----------
    name : str
    kind : str
        ``support`` or ``sprue``.
    verdict : str
        ``stub``, ``gouge``, ``clean`` or ``not_measured``; words in :data:`MARK_WORDS`.
    height_um : float
        How far the peak stands above the level of the surroundings; negative: how deep it lies
        below (the depth of a gouge).
    peak_um : float
        The same point's deviation from the design.
    surroundings_um : float
        Level of the surroundings: median of their deviations.
    band_um : float
        Half width of the band about that level that still counts as level.
    area_mm2 : float
        Surface of the spot that leaves the band on the side of the peak, mm².
    volume_mm3 : float
        Material above the level there, Σ w (d − level), negative where it is missing, mm³: first
        order in deviation over radius of curvature.
    coverage : float
        Share of the spot that counted, 0 to 1.
    spot_mm2 : float
        Surface of the whole spot, mm².
    n : int
        Evaluation points of the spot that counted.
    peak_mm, centre_mm : (3,) tuple of float
        Where the peak is (the centre if nothing counted), and the area-weighted mean of the
        spot, mm, in the design's frame.
    reason : str
        Why, as full sentences with the numbers.
    """

    name: str
    kind: MarkKind
    verdict: str
    height_um: float
    peak_um: float
    surroundings_um: float
    band_um: float
    area_mm2: float
    volume_mm3: float
    coverage: float
    spot_mm2: float
    n: int
    peak_mm: tuple[float, float, float]
    centre_mm: tuple[float, float, float]
    reason: str


@dataclass(frozen=True, eq=False)
class _Around:
    """What lies about a spot: the ring of surroundings and the seam between, (n',) bool each."""

    ring: BoolArray
    seam: BoolArray


def measure_marks(
    field: DeviationField,
    area_set: AreaSet,
    settings: MarkSettings | None = None,
    *,
    doubt: str = "",
) -> tuple[MarkResult, ...]:
    """Measure every support mark of a design.

    Parameters
    ----------
    field : DeviationField
        Measured at the points of the area set's evaluation mesh (``design_to_scan``).
    area_set : AreaSet
        Every area named as a support mark is one (:func:`.supports.mark_of`).
    settings : MarkSettings, optional
    doubt : str
        Why the scan's position cannot be trusted, as a sentence; nothing is then judged.

    Returns
    -------
    tuple of MarkResult
        In the area set's order.

    Raises
    ------
    SettingError
        A field that was not measured at the evaluation points.

    Notes
    -----
    A peak is a single point: scanner noise makes it a little larger than it is, by about two to
    three standard deviations of the noise. A stub that is higher than it is wide, or has upright
    sides, comes out lower than it is; points on such sides do not count and lower the coverage.
    """
    settings = settings or MarkSettings()
    if field.direction != "design_to_scan" or len(field) != len(area_set.evaluation.points):
        raise SettingError(
            "Support marks are measured on the design's evaluation mesh.",
            subject=field.direction,
            remedy="Give the design_to_scan deviations of the same evaluation mesh.",
        )
    spots = [area for name, area in area_set.areas.items() if mark_of(name)]
    if not spots:
        return ()
    occupied = np.any([area.points for area in spots], axis=0)
    return tuple(
        _measure(area, _around(area.points, area_set, occupied, settings), field, settings, doubt)
        for area in spots
    )


def _around(
    spot: BoolArray, area_set: AreaSet, occupied: BoolArray, settings: MarkSettings
) -> _Around:
    """Find the seam and the ring of a spot, on its own side and off all other spots."""
    mesh = area_set.evaluation.mesh
    ring, seam = np.zeros_like(spot), np.zeros_like(spot)
    if not spot.any():
        return _Around(ring, seam)
    reach = settings.seam_mm + settings.ring_mm
    part, vertices = vicinity(mesh, mesh.vertices[spot], reach)
    sources = vertex_sources(part, np.flatnonzero(spot[vertices]))
    distance = geodesic_distance(part, sources, limit_mm=reach)
    beyond = np.isfinite(distance) & (distance > settings.seam_mm)
    ring[vertices[beyond]] = True
    seam[vertices[(distance > 0.0) & (distance <= settings.seam_mm)]] = True
    free = ~occupied & _same_side(spot, area_set)
    return _Around(ring & free, seam & ~occupied)


def _same_side(spot: BoolArray, area_set: AreaSet) -> BoolArray:
    """Points of the side of the crown that most of a spot lies on; all where there are none."""
    weights = area_set.evaluation.weights_mm2
    sides = [area_set.areas[name].points for name in _SIDES if name in area_set.areas]
    shares = [float(weights[spot & side].sum()) for side in sides]
    if len(sides) < 2 or not any(shares):
        return np.ones_like(spot)
    return sides[int(np.argmax(shares))]


def _measure(
    area: Area,
    around: _Around,
    field: DeviationField,
    settings: MarkSettings,
    doubt: str,
) -> MarkResult:
    """Measure one spot."""
    level, band, why_not = _level(around.ring, field, settings)
    inside = np.flatnonzero(area.points)
    counted = inside[field.counted[inside]]
    weights = field.weights_mm2
    spot_mm2 = float(weights[inside].sum())
    coverage = min(float(weights[counted].sum()) / spot_mm2, 1.0) if spot_mm2 > 0 else np.nan
    numbers = dict.fromkeys(("height_um", "peak_um", "area_mm2", "volume_mm3"), np.nan)
    centre = peak_mm = _mean_place(field, inside)
    beyond = False
    if len(counted):
        above = field.deviation_mm[counted] - (level if np.isfinite(level) else 0.0)
        peak = int(np.argmax(np.abs(above)))
        peak_mm = place(field.points_mm[counted[peak]])
        numbers["peak_um"] = 1e3 * float(field.deviation_mm[counted[peak]])
        if np.isfinite(level):
            side = 1.0 if above[peak] >= 0 else -1.0
            out = side * above > band
            numbers["height_um"] = 1e3 * float(above[peak])
            numbers["area_mm2"] = float(weights[counted[out]].sum())
            numbers["volume_mm3"] = float(weights[counted[out]] @ above[out])
            beyond = _goes_on(around.seam, field, side, level, band)
    doubts = doubt or why_not or _why_nothing(field, inside, len(counted))
    verdict, reason = _judge(numbers["height_um"], 1e3 * band, coverage, doubts, settings)
    if verdict in (STUB, GOUGE):
        reason += _remarks(coverage, beyond, settings)
    kind, name = mark_of(area.name) or ("support", area.name)
    return MarkResult(
        name=name,
        kind=kind,
        verdict=verdict,
        surroundings_um=1e3 * level,
        band_um=1e3 * band,
        coverage=coverage,
        spot_mm2=spot_mm2,
        n=len(counted),
        peak_mm=peak_mm,
        centre_mm=centre,
        reason=reason,
        **numbers,
    )


def _level(
    ring: BoolArray, field: DeviationField, settings: MarkSettings
) -> tuple[float, float, str]:
    """Return level and half band of the surroundings, mm, and why there are none, in words."""
    total = float(field.weights_mm2[ring].sum())
    counted = ring & field.counted
    weights = field.weights_mm2[counted]
    share = float(weights.sum()) / total if total > 0 else 0.0
    least = settings.min_ring_coverage
    if not share > 0.0 or share < least:
        reason = "There is no free surface around the spot to compare it with."
        if total > 0:
            reason = (
                f"Only {share_words(share, least, digits=0)} of its surroundings were measured; "
                f"{limit_words(least)} are needed."
            )
        return np.nan, np.nan, reason
    deviation = field.deviation_mm[counted]
    half = np.array([50.0])
    level = float(weighted_percentile(deviation, weights, half)[0])
    distance = float(weighted_percentile(np.abs(deviation - level), weights, half)[0])
    band = max(1e-3 * settings.least_band_um, settings.band_factor * _NORMAL_SPREAD * distance)
    return level, band, ""


def _judge(
    height_um: float, band_um: float, coverage: float, doubts: str, settings: MarkSettings
) -> tuple[str, str]:
    """Return the verdict on a spot and the reason.

    What is seen to stand out does so, however little was measured; that nothing does is only
    known where enough was.
    """
    if doubts:
        return NOT_MEASURED, doubts
    limit = max(settings.limit_um, band_um)
    bound = f"the limit is {limit:.0f} µm"
    if limit > settings.limit_um:
        bound += ", since its surroundings are no smoother"
    if height_um >= limit:
        return STUB, f"Stands {height_um:.1f} µm above its surroundings; {bound}."
    if height_um <= -limit:
        return GOUGE, f"Lies {-height_um:.1f} µm below its surroundings; {bound}."
    if coverage < settings.min_coverage:
        return NOT_MEASURED, (
            f"Only {share_words(coverage, settings.min_coverage, digits=0)} of the spot were "
            f"measured; {limit_words(settings.min_coverage)} are needed to call it clean."
        )
    return CLEAN, f"At most {abs(height_um):.1f} µm off its surroundings; {bound}."


def _remarks(coverage: float, beyond: bool, settings: MarkSettings) -> str:
    """Say what makes area and volume too small."""
    said = ""
    if coverage < settings.min_coverage:
        measured = share_words(coverage, settings.min_coverage, digits=0)
        said += f" Only {measured} of the spot were measured:"
        said += " height, area and volume are at least these."
    if beyond:
        said += " It goes on beyond the spot: enlarge the mark for all of its area and volume."
    return said


def _goes_on(
    seam: BoolArray, field: DeviationField, side: float, level: float, band: float
) -> bool:
    """Return whether what leaves the band in a spot does so in the seam around it as well."""
    counted = seam & field.counted
    out = side * (field.deviation_mm[counted] - level) > band
    weights = field.weights_mm2[counted]
    return bool(weights[out].sum() > _BEYOND_SHARE * weights.sum())


def _why_nothing(field: DeviationField, inside: IntArray, counted: int) -> str:
    """Return why no point of a spot counts, in words; empty if one does."""
    if counted:
        return ""
    if not len(inside):
        return "The spot holds no measuring point."
    sums = np.bincount(field.status[inside], weights=field.weights_mm2[inside])
    return f"No point of the spot counts: {STATUS_WORDS[int(np.argmax(sums))]}."


def _mean_place(field: DeviationField, rows: IntArray) -> tuple[float, float, float]:
    weights = field.weights_mm2[rows]
    if not weights.sum() > 0:
        return np.nan, np.nan, np.nan
    return place(weights @ field.points_mm[rows] / weights.sum())
