"""Units unlike the rest of their small group: found, scored and explained, never dropped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..errors import SettingError
from .samples import BoolArray, FloatArray, IntArray, check_positive, check_share

LEAST = 3
"""Fewer measured units show nothing of what is usual."""

_SHOWN = 3  # measures that a reason names


@dataclass(frozen=True)
class OddUnit:
    """How far one unit is from the rest of its group.

    Attributes
    ----------
    name : str
    odd : bool
        Flagged.
    score, limit : float
        In its most unusual measure: distance from the mean of the others that are not odd, in
        their standard deviations; and where the flag begins. NaN if nothing could be judged.
    measure : str
        That measure.
    value, usual : float
        The unit's value in it, and the median of those others.
    reason : str
        What is unusual, in words; empty if not flagged, but for why it could not be judged.
    """

    name: str
    odd: bool
    score: float
    limit: float
    measure: str
    value: float
    usual: float
    reason: str


@dataclass(frozen=True)
class OddUnits:
    """All units of a group.

    Attributes
    ----------
    units : tuple of OddUnit
        In the order given.
    measures : tuple of str
        What was judged.
    false_alarms : float
        Chance that a faultless group has any unit flagged, at most, for normal values.
    least_spread : float
        Spreads below it were taken as this.
    notes : tuple of str
        What could not be judged.
    """

    units: tuple[OddUnit, ...]
    measures: tuple[str, ...]
    false_alarms: float
    least_spread: float
    notes: tuple[str, ...]

    @property
    def odd(self) -> tuple[OddUnit, ...]:
        """The flagged units."""
        return tuple(unit for unit in self.units if unit.odd)


@dataclass(frozen=True)
class _Judged:
    """One measure of all units; NaN where a unit has no value."""

    name: str
    scores: FloatArray
    limits: FloatArray
    shown: tuple[_Shown | None, ...]
    odd: BoolArray


@dataclass(frozen=True)
class _Shown:
    """What a reason says: a unit's value, and what is usual among the others."""

    value: float
    usual: float
    low: float
    high: float
    words: str = "{name} {value}"


def find_odd(
    measures: Mapping[str, ArrayLike],
    *,
    maps: Mapping[str, ArrayLike] | None = None,
    names: Sequence[str] | None = None,
    unit: str = "µm",
    false_alarms: float = 0.01,
    least_spread: float = 0.5,
) -> OddUnits:
    """Find units unlike the rest of their group, by several measures and by their maps.

    Measure by measure, the unit farthest from the mean is compared with all others by
    t = (x − x̄)/(s √(1 + 1/m)), m others with mean x̄ and standard deviation s, on m − 1 degrees of
    freedom; then it is set aside and the next is judged, up to a third of the group, so that two
    odd units do not hide each other. Odd are all up to the last with p ≤ level/n: Rosner's
    many-outlier procedure (1983, Technometrics 25: 165–172).

    For maps t² becomes F, the squared distance from the others' mean map over their mean squared
    distance from it, (1 + 1/m) and m − 1 as before, on ν and ν(m − 1) degrees of freedom:
    ν = Σλ/max λ counts the ways in which the others differ, λ the eigenvalues of their spread. Of
    all spreads with that sum and that largest λ, one of ν equal λ is the one most often exceeded
    far out (Bock, Diaconis, Huffer & Perlman 1987, Canadian Journal of Statistics 15: 387–395), so
    that the rule is careful; (Σλ)²/Σλ², which is usual (Box 1954, Annals of Mathematical Statistics
    25: 290–302), raises up to two and a half times the alarms allowed where one way outweighs many
    small ones. A map shows more than a value of it: in a group of six, a unit eight times as far
    off as is usual is found in 16 % of groups by one value, but in 23 to 98 % by its map, as others
    differ in one way or in ten.

    The level is ``false_alarms`` divided by the number of measures, and by 2 where more than one
    unit is judged: simulation shows it to keep the promise for normal values from n = 3 on. With
    1 % asked for, 0.7 to 1.0 % of faultless groups raise an alarm by one measure, fewer by several
    that go together. Long-tailed values raise more (Student's t with 5 degrees of freedom, n = 8:
    about 3 %). Groups below five show only gross oddities.

    Parameters
    ----------
    measures : mapping of measure name to (n,) float
        One value per unit, all in ``unit``; NaN counts as missing.
    maps : mapping of map name to (n, n) float, optional
        Root mean square distances between the units' maps; NaN where there is none. Units are left
        out of such a judgement, those with the most gaps first, until none is left.
    names : n str, optional
        For the result; "1", "2", … otherwise.
    unit : str
        For the reasons.
    false_alarms : float
        For the whole group and all measures.
    least_spread : float
        The others are never taken to be more alike than this, in ``unit``; what a device cannot
        resolve is no reason for a flag.

    Returns
    -------
    OddUnits

    Raises
    ------
    SettingError
        Measures of different lengths, none at all, or a number outside what is allowed.
    """
    check_share(false_alarms, "false_alarms")
    check_positive(least_spread, "least_spread")
    columns = {name: np.asarray(x, dtype=np.float64) for name, x in measures.items()}
    tables = {name: np.asarray(x, dtype=np.float64) for name, x in (maps or {}).items()}
    n = _count(columns, tables)
    if names is not None and len(names) != n:
        raise _bad(f"There are {len(names)} names for {n} units.", "Give one name per unit.")
    called = [str(i + 1) for i in range(n)] if names is None else list(names)
    rulers: list[tuple[str, _Line | _Space]] = [(name, _Line(x)) for name, x in columns.items()]
    rulers += [(name, _Space(x**2)) for name, x in tables.items()]
    judged = [
        _judge(name, ruler, false_alarms / len(rulers), least_spread) for name, ruler in rulers
    ]
    notes = []
    for column in judged:
        if not np.isfinite(column.scores).any():
            notes.append(f"{column.name}: fewer than {LEAST} units were measured; none was judged.")
    return OddUnits(
        units=tuple(_unit(i, name, judged, unit) for i, name in enumerate(called)),
        measures=tuple(column.name for column in judged),
        false_alarms=false_alarms,
        least_spread=least_spread,
        notes=tuple(notes),
    )


def most_judged(n: int) -> int:
    """Return how many of n units can be found odd."""
    return max(1, (n - 2) // 3) if n >= LEAST else 0


class _Line:
    """Units as values of one measure."""

    def __init__(self, values: FloatArray) -> None:
        self.values = values
        self.measured = ~np.isnan(values)

    def farthest(self, live: IntArray) -> int:
        """Return the unit farthest from the mean."""
        x = self.values[live]
        return int(live[np.argmax(np.abs(x - x.mean()))])

    def score(self, i: int, others: IntArray, floor: float) -> float:
        """Return |t| of a unit against others."""
        x, m = self.values[others], len(others)
        spread = max(float(x.std(ddof=1)), floor)
        return float(abs(self.values[i] - x.mean()) / (spread * (1 + 1 / m) ** 0.5))

    def limit(self, others: IntArray, share: float) -> float:
        """Return the score that is exceeded by chance with this probability."""
        return float(stats.t.isf(share / 2, len(others) - 1))

    def shown(self, i: int, others: IntArray) -> _Shown:
        """Return what a reason says of a unit."""
        return _shown(float(self.values[i]), self.values[others])


class _Space:
    """Units as places, by the squares of their mutual distances."""

    def __init__(self, squared: FloatArray) -> None:
        self.squared = squared.copy()
        np.fill_diagonal(self.squared, 0.0)
        self.measured = np.ones(len(squared), dtype=bool)
        gaps = np.isnan(self.squared)
        while (counts := (gaps & self.measured).sum(axis=1) * self.measured).any():
            self.measured[counts.argmax()] = False

    def _from_mean(self, units: IntArray, of: IntArray) -> FloatArray:
        """Return the squared distance of units from the mean of some."""
        inner = self.squared[np.ix_(of, of)].mean() / 2
        away = self.squared[np.ix_(units, of)].mean(axis=1) - inner
        return np.asarray(np.maximum(away, 0.0))

    def farthest(self, live: IntArray) -> int:
        """Return the unit farthest from the mean."""
        return int(live[np.argmax(self._from_mean(live, live))])

    def score(self, i: int, others: IntArray, floor: float) -> float:
        """Return √F of a unit against others."""
        m = len(others)
        spread = max(float(self._from_mean(others, others).sum()) / (m - 1), floor**2)
        away = float(self._from_mean(np.array([i]), others)[0])
        return float((away / (spread * (1 + 1 / m))) ** 0.5)

    def limit(self, others: IntArray, share: float) -> float:
        """Return the score that is exceeded by chance with this probability."""
        squared = self.squared[np.ix_(others, others)]
        row = squared.mean(axis=0)
        inner = -0.5 * (squared - row[:, None] - row[None, :] + squared.mean())
        largest = float(np.linalg.eigvalsh(inner)[-1])
        ways = max(1.0, float(inner.trace()) / largest) if largest > 0 else 1.0
        return float(stats.f.isf(share, ways, ways * (len(others) - 1)) ** 0.5)

    def shown(self, i: int, others: IntArray) -> _Shown:
        """Return what a reason says of a unit."""
        away = np.sqrt(self._from_mean(np.append(others, i), others))
        words = "{name}: its surface lies {value} from the others' mean"
        return replace(_shown(float(away[-1]), away[:-1]), words=words)


def _shown(value: float, others: FloatArray) -> _Shown:
    return _Shown(value, float(np.median(others)), float(others.min()), float(others.max()))


def _judge(name: str, ruler: _Line | _Space, alarms: float, floor: float) -> _Judged:
    """Judge one measure of all units."""
    live = np.flatnonzero(ruler.measured)
    n = len(live)
    steps = most_judged(n)
    share = alarms / (2 if steps > 1 else 1) / max(n, 1)
    odd = np.zeros(len(ruler.measured), dtype=bool)
    odd[_set_aside(ruler, live, steps, share * n, floor)] = True
    scores, limits = np.full(len(odd), np.nan), np.full(len(odd), np.nan)
    shown: list[_Shown | None] = [None] * len(odd)
    for i in live.tolist() if steps else ():
        others = live[(live != i) & ~odd[live]]
        if len(others) < 2:  # three units, one of them odd
            others = live[live != i]
        scores[i] = ruler.score(i, others, floor)
        limits[i] = ruler.limit(others, share)
        shown[i] = ruler.shown(i, others)
    return _Judged(name, scores, limits, tuple(shown), odd)


def _set_aside(
    ruler: _Line | _Space, live: IntArray, steps: int, level: float, floor: float
) -> list[int]:
    """Return the odd units: all set aside up to the last that is significantly far."""
    taken: list[int] = []
    last = 0
    for step in range(steps):
        i = ruler.farthest(live)
        others = live[live != i]
        if ruler.score(i, others, floor) > ruler.limit(others, level / len(live)):
            last = step + 1
        taken.append(i)
        live = others
    return taken[:last]


def _unit(index: int, name: str, judged: list[_Judged], unit: str) -> OddUnit:
    """Return what all measures say of one unit."""
    usable = [column for column in judged if np.isfinite(column.scores[index])]
    if not usable:
        nan = np.nan
        reason = f"Not judged: fewer than {LEAST} units with a value, this one among them."
        return OddUnit(name, False, nan, nan, "", nan, nan, reason)
    usable.sort(key=lambda column: -column.scores[index] / column.limits[index])
    flagged = [column for column in usable if column.odd[index]]
    worst = (flagged or usable)[0]
    shown = worst.shown[index] or _Shown(np.nan, np.nan, np.nan, np.nan)
    more = len(flagged) - _SHOWN
    parts = [_words(column.name, column.shown[index], unit) for column in flagged[:_SHOWN]]
    if more > 0:
        parts.append(f"and {more} more")
    return OddUnit(
        name=name,
        odd=bool(flagged),
        score=float(worst.scores[index]),
        limit=float(worst.limits[index]),
        measure=worst.name,
        value=shown.value,
        usual=shown.usual,
        reason="; ".join(parts),
    )


def _words(name: str, shown: _Shown | None, unit: str) -> str:
    """Say what is unusual about a unit in one measure."""
    if shown is None:
        return name
    what = shown.words.format(name=name, value=f"{_number(shown.value)} {unit}")
    return (
        f"{what}, against a median of {_number(shown.usual)} {unit} "
        f"({_number(shown.low)} to {_number(shown.high)})"
    )


def _number(value: float) -> str:
    """Write a value with three figures, or all that stand before the point."""
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def _count(columns: Mapping[str, FloatArray], tables: Mapping[str, FloatArray]) -> int:
    """Return how many units there are; refuse measures that disagree on it."""
    shapes = {values.shape for values in columns.values()}
    for name, table in tables.items():
        if table.ndim != 2 or table.shape[0] != table.shape[1] or (table < 0).any():
            raise _bad(f"{name} is no square table of distances.", "Give n by n distances.")
        shapes.add(table.shape[:1])
    if len(shapes) != 1 or len(next(iter(shapes))) != 1:
        raise _bad(
            f"The measures have shapes {sorted(shapes)}.",
            "Give at least one measure, each with one value per unit, NaN where missing.",
        )
    if any(np.isinf(values).any() for values in columns.values()):
        raise _bad("A value is infinite.", "Give finite values, NaN where missing.")
    return int(next(iter(shapes))[0])


def _bad(reason: str, remedy: str) -> SettingError:
    return SettingError(reason, subject="odd units", remedy=remedy)
