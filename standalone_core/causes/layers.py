"""Steps of a layer-wise process: their period and, where the scan shows it, their height.

Layers of thickness t leave a saw-tooth along the build direction a. Of its harmonics the first,
|n · a| sin(2π x · a / t + φ), is sought among all periods by a periodogram, the explained share of
the variance by least squares, on places that are not too steep for a scanner to show steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.optimize import fmin, fminbound
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray
from ..errors import SettingError
from ..mesh.morton import curve_order
from .layer_settings import LayerSettings
from .layer_waves import StepSamples, harmonic_at, periodogram

NEIGHBOURS = 24
"""Points around each one whose mean is taken off it, some 0.3 mm away at the most."""
MOST_POINTS = 25_000
"""More are thinned evenly: periods come out sharp enough from these, and the neighbours reach."""
LEAST_POINTS = 500
BLOCKS, BLOCKS_AROUND = 24, 7
"""Of frequencies: the background of one is the median of as many blocks around, which a line and
its sides, two or three blocks wide, do not change."""
MOST_TURN_DEG = 1.0
"""The build direction given may be off by as much; ours, no source."""
SPARSELY = 2.0
"""Intervals are so much wider where the scan's edges are longer than the period: errors of the
triangles then are larger than those of chance, by simulation."""
CONFIDENCE_95 = 1.959963984540054
"""Two-sided 95 % point of the normal distribution."""


@dataclass(frozen=True)
class LayerSteps:
    """Steps of layers that a scan shows.

    Attributes
    ----------
    period_mm, low_mm, high_mm : float
        Distance from step to step along the build direction, which is the thickness of a layer on
        the crown as it was scanned, and its 95 % interval, mm.
    amplitude_um : float
        Of the first harmonic on places that face the build direction, as the scan shows it, µm.
    height_um : float or None
        Height of a step there, at least: π times that, as for a saw-tooth; what the scanner blurs
        is missing. None where the scan's edges are longer than half the period.
    phase_deg : float
        Of the first harmonic at the origin.
    power, threshold : float
        What is explained in units of chance, and the value that chance passes in a share
        ``settings.false_share`` of crowns without layers.
    probability : float
        That chance does not reach this power.
    rms_um : float
        Root mean square of the first harmonic over all points given, steep ones without any, µm.
    share : float
        Share of the mean square deviation that it is, 0 to 1.
    build_direction : (3,) tuple of float
        The unit vector along which the steps follow each other.
    turned_deg : float
        Angle between it and the direction given.
    settings : LayerSettings
    """

    period_mm: float
    low_mm: float
    high_mm: float
    amplitude_um: float
    height_um: float | None
    phase_deg: float
    power: float
    threshold: float
    probability: float
    rms_um: float
    share: float
    build_direction: tuple[float, float, float]
    turned_deg: float
    settings: LayerSettings

    def field_mm(self, points_mm: FloatArray, normals: FloatArray) -> FloatArray:
        """Return the first harmonic at points (n, 3) with unit normals (n, 3): (n,), mm."""
        axis = np.array(self.build_direction)
        flatness = np.abs(normals @ axis)
        phase = 2.0 * np.pi * (points_mm @ axis) / self.period_mm + math.radians(self.phase_deg)
        wave: FloatArray = 1e-3 * self.amplitude_um * flatness * np.sin(phase)
        return np.where(flatness > self.settings.least_flatness, wave, 0.0)


@dataclass(frozen=True)
class Line:
    """The frequency that stands out most.

    Attributes
    ----------
    frequency, step : float
        It and the distance to the next one that was tried, 1/mm.
    background : float
        Power of chance there, at least that of white noise.
    threshold : float
        For the power over the background.
    """

    frequency: float
    step: float
    background: float
    threshold: float


def find_layers(
    points_mm: FloatArray,
    normals: FloatArray,
    deviation_mm: FloatArray,
    weights: FloatArray,
    build_direction: Sequence[float] | FloatArray | None,
    scan_edge_mm: float,
    settings: LayerSettings | None = None,
) -> LayerSteps | None:
    """Find the steps of layers on one crown.

    Parameters
    ----------
    points_mm, normals : (n, 3) float
        The design's evaluation points and unit normals.
    deviation_mm : (n,) float
        NaN where nothing was measured.
    weights : (n,) float
        Share of the surface of each point.
    build_direction : (3,) float or None
        Of any length. Without one nothing is sought: among many directions chance finds too much.
    scan_edge_mm : float
        Mean length of the edges of the scan's triangles.
    settings : LayerSettings, optional

    Returns
    -------
    LayerSteps or None
        None without a build direction, with too few places, and where no period stands out.

    Raises
    ------
    SettingError
        A build direction of no length.

    Notes
    -----
    The classical periodogram of Scargle 1982 (ApJ 263, 835; from memory): of white noise each
    power z is exponential, so that one of M frequencies passes ln(M / p) with a probability of p
    at most. M counts the frequencies that are tried, more than are independent. Powers are
    divided by their background, the median of the frequencies around over ln 2, where that is
    above 1: what is left of form error has no white spectrum. The standard error of the frequency
    is that of least squares, larger by the root of the background. The direction given is
    made sharper; it must be right within some 0.4° for layers of 0.1 mm, half of that for 0.05 mm.
    From one farther off a wrong period may be told, or none. O(n log n).
    """
    settings = settings or LayerSettings()
    if build_direction is None:
        return None
    axis = _unit(np.asarray(build_direction, dtype=np.float64))
    samples = step_samples(points_mm, normals, deviation_mm, weights, axis, settings)
    if samples is None or samples.range_mm < 4.0 * settings.thickest_mm:
        return None
    frequencies, found = periodogram(samples, settings)
    background = _background(found.power)
    best = int(np.argmax(found.power / background))
    line = Line(
        frequency=float(frequencies[best]),
        step=float(frequencies[1] - frequencies[0]),
        background=float(background[best]),
        threshold=math.log(len(frequencies) / settings.false_share),
    )
    if not found.power[best] / line.background > line.threshold:
        return None
    flatness = np.abs(normals @ axis)
    flatness[flatness <= settings.least_flatness] = 0.0
    counted = np.isfinite(deviation_mm)
    squares = [0.5 * flatness[counted] ** 2, deviation_mm[counted] ** 2]
    unit, whole = np.average(squares, axis=1, weights=weights[counted]).tolist()
    return _described(samples, line, scan_edge_mm, settings, (unit, whole))


def _described(
    samples: StepSamples,
    line: Line,
    scan_edge_mm: float,
    settings: LayerSettings,
    mean_squares: tuple[float, float],
) -> LayerSteps:
    """Describe the steps of a line that stands out.

    ``mean_squares`` over all points are those of a wave of amplitude 1 and of the deviation, mm².
    """
    given = samples.axis
    samples, line = _aligned(samples, line)
    frequency = _refined(samples, line)
    wave = harmonic_at(samples, np.array([frequency]))
    sine, cosine = float(wave.sine[0]), float(wave.cosine[0])
    power, amplitude = float(wave.power[0]) / line.background, math.hypot(sine, cosine)
    error = _frequency_error(samples, amplitude) * math.sqrt(line.background)
    reach = CONFIDENCE_95 * error * (SPARSELY if scan_edge_mm * frequency > 1.0 else 1.0)
    own, (x, y, z) = amplitude**2 * mean_squares[0], samples.axis.tolist()
    return LayerSteps(
        period_mm=1.0 / frequency,
        low_mm=1.0 / (frequency + reach),
        high_mm=1.0 / (frequency - reach),
        amplitude_um=1e3 * amplitude,
        height_um=1e3 * math.pi * amplitude if scan_edge_mm <= 0.5 / frequency else None,
        phase_deg=math.degrees(math.atan2(cosine, sine)),
        power=power,
        threshold=line.threshold,
        probability=1.0 - min(1.0, settings.false_share * math.exp(line.threshold - power)),
        rms_um=1e3 * math.sqrt(own),
        share=min(1.0, own / mean_squares[1]),
        build_direction=(x, y, z),
        turned_deg=_angle_deg(given, samples.axis),
        settings=settings,
    )


def step_samples(
    points_mm: FloatArray,
    normals: FloatArray,
    deviation_mm: FloatArray,
    weights: FloatArray,
    axis: FloatArray,
    settings: LayerSettings,
) -> StepSamples | None:
    """Choose the places where steps can be seen and take the smooth deviations off them.

    Each deviation loses the mean of its nearest neighbours: what bends over millimetres goes.

    Returns
    -------
    StepSamples or None
        None for too few places.
    """
    flatness = np.abs(normals @ axis)
    usable = np.isfinite(deviation_mm) & (weights > 0) & (flatness > settings.least_flatness)
    chosen = _thinned(points_mm, usable)
    if len(chosen) < LEAST_POINTS:
        return None
    places, deviation = points_mm[chosen], deviation_mm[chosen]
    _, near = cKDTree(places).query(places, k=NEIGHBOURS)
    clip_mm = 1e-3 * settings.clip_um
    rest = np.clip(deviation - deviation[near].mean(axis=1), -clip_mm, clip_mm)
    return StepSamples(places, axis, flatness[chosen], rest, weights[chosen])


def _background(power: FloatArray) -> FloatArray:
    """Level of chance at each frequency, in units of white noise, (f,), at least 1."""
    blocks = np.array_split(power, min(BLOCKS, len(power)))
    medians = np.array([np.median(block) for block in blocks])
    levels = median_filter(medians, BLOCKS_AROUND, mode="nearest") / math.log(2.0)
    return np.repeat(np.maximum(levels, 1.0), [len(block) for block in blocks])


def _refined(samples: StepSamples, line: Line) -> float:
    """Return the frequency of most power beside the best that was tried, 1/mm."""
    found = fminbound(
        lambda frequency: -float(harmonic_at(samples, np.array([frequency])).power[0]),
        line.frequency - line.step,
        line.frequency + line.step,
        xtol=1e-4 * line.step,
    )
    return float(found)


def _aligned(samples: StepSamples, line: Line) -> tuple[StepSamples, Line]:
    """Turn the direction to where the wave is largest, if that is no farther than it may be off.

    The wave vector is sought from the one given: a direction half a degree off smears steps of
    0.1 mm over a crown, and moves their period.
    """
    values = samples.weights * samples.flatness * samples.rest_mm
    places = samples.places_mm - samples.places_mm.mean(axis=0)
    start = line.frequency * samples.axis
    corners = np.stack([start, *(start + 0.25 / samples.range_mm * np.eye(3))])
    found = fmin(
        lambda vector: -float(np.abs(np.exp(2j * np.pi * (places @ vector)) @ values)),
        start,
        xtol=1e-3 * line.step,
        ftol=1e-9 * float(np.abs(values).sum()),
        initial_simplex=corners,
        disp=False,
    )
    frequency = float(np.linalg.norm(found))
    axis = found / frequency
    if _angle_deg(axis, samples.axis) > MOST_TURN_DEG:
        return samples, line
    return replace(samples, axis=axis), replace(line, frequency=frequency)


def _angle_deg(first: FloatArray, second: FloatArray) -> float:
    return math.degrees(math.asin(min(1.0, float(np.linalg.norm(np.cross(first, second))))))


def _frequency_error(samples: StepSamples, amplitude: float) -> float:
    """Standard error of the frequency, 1/mm, direction, phase and amplitude being unknown too.

    The wave vector of A sin(2π k · x) with noise σ has the covariance 2 (σ / 2πA)² M⁻¹,
    M = Σ (x − mean x)(x − mean x)ᵀ; with weights it is the sandwich M⁻¹ S M⁻¹.
    """
    w, c, x = samples.weights, samples.flatness, samples.places_mm
    off_middle = x - np.average(x, axis=0, weights=w * c**2)
    variance = float(np.sum(w * samples.rest_mm**2)) / float(w.sum())
    spread = (off_middle * ((w * c) ** 2)[:, None]).T @ off_middle
    told = (off_middle * (w * c**2)[:, None]).T @ off_middle
    arm = np.linalg.solve(told, samples.axis)
    return math.sqrt(2.0 * variance * float(arm @ spread @ arm)) / (2.0 * math.pi * amplitude)


def _thinned(points_mm: FloatArray, usable: BoolArray) -> NDArray[np.int64]:
    """Return usable points, at most ``MOST_POINTS``, evenly along a space-filling curve."""
    chosen = np.flatnonzero(usable)
    if not len(chosen):
        return chosen
    chosen = chosen[curve_order(points_mm[chosen])]
    if len(chosen) <= MOST_POINTS:
        return chosen
    evenly: NDArray[np.int64] = chosen[
        np.linspace(0, len(chosen) - 1, MOST_POINTS).round().astype(np.int64)
    ]
    return evenly


def _unit(direction: FloatArray) -> FloatArray:
    length = float(np.linalg.norm(direction))
    if direction.shape != (3,) or not 0.0 < length < math.inf:
        raise SettingError(
            f"{direction.tolist()} is not a direction.",
            subject="build_direction",
            remedy="Give three finite numbers that are not all 0.",
        )
    return direction / length
