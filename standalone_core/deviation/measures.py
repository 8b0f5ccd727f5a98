"""Numbers per area from deviations, weighted by surface area."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from ..areas.area_set import AreaSet
from ..areas.support_marks import SUPPORTS, is_support
from ..arrays import BoolArray, FloatArray
from ..errors import SettingError
from .direction import Direction
from .field import STATUS_WORDS, DeviationField
from .places import place
from .samples import Samples, samples_of

WEIGHTED_PERCENTILES = "area-weighted Hazen"
UNWEIGHTED_PERCENTILES = "linear"

LEAST_COVERAGE = 0.01
"""Share of an area below which it has no numbers: the seam of what was seen is no sample of it.
Ours, no source."""


@dataclass(frozen=True)
class AreaMeasures:
    """What the deviations of one area in one direction come to; lengths in µm.

    With d the signed deviation of a counted point and w its share of the surface (w = 1 when
    not weighted): mean Σwd/Σw; mean absolute Σw|d|/Σw; RMS √(Σwd²/Σw); SD √(RMS² − mean²).
    A field with faces, as ``scan_to_design`` has, is summed over these instead of at its points
    (:func:`.samples.samples_of`), but for the extremes and when not weighted.
    A number without any point to come from is NaN and ``reason`` says why; so is every number of
    an area of which less than 1 % counted.

    Attributes
    ----------
    area, direction : str
        Which area; ``design_to_scan`` or ``scan_to_design``.
    n : int
        Counted points.
    area_mm2 : float
        Surface of the area, counted or not, mm².
    coverage : float
        Share of it that counted, 0 to 1; by area also when the rest is not weighted.
    mean_um, sd_um, mean_abs_um, rms_um, median_um, p10_um, p90_um : float
        Of the signed deviation, but for the mean absolute.
    half_p90_p10_um : float
        (P90 − P10)/2 of the signed deviation; blind to a constant offset.
    mean_positive_um, mean_negative_um : float
        Mean of the deviations above, and below, zero.
    min_um, max_um : float
        Extremes of the counted points.
    within_tolerance : float
        Share of the counted area with |d| ≤ tolerance, 0 to 1; NaN without a tolerance.
    tolerance_um : float
        That tolerance, which also limits the mean absolute deviation in the verdict.
    verdict : str
        Of the area, in the row of the direction that was judged; empty in the other, and before
        judging.
    hausdorff_um : float
        Largest |d| in this direction.
    hausdorff_both_um : float
        The larger one of both directions; NaN unless both have one.
    within_mm2, above_mm2, below_mm2 : float
        Counted area within ± tolerance, above + tolerance, below − tolerance, mm².
    percentiles : str
        The convention: ``"area-weighted Hazen"`` or ``"linear"``.
    weighted : bool
        Whether points count by their area.
    reason : str
        Why the numbers are NaN; empty otherwise.
    unmatched_mm2, unmatched_um : float
        From scan to design, surface of the scan beside the area that has no counterpart on the
        design, mm², and its greatest height, µm; NaN from design to scan.
    peak_mm : (3,) tuple of float or None
        Where the deviation farthest from zero is, mm, in the design's frame.
    """

    area: str
    direction: Direction
    n: int
    area_mm2: float
    coverage: float
    mean_um: float
    sd_um: float
    mean_abs_um: float
    rms_um: float
    median_um: float
    p10_um: float
    p90_um: float
    half_p90_p10_um: float
    mean_positive_um: float
    mean_negative_um: float
    min_um: float
    max_um: float
    within_tolerance: float
    tolerance_um: float
    verdict: str
    hausdorff_um: float
    hausdorff_both_um: float
    within_mm2: float
    above_mm2: float
    below_mm2: float
    percentiles: str
    weighted: bool
    reason: str
    unmatched_mm2: float = np.nan
    unmatched_um: float = np.nan
    peak_mm: tuple[float, float, float] | None = None

    @property
    def peak_um(self) -> float:
        """The deviation farthest from zero, µm."""
        return self.max_um if self.max_um >= -self.min_um else self.min_um


MEASURE_COLUMNS: tuple[str, ...] = (
    *tuple(f.name for f in fields(AreaMeasures))[:20],
    "unmatched_mm2",
    "unmatched_um",
)
"""The columns of ``measures.csv``."""


def measure_areas(
    deviations: Sequence[DeviationField],
    area_set: AreaSet,
    tolerances_um: Mapping[str, float] | None = None,
    *,
    weighted: bool = True,
) -> tuple[AreaMeasures, ...]:
    """Measure every area in every direction.

    Parameters
    ----------
    deviations : sequence of DeviationField
        One or both directions.
    area_set : AreaSet
        The areas, of the evaluation mesh that the fields were measured with.
    tolerances_um : mapping of area name to float, optional
        Half width of the band that "within tolerance" means, µm.
    weighted : bool
        Weight by area (default), a field with faces being integrated over these; or count every
        point the same, as published figures often do: then with numpy's linear percentiles, and
        in both directions at the points, so that the noise of a scan's vertices enters the
        measures of ``scan_to_design`` in full.

    Returns
    -------
    tuple of AreaMeasures
        All areas of the first field in the area set's order, then those of the next.

    Examples
    --------
    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.5)
    >>> errors = cuspwise.ProductionErrors(offset_um=100, any_pose=False)
    >>> scan = cuspwise.produce(design, errors, edge_mm=0.5)
    >>> areas = cuspwise.find_areas(cuspwise.evaluation_mesh(design.mesh, 0.5))
    >>> found = cuspwise.measure_deviation(areas.evaluation.mesh, scan.mesh)
    >>> rows = cuspwise.measure_areas([found], areas)
    >>> {row.area: round(row.median_um, -1) for row in rows}["whole"]
    100.0
    """
    limits = tolerances_um or {}
    rows: list[AreaMeasures] = []
    for field in deviations:
        samples = samples_of(field, over_faces=weighted)
        beside_marks = _beside_marks(field, area_set)
        for name, area in area_set.areas.items():
            limit = float(limits.get(name, np.nan))
            seen = field if is_support(name) else beside_marks
            rows.append(_measure(seen, samples, name, field.inside(area), limit, weighted))
    if len(deviations) < 2:
        return tuple(rows)
    directed = {
        name: [row.hausdorff_um for row in rows if row.area == name] for name in area_set.areas
    }
    return tuple(replace(row, hausdorff_both_um=float(np.max(directed[row.area]))) for row in rows)


def _beside_marks(field: DeviationField, area_set: AreaSet) -> DeviationField:
    """Return a field whose unmatched surface inside support marks is the marks' alone."""
    if field.unmatched_mm is None or SUPPORTS not in area_set.areas:
        return field
    marked = field.inside(area_set.areas[SUPPORTS])
    return replace(field, unmatched_mm=np.where(marked, np.nan, field.unmatched_mm))


def weighted_percentile(values: FloatArray, weights: FloatArray, percent: FloatArray) -> FloatArray:
    """Return percentiles of values that stand for unequal shares.

    Each sorted value sits in the middle of its share of the total weight, at
    (Σ weights before it + half its own)/Σ weights; between two the percentile is linear, beyond
    the outermost it is theirs. For equal weights these are Hazen's positions (i − ½)/n
    (type 5 of Hyndman & Fan 1996).

    Parameters
    ----------
    values, weights : (n,) float
        At least one value; weights not negative, not all zero.
    percent : (k,) float
        From 0 to 100.

    Returns
    -------
    (k,) float

    Raises
    ------
    SettingError
        No values, or no weight.
    """
    total = float(np.sum(weights)) if len(values) else 0.0
    if not total > 0:
        raise SettingError(
            "There are no values with a weight.",
            subject="weighted_percentile",
            remedy="Give at least one value with a weight above 0.",
        )
    order = np.argsort(values, kind="stable")
    return _sorted_percentile(values[order], weights[order], np.asarray(percent))


def _sorted_percentile(values: FloatArray, weights: FloatArray, percent: FloatArray) -> FloatArray:
    middle = np.cumsum(weights) - 0.5 * weights
    return np.interp(percent * (0.01 * float(weights.sum())), middle, values)


def _measure(
    field: DeviationField,
    samples: Samples,
    area: str,
    inside: BoolArray,
    tolerance_um: float,
    weighted: bool,
) -> AreaMeasures:
    """Measure one area in one direction, given the field's samples."""
    counted = inside & field.counted
    area_mm2 = float(field.weights_mm2[inside].sum())
    deviation_mm, counted_mm2 = samples.inside(inside)
    deviation_um = 1e3 * deviation_mm
    weights = counted_mm2 if weighted else np.ones(len(deviation_um))
    # The sums run in two orders: rounding must not make more than all of it.
    coverage = min(float(counted_mm2.sum()) / area_mm2, 1.0) if area_mm2 > 0 else np.nan
    reason = _why_empty(field, inside, float(weights.sum()), coverage)
    numbers = _no_numbers() if reason else _numbers(deviation_um, weights, weighted)
    if not reason and field.faces is not None:
        numbers |= _extremes(1e3 * field.deviation_mm[counted])
    above, below, within = _areas_against(deviation_um, counted_mm2, tolerance_um)
    share = within if weighted else float((np.abs(deviation_um) <= tolerance_um).sum())
    decided = not reason and np.isfinite(tolerance_um)
    unmatched_mm2, unmatched_um = _unmatched(field, inside)
    return AreaMeasures(
        area=area,
        direction=field.direction,
        n=int(np.count_nonzero(counted)),
        area_mm2=area_mm2,
        coverage=coverage,
        within_tolerance=share / float(weights.sum()) if decided else np.nan,
        tolerance_um=tolerance_um,
        verdict="",
        hausdorff_um=max(-numbers["min_um"], numbers["max_um"]),
        hausdorff_both_um=np.nan,
        within_mm2=within,
        above_mm2=above,
        below_mm2=below,
        percentiles=WEIGHTED_PERCENTILES if weighted else UNWEIGHTED_PERCENTILES,
        weighted=weighted,
        reason=reason,
        unmatched_mm2=unmatched_mm2,
        unmatched_um=unmatched_um,
        peak_mm=None if reason else _peak(field, counted),
        **numbers,
    )


def _peak(field: DeviationField, counted: BoolArray) -> tuple[float, float, float]:
    """Return where the deviation farthest from zero is among some counted points."""
    rows = np.flatnonzero(counted)
    return place(field.points_mm[rows[int(np.argmax(np.abs(field.deviation_mm[rows])))]])


def _unmatched(field: DeviationField, inside: BoolArray) -> tuple[float, float]:
    """Return how much of an area's scan surface is unmatched, mm², and its height, µm."""
    if field.unmatched_mm is None:
        return np.nan, np.nan
    height = field.unmatched_mm[inside]
    standing = np.isfinite(height)
    return (
        float(field.weights_mm2[inside][standing].sum()),
        1e3 * float(height[standing].max(initial=0.0)),
    )


def _numbers(d: FloatArray, w: FloatArray, weighted: bool) -> dict[str, float]:
    """Return every number that comes from ascending deviations (µm) alone, by field name."""
    percent = np.array([10.0, 50.0, 90.0])
    p10, median, p90 = (
        _sorted_percentile(d, w, percent) if weighted else np.percentile(d, percent)
    ).tolist()
    mean = _mean(d, w)
    below, above = np.searchsorted(d, 0.0, "left"), np.searchsorted(d, 0.0, "right")
    return {
        "mean_um": mean,
        "sd_um": _mean((d - mean) ** 2, w) ** 0.5,
        "mean_abs_um": _mean(np.abs(d), w),
        "rms_um": _mean(d**2, w) ** 0.5,
        "median_um": median,
        "p10_um": p10,
        "p90_um": p90,
        "half_p90_p10_um": 0.5 * (p90 - p10),
        "mean_positive_um": _mean(d[above:], w[above:]),
        "mean_negative_um": _mean(d[:below], w[:below]),
        **_extremes(d),
    }


def _extremes(d: FloatArray) -> dict[str, float]:
    return {"min_um": float(d.min()), "max_um": float(d.max())}


def _no_numbers() -> dict[str, float]:
    return dict.fromkeys(_numbers(np.zeros(1), np.ones(1), True), np.nan)


def _mean(values: FloatArray, weights: FloatArray) -> float:
    """Weighted mean; NaN of nothing. Summed pairwise: the same on any count of threads."""
    total = float(weights.sum())
    return float((weights * values).sum()) / total if total > 0 else np.nan


def _areas_against(
    deviation_um: FloatArray, weights_mm2: FloatArray, tolerance_um: float
) -> tuple[float, float, float]:
    """Return the counted areas above, below and within ± tolerance, mm²; NaN without one."""
    if not np.isfinite(tolerance_um):
        return np.nan, np.nan, np.nan
    above = float(weights_mm2[deviation_um > tolerance_um].sum())
    below = float(weights_mm2[deviation_um < -tolerance_um].sum())
    within = float(weights_mm2[np.abs(deviation_um) <= tolerance_um].sum())
    return above, below, within


def _why_empty(field: DeviationField, inside: BoolArray, weight: float, coverage: float) -> str:
    """Return why an area has no numbers, in words; empty if it has."""
    if weight > 0 and not coverage < LEAST_COVERAGE:
        return ""
    if not inside.any():
        return "No measured point lies in this area."
    shares = {
        word: float(field.weights_mm2[inside & (field.status == code)].sum())
        for code, word in enumerate(STATUS_WORDS)
        if code
    }
    why = max(shares, key=lambda word: shares[word])
    least = f"Less than {100 * LEAST_COVERAGE:g} % of this area counts"
    return f"{least if weight > 0 else 'No point of this area counts'}: {why}."
