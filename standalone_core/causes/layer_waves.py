"""Waves along a build direction: the least-squares sine of every period, by Fourier transform."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..arrays import FloatArray
from .layer_settings import LayerSettings

BINS_PER_PERIOD = 50
"""Of the thinnest layer, for the Fourier transform."""
OVERSAMPLING = 4

ComplexArray: TypeAlias = NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class StepSamples:
    """Where steps can be seen, and what is left there of the deviations.

    Attributes
    ----------
    places_mm : (k, 3) float
    axis : (3,) float
        The build direction, a unit vector.
    flatness : (k,) float
        |n · a|.
    rest_mm : (k,) float
        Deviation less that of the surface around.
    weights : (k,) float
    """

    places_mm: FloatArray
    axis: FloatArray
    flatness: FloatArray
    rest_mm: FloatArray
    weights: FloatArray

    @cached_property
    def height_mm(self) -> FloatArray:
        """Along the build direction, (k,)."""
        heights: FloatArray = self.places_mm @ self.axis
        return heights

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
