"""Support marks that nobody marked: compact steep stubs and gouges, offered with a likelihood.

1. Peaks of the deviations over the median level of a disc (:mod:`.mark_peaks`).
2. The form of each, from a local level (:mod:`.mark_shape`); what is too low, too wide, too
   narrow or no clearer than its surroundings is dropped.
3. The likelihood from form and place (:mod:`.mark_likelihood`).

Nothing here is counted as a support mark: that is for the reader to say, who makes it one with
:func:`as_support_mark`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..areas.area_set import AreaSet
from ..areas.support_marks import MarkKind, SupportMark
from ..arrays import FloatArray, IntArray
from ..deviation.field import DeviationField
from ..deviation.places import place
from ..deviation.support_marks import GOUGE, STUB
from ..errors import SettingError
from .mark_ground import MarkGround, mark_ground
from .mark_likelihood import Likelihood, likelihood_of, worth_a_look
from .mark_peaks import level, peaks, smoothed
from .mark_settings import FoundMarkSettings
from .mark_shape import MarkShape, measure_shape

_FIRST_SHARE = 0.6
"""Of the least height, for peaks of means over neighbours: those of the narrowest marks are a
third lower than the marks."""
_MOST_PEAKS = 30
"""Looked at on either side, highest first: more stand out of no crown that is worth a search."""
_WIDER = 1.2
"""Radius of a support mark over that of the base, a tenth of the height up: down to its foot."""


@dataclass(frozen=True)
class FoundMark:
    """A place that may be a support mark.

    Attributes
    ----------
    place_mm : (3,) tuple of float
        Area-weighted mean of what lies above half of its height, mm, in the design's frame.
    normal : (3,) tuple of float
        Of the design there, a unit vector.
    radius_mm : float
        Of a circle with the area of its base: what lies above a tenth of its height and twice
        the scatter of its surroundings.
    height_um : float
        How far its farthest point stands above the level of its surroundings; negative: how deep
        it lies below.
    volume_mm3 : float
        Material above that level on the base, mm³; negative where it is missing.
    kind : {"stub", "gouge"}
    likelihood : float
        That it is a support mark, 0 to 1; the product of ``parts``.
    parts : Likelihood
        What the likelihood is made of.
    signal_to_noise : float
        Height over the scatter of the surroundings.
    share_of_mean, share_of_square : float
        Share of the crown's Σ w |d|, which makes its mean absolute deviation, and of its Σ w d²,
        which makes its RMS, that lies on the base, 0 to 1.
    n : int
        Evaluation points of the base.
    """

    place_mm: tuple[float, float, float]
    normal: tuple[float, float, float]
    radius_mm: float
    height_um: float
    volume_mm3: float
    kind: str
    likelihood: float
    parts: Likelihood
    signal_to_noise: float
    share_of_mean: float
    share_of_square: float
    n: int


def find_marks(
    area_set: AreaSet,
    field: DeviationField,
    residual_mm: FloatArray | None = None,
    build_direction: Sequence[float] | FloatArray | None = None,
    settings: FoundMarkSettings | None = None,
    *,
    ground: MarkGround | None = None,
) -> tuple[FoundMark, ...]:
    """Find stubs and gouges that may be support marks, outside those that are marked already.

    Parameters
    ----------
    area_set : AreaSet
    field : DeviationField
        Measured at the points of the area set's evaluation mesh (``design_to_scan``).
    residual_mm : (n',) array, optional
        Deviations less what other causes explain, NaN where they are not known; the deviations
        themselves if left out. Shares are of the deviations themselves.
    build_direction : (3,) array_like, optional
        From the building platform to the last layer, in the design's frame; any length. Places
        that face up and are not steep become less likely.
    settings : FoundMarkSettings, optional
    ground : MarkGround, optional
        What :func:`.mark_ground.mark_ground` makes of the area set: the same for all scans of a
        design, so that it is worth keeping.

    Returns
    -------
    tuple of FoundMark
        The most likely first.

    Raises
    ------
    SettingError
        A field or residual that is not of the evaluation points, or no direction.

    Notes
    -----
    The likelihood is calibrated on simulated crowns whose stubs and gouges are smooth caps, flat
    or oval; no produced crown was measured.
    """
    settings = settings or FoundMarkSettings()
    values = _values(area_set, field, residual_mm)
    direction = _unit(build_direction)
    ground = ground or mark_ground(area_set)
    found: list[FoundMark] = []
    for shape in _shapes(ground, values[ground.points], settings):
        likelihood = likelihood_of(ground, shape, direction)
        if likelihood.whole >= settings.least_likelihood:
            found.append(_found(ground, shape, likelihood, field))
    return tuple(sorted(found, key=lambda one: -one.likelihood))


def as_support_mark(found: FoundMark, name: str, kind: MarkKind = "support") -> SupportMark:
    """Make a found place a support mark, as a reader does who accepts it.

    Parameters
    ----------
    found : FoundMark
    name : str
        The reader's own name of it.
    kind : {"support", "sprue"}
    """
    return SupportMark(name, found.place_mm, _WIDER * found.radius_mm, kind)


def _shapes(
    ground: MarkGround, values_mm: FloatArray, settings: FoundMarkSettings
) -> Iterator[MarkShape]:
    """Measure all that stands out and is as large and as clear as a mark."""
    smooth = smoothed(ground.neighbours, values_mm)
    above = smooth - level(ground, values_mm)
    least = 1e-3 * settings.least_height_um
    for side in (1.0, -1.0):
        tops = peaks(ground, side * above, _FIRST_SHARE * least)
        looked_at = tops[worth_a_look(ground, tops)][:_MOST_PEAKS]
        taken = np.zeros(len(values_mm), dtype=bool)
        for peak in looked_at.tolist():
            if taken[peak]:
                continue
            shape = measure_shape(ground, values_mm, smooth, peak, side)
            if shape is not None:
                taken[shape.core] = True
                if _is_possible(shape, settings):
                    yield shape


def _is_possible(shape: MarkShape, settings: FoundMarkSettings) -> bool:
    width = 2.0 * shape.half_radius_mm
    return (
        abs(shape.height_mm) >= 1e-3 * settings.least_height_um
        and shape.signal_to_noise >= settings.least_signal
        and settings.least_width_mm <= width <= settings.greatest_width_mm
    )


def _found(
    ground: MarkGround, shape: MarkShape, likelihood: Likelihood, field: DeviationField
) -> FoundMark:
    weights = ground.weights_mm2[shape.core]
    normal = weights @ ground.normals[shape.core]
    share_of_mean, share_of_square = _shares(field, ground.points[shape.rows])
    return FoundMark(
        place_mm=place(weights @ ground.places_mm[shape.core] / weights.sum()),
        normal=place(normal / np.linalg.norm(normal)),
        radius_mm=shape.radius_mm,
        height_um=1e3 * shape.height_mm,
        volume_mm3=shape.volume_mm3,
        kind=STUB if shape.height_mm > 0 else GOUGE,
        likelihood=likelihood.whole,
        parts=likelihood,
        signal_to_noise=shape.signal_to_noise,
        share_of_mean=share_of_mean,
        share_of_square=share_of_square,
        n=len(shape.rows),
    )


def _shares(field: DeviationField, points: IntArray) -> tuple[float, float]:
    """Share of Σ w |d| and of Σ w d² that lies at some points of a field."""
    size = np.abs(np.where(field.counted, field.deviation_mm, 0.0))
    shares = []
    for power in (1, 2):
        sums = field.weights_mm2 * size**power
        total = float(sums.sum())
        shares.append(float(sums[points].sum()) / total if total > 0 else 0.0)
    return shares[0], shares[1]


def _values(area_set: AreaSet, field: DeviationField, residual_mm: FloatArray | None) -> FloatArray:
    """Return what to search, (n',), mm; NaN where it does not count."""
    count = len(area_set.evaluation.points)
    if field.direction != "design_to_scan" or len(field) != count:
        raise SettingError(
            "Support marks are found on the design's evaluation mesh.",
            subject=field.direction,
            remedy="Give the design_to_scan deviations of the same evaluation mesh.",
        )
    given = field.deviation_mm if residual_mm is None else np.asarray(residual_mm, np.float64)
    if given.shape != (count,):
        raise SettingError(
            f"It has shape {given.shape}, but the design is measured at {count} points.",
            subject="residual_mm",
            remedy="Give one number for each point of the evaluation mesh.",
        )
    values: FloatArray = np.where(field.counted & np.isfinite(given), given, np.nan)
    return values


def _unit(direction: ArrayLike | None) -> FloatArray | None:
    if direction is None:
        return None
    given = np.asarray(direction, dtype=np.float64)
    length = float(np.linalg.norm(given)) if given.shape == (3,) else np.nan
    if not 0.0 < length < np.inf:
        raise SettingError(
            f"{direction} is not a direction.",
            subject="build_direction",
            remedy="Give three finite numbers that are not all 0.",
        )
    unit: FloatArray = given / length
    return unit
