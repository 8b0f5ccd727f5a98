"""Steps of a layer-wise process: their period and, where the scan shows it, their height.

Layers of thickness t leave a saw-tooth along the build direction a. Of its harmonics the first,
|n · a| sin(2π x · a / t + φ), is sought among all periods by a periodogram, the explained share of
the variance by least squares, on places that are not too steep for a scanner to show steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.optimize import fminbound
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray
from ..errors import SettingError
from ..mesh.morton import curve_order
from .layer_settings import LayerSettings

NEIGHBOURS = 24
"""Points around each one whose mean is taken off it, some 0.3 mm away at the most."""
MOST_POINTS = 25_000
"""More are thinned evenly: periods come out sharp enough from these, and the neighbours reach."""
LEAST_POINTS = 500
BINS_PER_PERIOD = 50
"""Of the thinnest layer, for the Fourier transform."""
OVERSAMPLING = 4
BLOCKS, BLOCKS_AROUND = 24, 7
"""Of frequencies: the background of one is the median of as many blocks around, which a line and
its sides, two or three blocks wide, do not change."""
SPARSELY = 2.0
"""Intervals are so much wider where the scan's edges are longer than the period: errors of the
triangles then are larger than those of chance, by simulation."""
CONFIDENCE_95 = 1.959963984540054
"""Two-sided 95 % point of the normal distribution."""

ComplexArray: TypeAlias = NDArray[np.complex128]


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
        The unit vector that was used.
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
    settings: LayerSettings

    def field_mm(self, points_mm: FloatArray, normals: FloatArray) -> FloatArray:
        """Return the first harmonic at points (n, 3) with unit normals (n, 3): (n,), mm."""
        axis = np.array(self.build_direction)
        flatness = np.abs(normals @ axis)
        phase = 2.0 * np.pi * (points_mm @ axis) / self.period_mm + math.radians(self.phase_deg)
        wave: FloatArray = 1e-3 * self.amplitude_um * flatness * np.sin(phase)
        return np.where(flatness > self.settings.least_flatness, wave, 0.0)


@dataclass(frozen=True, eq=False)
class StepSamples:
    """Where steps can be seen, and what is left there of the deviations.

    Attributes
    ----------
    height_mm : (k,) float
        Along the build direction.
    flatness : (k,) float
        |n · a|.
    rest_mm : (k,) float
        Deviation less that of the surface around.
    weights : (k,) float
    """

    height_mm: FloatArray
    flatness: FloatArray
    rest_mm: FloatArray
    weights: FloatArray

    @property
    def range_mm(self) -> float:
        """How far they reach along the build direction."""
        return float(np.ptp(self.height_mm))


@dataclass(frozen=True, eq=False)
class Harmonic:
    """The least-squares wave at each of some frequencies.

    Attributes
    ----------
    power : (f,) float
        Half the explained share of the variance, times the count of points (if weights differ,
        of as many equal ones): of white noise it is distributed exponentially with mean 1.
    sine, cosine : (f,) float
        Amplitudes, mm.
    """

    power: FloatArray
    sine: FloatArray
    cosine: FloatArray


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
    is that of least squares, larger by the root of the background. O(n log n).
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
    return _described(samples, line, axis, scan_edge_mm, settings, (unit, whole))


def _described(
    samples: StepSamples,
    line: Line,
    axis: FloatArray,
    scan_edge_mm: float,
    settings: LayerSettings,
    mean_squares: tuple[float, float],
) -> LayerSteps:
    """Describe the steps of a line that stands out.

    ``mean_squares`` over all points are those of a wave of amplitude 1 and of the deviation, mm².
    """
    frequency = _refined(samples, line)
    wave = harmonic_at(samples, np.array([frequency]))
    sine, cosine = float(wave.sine[0]), float(wave.cosine[0])
    power, amplitude = float(wave.power[0]) / line.background, math.hypot(sine, cosine)
    error = _frequency_error(samples, amplitude) * math.sqrt(line.background)
    reach = CONFIDENCE_95 * error * (SPARSELY if scan_edge_mm * frequency > 1.0 else 1.0)
    own, (x, y, z) = amplitude**2 * mean_squares[0], axis.tolist()
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
    return StepSamples(places @ axis, flatness[chosen], rest, weights[chosen])


def periodogram(samples: StepSamples, settings: LayerSettings) -> tuple[FloatArray, Harmonic]:
    """Return the least-squares waves of all frequencies from the thickest to the thinnest layer.

    Sums over points are Fourier transforms of fine bins along the build direction, each point
    shared between the two nearest ones, which is undone by dividing by sinc² of the frequency.

    Returns
    -------
    frequencies : (f,) float
        Evenly spaced, 1/mm.
    Harmonic
    """
    width = settings.thinnest_mm / BINS_PER_PERIOD
    bins = 1 << math.ceil(math.log2(OVERSAMPLING * samples.range_mm / width + 2.0))
    start = float(samples.height_mm.min())
    place = (samples.height_mm - start) / width
    weighted = samples.weights * samples.flatness
    first = math.ceil(bins * width / settings.thickest_mm)
    last = math.floor(bins * width / settings.thinnest_mm)
    number = np.arange(first, last + 1)
    single = _transform(place, weighted * samples.rest_mm, bins)[number]
    double = _transform(place, weighted * samples.flatness, bins)[2 * number]
    frequencies = number / (bins * width)
    turn = np.exp(2j * np.pi * frequencies * start)
    return frequencies, _solved(samples, single * turn, double * turn**2)


def harmonic_at(samples: StepSamples, frequencies: FloatArray) -> Harmonic:
    """Return the least-squares waves of a few frequencies (f,), 1/mm, by direct sums; O(k f)."""
    weighted = samples.weights * samples.flatness
    turns = np.exp(2j * np.pi * frequencies[:, None] * samples.height_mm)
    single = turns @ (weighted * samples.rest_mm)
    double = turns**2 @ (weighted * samples.flatness)
    return _solved(samples, single, double)


def _solved(samples: StepSamples, single: ComplexArray, double: ComplexArray) -> Harmonic:
    """Solve for sine and cosine: from Σ w c r exp(iωh) and Σ w c² exp(2iωh), c the flatness."""
    w, c = samples.weights, samples.flatness
    whole = float(np.sum(w * c**2))
    cosines, sines = 0.5 * (whole + double.real), 0.5 * (whole - double.real)
    mixed = 0.5 * double.imag
    determinant = cosines * sines - mixed**2
    cosine = (sines * single.real - mixed * single.imag) / determinant
    sine = (cosines * single.imag - mixed * single.real) / determinant
    explained = cosine * single.real + sine * single.imag
    variance = float(np.sum(w * samples.rest_mm**2)) / float(w.sum())
    by_chance = 2.0 * variance * float(np.sum((w * c) ** 2)) / whole
    power = explained / by_chance if by_chance > 0 else np.zeros_like(explained)
    return Harmonic(power, sine, cosine)


def _transform(place: FloatArray, values: FloatArray, bins: int) -> ComplexArray:
    """Σ values exp(2πi k place / bins) for k from 0 to bins / 2."""
    lower = place.astype(np.int64)
    upper_share = place - lower
    line = np.bincount(lower, values * (1.0 - upper_share), bins)
    line += np.bincount(lower + 1, values * upper_share, bins)
    shares = np.sinc(np.arange(bins // 2 + 1) / bins) ** 2
    transform = np.conj(np.fft.rfft(line)) / shares
    return transform.astype(np.complex128, copy=False)


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


def _frequency_error(samples: StepSamples, amplitude: float) -> float:
    """Standard error of the frequency, 1/mm, phase and amplitude being unknown too.

    For A sin(2π f h) with noise σ: σ √2 / (2π A) over the root of Σ (h − mean h)², with weights
    as the sandwich has them.
    """
    w, c, h = samples.weights, samples.flatness, samples.height_mm
    off_middle = (h - np.average(h, weights=w * c**2)) ** 2
    variance = float(np.sum(w * samples.rest_mm**2)) / float(w.sum())
    spread = float(np.sum((w * c) ** 2 * off_middle))
    told = float(np.sum(w * c**2 * off_middle))
    return math.sqrt(2.0 * variance * spread) / (2.0 * math.pi * amplitude * told)


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
