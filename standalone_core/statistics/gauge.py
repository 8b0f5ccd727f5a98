"""How well a measuring device repeats itself, from repeated measurements: a gauge study."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..arrays import FloatArray, IntArray
from ..errors import SettingError
from .reasons import Reason, because
from .samples import check_share

CATEGORIES_FACTOR = 1.41


@dataclass(frozen=True)
class VarianceSource:
    """One line of the analysis of variance.

    Attributes
    ----------
    name : str
        ``part``, ``operator``, ``interaction`` or ``repeat``.
    sum_of_squares, df, mean_square : float
    """

    name: str
    sum_of_squares: float
    df: int
    mean_square: float


@dataclass(frozen=True)
class GaugeStudy:
    """Where the variance of repeated measurements comes from.

    Standard deviations are in the unit of the values. What the study does not show is NaN, and
    ``notes`` say why.

    Attributes
    ----------
    parts, operators, trials : int
        Trials per part and operator.
    mean : float
    sources : tuple of VarianceSource
        The analysis of variance, not pooled.
    pooled : bool
        Whether the interaction was taken as repetition.
    interaction_p : float
        p-value of the interaction.
    repeatability, reproducibility, gauge, part, total : float
        Standard deviations: repeating by the same operator; between operators (interaction
        included); both together; between the parts; everything.
    repeatability_df : int
        Degrees of freedom of the repeatability.
    repeatability_low, repeatability_high : float
        Its χ² interval.
    variance_share : float
        Of the gauge in the variance, 0 to 1: gauge²/total² (AIAG: % contribution).
    sd_share : float
        Of the gauge in the standard deviation, 0 to 1: gauge/total (AIAG: % study variation). SDs
        do not add up: that of the parts is not one minus this.
    distinct_categories : int or None
        Classes of parts that the gauge tells apart, AIAG's ndc: 1.41 part/gauge, rounded down but
        at least 1 (the handbook's rule as others quote it; the handbook was not at hand). None
        where it is not known: a single part, or a gauge without any spread.
    smallest_difference, smallest_low, smallest_high : float
        Two single measurements of one part by one operator differ by less than this with
        probability ``confidence``: z √2 repeatability (1.96 √2 = 2.77 at 95 %), with its interval.
        A smaller difference between two parts measured once each may be the device's alone.
    smallest_difference_operators : float
        The same for two operators: z √2 gauge.
    confidence : float
    clamped : tuple of str
        Variance components that came out below 0 and were set to 0.
    notes : tuple of Reason
    """

    parts: int
    operators: int
    trials: int
    mean: float
    sources: tuple[VarianceSource, ...]
    pooled: bool
    interaction_p: float
    repeatability: float
    reproducibility: float
    gauge: float
    part: float
    total: float
    repeatability_df: int
    repeatability_low: float
    repeatability_high: float
    variance_share: float
    sd_share: float
    distinct_categories: int | None
    smallest_difference: float
    smallest_low: float
    smallest_high: float
    smallest_difference_operators: float
    confidence: float
    clamped: tuple[str, ...]
    notes: tuple[Reason, ...]


def gauge_study(
    values: ArrayLike,
    parts: Sequence[Hashable],
    operators: Sequence[Hashable],
    *,
    pool_above: float = 0.25,
    confidence: float = 0.95,
) -> GaugeStudy:
    """Split the variance of repeated measurements into device, operators and parts.

    Every operator measures every part equally often (crossed, balanced), both taken as drawn at
    random. With p parts, o operators, r trials: repeatability σ² = MS_repeat; interaction
    (MS_i − MS_repeat)/r; operator (MS_o − MS_i)/(pr); part (MS_p − MS_i)/(or). If the interaction's
    p-value is above ``pool_above``, it is pooled with the repetition and MS_i becomes the pooled
    mean square. Components below 0 are set to 0 and named. Method: AIAG, Measurement Systems
    Analysis, analysis of variance method. The repeatability and reproducibility limits are those
    of ISO 5725-6 (from memory), which rounds 1.96 √2 to 2.8.

    One part gives no part variance, one operator no reproducibility.

    Parameters
    ----------
    values : (n,) float
        One measurement each; none missing.
    parts, operators : n labels
        What was measured, and by whom.
    pool_above : float
        1 never pools, 0 always.
    confidence : float
        Of the intervals, and in the smallest difference.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    SettingError
        A value is missing, counts are unequal, or nothing was repeated.
    """
    check_share(confidence, "confidence")
    cube = _cube(values, list(parts), list(operators))
    p, o, r = cube.shape
    sources = {source.name: source for source in _analysis(cube)}
    interaction_p = _interaction_p(sources)
    # With one trial the interaction is all there is to judge repetition by.
    pooled = "interaction" in sources and (r == 1 or interaction_p > pool_above)
    error = _pooled_error(sources, pooled)
    raw = _components(sources, error, pooled, cube.shape)
    clamped = tuple(name for name, value in raw.items() if value < 0)
    return GaugeStudy(
        parts=p,
        operators=o,
        trials=r,
        mean=float(cube.mean()),
        sources=tuple(sources.values()),
        pooled=pooled,
        interaction_p=interaction_p,
        **_spreads(raw, error, confidence),
        confidence=confidence,
        clamped=clamped,
        notes=_notes(cube.shape, clamped, error.mean_square),
    )


def _spreads(raw: dict[str, float], error: VarianceSource, confidence: float) -> dict[str, Any]:
    """Return the standard deviations of a study and what follows from them, by its fields."""
    component = {name: float(np.maximum(value, 0.0)) for name, value in raw.items()}  # keeps NaN
    repeat = error.mean_square
    across = component["operator"] + component["interaction"]
    gauge = repeat + (0.0 if np.isnan(across) else across)
    total = gauge + component["part"]
    low, high = _sd_interval(repeat, error.df, confidence)
    factor = float(stats.norm.ppf(0.5 + confidence / 2)) * 2**0.5
    return {
        "repeatability": repeat**0.5,
        "reproducibility": float(np.sqrt(across)),
        "gauge": gauge**0.5,
        "part": float(np.sqrt(component["part"])),
        "total": float(np.sqrt(total)),
        "repeatability_df": error.df,
        "repeatability_low": low,
        "repeatability_high": high,
        "variance_share": gauge / total if total > 0 else np.nan,
        "sd_share": (gauge / total) ** 0.5 if total > 0 else np.nan,
        "distinct_categories": _categories(component["part"], gauge),
        "smallest_difference": factor * repeat**0.5,
        "smallest_low": factor * low,
        "smallest_high": factor * high,
        "smallest_difference_operators": np.nan if np.isnan(across) else factor * gauge**0.5,
    }


def _cube(values: ArrayLike, parts: list[Hashable], operators: list[Hashable]) -> FloatArray:
    """Return the values as (part, operator, trial)."""
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or not len(x) == len(parts) == len(operators) or len(x) == 0:
        raise _bad(
            f"There are {x.size} values, {len(parts)} parts and {len(operators)} operators.",
            "Give one part and one operator for every value.",
        )
    if not np.isfinite(x).all():
        raise _bad(
            f"{int((~np.isfinite(x)).sum())} values are missing or infinite.",
            "Measure these again, or leave out the parts concerned, for all operators.",
        )
    part, part_names = _numbered(parts)
    operator, operator_names = _numbered(operators)
    counts = np.zeros((len(part_names), len(operator_names)), dtype=np.int64)
    np.add.at(counts, (part, operator), 1)
    if (counts != counts[0, 0]).any():
        i, j = np.unravel_index(int(counts.argmin()), counts.shape)
        raise _bad(
            f"The study is not balanced: {operator_names[j]} measured {part_names[i]} "
            f"{counts[i, j]} times, others up to {counts.max()} times.",
            "Let every operator measure every part equally often, or leave out what is too much.",
        )
    trials = int(counts[0, 0])
    if trials == 1 and min(counts.shape) == 1:
        raise _bad(
            "Nothing was measured twice by the same operator.",
            "Repeat each measurement, three times or more.",
        )
    order = np.lexsort((np.arange(len(x)), operator, part))
    return np.asarray(x[order].reshape(*counts.shape, trials))


def _numbered(labels: list[Hashable]) -> tuple[IntArray, list[Hashable]]:
    """Return the place of each label among the different ones, in order of appearance."""
    places: dict[Hashable, int] = {}
    numbers = [places.setdefault(label, len(places)) for label in labels]
    return np.array(numbers, dtype=np.int64), list(places)


def _analysis(cube: FloatArray) -> list[VarianceSource]:
    """Return the sources that these counts allow for."""
    p, o, r = cube.shape
    overall = cube.mean()
    part = cube.mean(axis=(1, 2)) - overall
    operator = cube.mean(axis=(0, 2)) - overall
    cell = cube.mean(axis=2)
    rest = cell - overall - part[:, None] - operator[None, :]
    table = (
        ("part", o * r * (part**2).sum(), p - 1),
        ("operator", p * r * (operator**2).sum(), o - 1),
        ("interaction", r * (rest**2).sum(), (p - 1) * (o - 1)),
        ("repeat", ((cube - cell[:, :, None]) ** 2).sum(), p * o * (r - 1)),
    )
    return [
        VarianceSource(name, float(squares), df, float(squares) / df)
        for name, squares, df in table
        if df > 0
    ]


def _interaction_p(sources: dict[str, VarianceSource]) -> float:
    if "interaction" not in sources or "repeat" not in sources:
        return np.nan
    inner, repeat = sources["interaction"], sources["repeat"]
    if repeat.mean_square == 0:
        return 1.0 if inner.mean_square == 0 else 0.0
    return float(stats.f.sf(inner.mean_square / repeat.mean_square, inner.df, repeat.df))


def _pooled_error(sources: dict[str, VarianceSource], pooled: bool) -> VarianceSource:
    """Return the line that the repeatability comes from."""
    lines = [sources[name] for name in ("interaction", "repeat") if name in sources]
    if not pooled:
        return lines[-1]
    squares, df = sum(line.sum_of_squares for line in lines), sum(line.df for line in lines)
    return VarianceSource("repeat", squares, df, squares / df)


def _components(
    sources: dict[str, VarianceSource], error: VarianceSource, pooled: bool, shape: tuple[int, ...]
) -> dict[str, float]:
    """Return variance components, which may be below 0; NaN where there is no such source."""
    p, o, r = shape
    crossed = "interaction" in sources and not pooled
    below = sources["interaction"] if crossed else error
    return {
        "interaction": (below.mean_square - error.mean_square) / r,
        **{
            name: (sources[name].mean_square - below.mean_square) / count
            if name in sources
            else np.nan
            for name, count in (("operator", p * r), ("part", o * r))
        },
    }


def _sd_interval(variance: float, df: int, confidence: float) -> tuple[float, float]:
    """Return the χ² interval of a standard deviation."""
    shares = [0.5 + confidence / 2, 0.5 - confidence / 2]
    low, high = np.sqrt(variance * df / stats.chi2.ppf(shares, df)).tolist()
    return low, high


def _categories(part: float, gauge: float) -> int | None:
    if np.isnan(part) or gauge == 0:
        return None
    return max(1, int(np.floor(CATEGORIES_FACTOR * (part / gauge) ** 0.5)))


def _notes(shape: tuple[int, ...], clamped: tuple[str, ...], repeat: float) -> tuple[Reason, ...]:
    p, o, r = shape
    about = {
        "single_part": p == 1,
        "single_operator": o == 1,
        "no_repeats": r == 1,
        "identical_repeats": repeat == 0,
    }
    notes = [because(code) for code, holds in about.items() if holds]
    return (*notes, *(because("below_zero", name=name) for name in clamped))


def _bad(reason: str, remedy: str) -> SettingError:
    return SettingError(reason, subject="gauge study", remedy=remedy)
