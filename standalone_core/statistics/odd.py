"""Units unlike the rest of their small group: found, scored and explained, never dropped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..arrays import BoolArray, FloatArray, IntArray
from ..errors import SettingError
from .samples import check_positive, check_share

LEAST = 3
"""Fewer measured units show nothing of what is usual."""


@dataclass(frozen=True)
class Sign:
    """A unit beside the others of its group that are not odd, in one measure.

    Attributes
    ----------
    measure : str
    value : float
        The unit's value, or its distance from the others' mean map.
    usual, low, high : float
        Median, least and largest of the others' values, or of their distances.
    of_map : bool
        Whether maps were judged.
    """

    measure: str
    value: float
    usual: float
    low: float
    high: float
    of_map: bool = False


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
    worst : Sign or None
        What it is like in that measure; None if nothing could be judged.
    signs : tuple of Sign
        All measures that it is odd in, the most unusual first; empty if not flagged.
    """

    name: str
    odd: bool
    score: float
    limit: float
    worst: Sign | None
    signs: tuple[Sign, ...]


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
    unjudged : tuple of str
        Measures that fewer than :data:`LEAST` units have.
    """

    units: tuple[OddUnit, ...]
    measures: tuple[str, ...]
    false_alarms: float
    least_spread: float
    unjudged: tuple[str, ...]

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
    signs: tuple[Sign | None, ...]
    odd: BoolArray


def find_odd(
    measures: Mapping[str, ArrayLike],
    *,
    maps: Mapping[str, ArrayLike] | None = None,
    names: Sequence[str] | None = None,
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
        One value per unit, all in one unit; NaN counts as missing.
    maps : mapping of map name to (n, n) float, optional
        Root mean square distances between the units' maps; NaN where there is none. Units are left
        out of such a judgement, those with the most gaps first, until none is left.
    names : n str, optional
        For the result; "1", "2", … otherwise.
    false_alarms : float
        For the whole group and all measures.
    least_spread : float
        The others are never taken to be more alike than this, in that unit; what a device cannot
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
    return OddUnits(
        units=tuple(_unit(i, name, judged) for i, name in enumerate(called)),
        measures=tuple(column.name for column in judged),
        false_alarms=false_alarms,
        least_spread=least_spread,
        unjudged=tuple(c.name for c in judged if not np.isfinite(c.scores).any()),
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

    def sign(self, name: str, i: int, others: IntArray) -> Sign:
        """Return what a unit is like beside others."""
        return _sign(name, float(self.values[i]), self.values[others])


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

    def sign(self, name: str, i: int, others: IntArray) -> Sign:
        """Return what a unit is like beside others."""
        away = np.sqrt(self._from_mean(np.append(others, i), others))
        return replace(_sign(name, float(away[-1]), away[:-1]), of_map=True)


def _sign(name: str, value: float, others: FloatArray) -> Sign:
    return Sign(name, value, float(np.median(others)), float(others.min()), float(others.max()))


def _judge(name: str, ruler: _Line | _Space, alarms: float, floor: float) -> _Judged:
    """Judge one measure of all units."""
    live = np.flatnonzero(ruler.measured)
    n = len(live)
    steps = most_judged(n)
    share = alarms / (2 if steps > 1 else 1) / max(n, 1)
    odd = np.zeros(len(ruler.measured), dtype=bool)
    odd[_set_aside(ruler, live, steps, share * n, floor)] = True
    scores, limits = np.full(len(odd), np.nan), np.full(len(odd), np.nan)
    signs: list[Sign | None] = [None] * len(odd)
    for i in live.tolist() if steps else ():
        others = live[(live != i) & ~odd[live]]
        if len(others) < 2:  # three units, one of them odd
            others = live[live != i]
        scores[i] = ruler.score(i, others, floor)
        limits[i] = ruler.limit(others, share)
        signs[i] = ruler.sign(name, i, others)
    return _Judged(name, scores, limits, tuple(signs), odd)


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


def _unit(index: int, name: str, judged: list[_Judged]) -> OddUnit:
    """Return what all measures say of one unit."""
    usable = [column for column in judged if np.isfinite(column.scores[index])]
    if not usable:
        return OddUnit(name, False, np.nan, np.nan, None, ())
    usable.sort(key=lambda column: -column.scores[index] / column.limits[index])
    flagged = [column for column in usable if column.odd[index]]
    worst = (flagged or usable)[0]
    signs = [column.signs[index] for column in flagged]
    return OddUnit(
        name=name,
        odd=bool(flagged),
        score=float(worst.scores[index]),
        limit=float(worst.limits[index]),
        worst=worst.signs[index],
        signs=tuple(sign for sign in signs if sign is not None),
    )


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
