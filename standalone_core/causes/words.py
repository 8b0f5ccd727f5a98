"""What causes, families and changes are called, and how their sizes are written."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

from ..words.text import micrometres, signed_number

if TYPE_CHECKING:
    from .result import Correction

CAUSE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "scale": "scale in all directions",
        "scale_along_build": "scale along the build direction",
        "scale_per_direction": "scale that differs per direction",
        "growth_uniform": "uniform growth",
        "growth_outside": "growth of the outside",
        "growth_inside": "growth of the inside",
        "filled_fossae": "filled fossae",
        "filled_intaglio": "filled corners of the intaglio",
        "not_reached_outside": "outside corners not reached",
        "not_reached_inside": "intaglio corners not reached",
        "opened_margin": "opened or closed margin",
        "leaning_margin": "leaning margin",
        "oval_margin": "oval margin",
        "three_lobed_margin": "three-lobed margin",
        "support_marks": "support marks",
        "layer_steps": "layer steps",
    }
)
FAMILY_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "scale": "scale",
        "growth": "growth",
        "fossae": "filled fossae",
        "tool": "corners that the tool did not reach",
        "margin": "a deformed margin",
        "supports": "support marks",
        "layers": "layer steps",
    }
)
CHANGES: Mapping[str, str] = MappingProxyType(
    {
        "scale": "Change the enlargement factor.",
        "growth": "Change exposure or finishing: a factor does not mend it.",
        "fossae": "Expose less, or deepen the fossae in the design.",
        "tool": "Take a finer bur, or widen these corners in the design.",
        "margin": "Change what holds the rim: supports, tray or support of the sintering.",
        "supports": "Finish these places, or move the supports.",
        "layers": "Build thinner layers, or in another direction.",
    }
)
"""What a family of causes asks for; common practice, no source."""
_AXIS_WORDS = {
    "all": "enlargement",
    "across": "enlargement across the build direction",
    "along": "enlargement along it",
    "first": "enlargement along the first main direction",
    "second": "along the second",
    "third": "along the third",
}

SCANNER_CLAUSE = "or the scanner's own scale: scan a calibrated part"
SPRAY_CLAUSE = "or scan spray"
COARSE_CLAUSE = "or a scanner too coarse for them"
CAUTION = (
    "Try a correction on one crown first; the material maker's instructions and licensed "
    "practice decide."
)


def cause_words(cause: str, family: str) -> str:
    """Return what a cause is called; the family's name where none of its members is named."""
    return CAUSE_WORDS.get(cause) or FAMILY_WORDS[family]


def percent_range(estimate: float, low: float, high: float) -> str:
    """Write ‰ as per cent with an interval.

    Examples
    --------
    >>> percent_range(4.2, 3.6, 4.8), percent_range(-0.01, -0.2, 0.18)
    ('+0.42 % (0.36 to 0.48)', '0.00 % (−0.02 to 0.02)')
    """
    # Rounded first, so that no nought has a sign.
    percent = [round(value / 10.0, 2) + 0.0 for value in (estimate, low, high)]
    middle, *ends = (signed_number(value, ".2f") for value in percent)
    return f"{'+' if percent[0] > 0 else ''}{middle} % ({ends[0]} to {ends[1]})"


def um_range(estimate: float, low: float, high: float) -> str:
    """Write µm with an interval.

    Examples
    --------
    >>> um_range(15.21, 13.9, 16.6), um_range(-4.25, -5.0, -3.5)
    ('15 µm (14 to 17)', '−4.2 µm (−5.0 to −3.5)')
    """
    digits = 0 if min(abs(estimate), abs(high - low)) >= 2.0 and abs(estimate) >= 9.95 else 1
    middle, *ends = (micrometres(value, digits=digits) for value in (estimate, low, high))
    return f"{middle} µm ({ends[0]} to {ends[1]})"


def direction_words(direction: tuple[float, float, float]) -> str:
    """Write a direction of the design's frame.

    Examples
    --------
    >>> direction_words((0.0, 0.6, -0.8))
    '(0.00, 0.60, −0.80)'
    """
    return f"({', '.join(signed_number(part, '.2f') for part in direction)})"


def factor_told(one: Correction) -> str:
    """Tell the next enlargement factor along one axis."""
    return (
        f"{_AXIS_WORDS[one.axis]} {one.factor_used:.4f} → {one.factor_next:.4f} "
        f"({one.low:.4f} to {one.high:.4f})"
    )
