"""Short words of a study's page, tables and figures."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping
from types import MappingProxyType

from ...study.analysis.results.analysis import StudyAnalysis, VerdictLine
from ...words.names import measure_words
from ...words.text import NO_VALUE, count_words, micrometres, plural

SHORT_MEASURES: Mapping[str, str] = MappingProxyType(
    {
        "mean_abs_um": "mean |d|",
        "rms_um": "RMS",
        "half_p90_p10_um": "(P90−P10)/2",
        "mean_um": "mean",
        "sd_um": "SD",
        "median_um": "median",
        "within_tolerance": "within tolerance",
    }
)


def short_measure(measure: str) -> str:
    """Return what a measure is called in the head of a column."""
    return SHORT_MEASURES.get(measure, measure_words(measure))


def unit_of(measure: str) -> str:
    """Return the unit that values of a measure are shown in."""
    return "µm" if measure.endswith("_um") else "%"


def shown_factor(measure: str) -> float:
    """Return what a value is multiplied with to be shown in :func:`unit_of`."""
    return 1.0 if measure.endswith("_um") else 100.0


def shown(value: float, measure: str, *, signed: bool = False, digits: int = 1) -> str:
    """Write a value of a measure without its unit."""
    return micrometres(shown_factor(measure) * value, signed=signed, digits=digits)


def fine_digits(values: Iterable[float], measure: str) -> int:
    """Return how many decimals tell values apart: two where one leaves but one digit of them all.

    Examples
    --------
    >>> fine_digits([0.12, 0.14], "rms_um"), fine_digits([0.12, 3.4], "rms_um")
    (2, 1)
    """
    sizes = [abs(shown_factor(measure) * value) for value in values if math.isfinite(value)]
    return 2 if 0.0 < max(sizes, default=0.0) < 1.0 else 1


def mean_and_sd(mean: float, sd: float, measure: str) -> str:
    """Write "12.3 ± 1.2"; the mean alone where one crown has no SD."""
    text = shown(mean, measure)
    return text if text == NO_VALUE or not math.isfinite(sd) else f"{text} ± {shown(sd, measure)}"


def titles_of(analysis: StudyAnalysis) -> dict[str, str]:
    """Return the readers' name of every group."""
    return dict(zip(analysis.groups, analysis.group_titles, strict=True))


def wrapped(text: str, width: int, lines: int = 2) -> str:
    """Break words for the label of an axis; what does not fit ends in an ellipsis."""
    found = textwrap.wrap(text, width, break_long_words=True)
    if len(found) > lines:
        found = [*found[: lines - 1], f"{found[lines - 1][: width - 1].rstrip()}…"]
    return "\n".join(found)


def crown_words(name: str) -> str:
    """Return a crown's name without its group's folder."""
    return name.rsplit("/", 1)[-1]


def short_crown(name: str, width: int = 16) -> str:
    """Return a crown's name as it stands beside its point: on two lines if it is long."""
    return wrapped(crown_words(name), width)


_NUMBERS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")


def counted(count: int, thing: str) -> str:
    """Write a count of things at the start of a sentence, small ones as words."""
    if count >= len(_NUMBERS):
        return count_words(count, thing)
    return f"{_NUMBERS[count]} {plural(thing, count)}"


def limits_words(limits: Mapping[str, float]) -> str:
    """Write limits in µm by what they are of, the one that most have first and once.

    Examples
    --------
    >>> limits_words({"margin": 5.0, "occlusal": 5.0, "fossae": 10.0})
    '±5 µm (fossae: ±10 µm)'
    """
    values = list(limits.values())
    usual = max(values, key=values.count)
    others = [f"{name}: ±{limit:g} µm" for name, limit in limits.items() if limit != usual]
    return f"±{usual:g} µm" + (f" ({'; '.join(others)})" if others else "")


_OPENING = ("tolerance", "unmatched", "fit", "primary", "secondary", "scanner", "caution")


def opening_lines(analysis: StudyAnalysis) -> tuple[VerdictLine, ...]:
    """Return the lines of the answer to begin with: what was asked, not all that was compared."""
    first_odd = next((line for line in analysis.verdict if line.kind == "odd"), None)
    return tuple(line for line in analysis.verdict if line is first_odd or line.kind in _OPENING)
