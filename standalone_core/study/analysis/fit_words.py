"""What measures are called in a study's sentences, those of form and those of fit."""

from __future__ import annotations

from ...fit.judged import WALL_WORDS
from ...fit.sentences import AREA_WORDS as GAP_AREA_WORDS
from ...words.names import (
    AREA_WORDS,
    MEASURE_WORDS,
    area_words,
    measure_words,
    measured_in,
    the_area,
)
from ...words.text import capital
from ..fit_plan import FIT_MEASURES

_CONTACT = "contact_"
_CONTACTS = {name: words for name, words in AREA_WORDS.items() if name.startswith(_CONTACT)}


def fit_words(area: str, measure: str) -> str:
    """Name a measure of fit; the area only where it is taken in more than one.

    Examples
    --------
    >>> fit_words("margin", "marginal_gap_um"), fit_words("axial", "cement_space_um")
    ('mean marginal gap', 'mean gap inside (axial walls)')
    >>> fit_words("contact_mesial", "contact_gap_um"), fit_words("contact_35", "contact_gap_um")
    ('gap at the mesial contact', 'gap at the contact with 35')
    """
    words = measure_words(measure)
    if FIT_MEASURES[measure] == (area,):
        return words
    if measure == "contact_gap_um":
        return f"gap at the {_CONTACTS.get(area, f'contact with {area.removeprefix(_CONTACT)}')}"
    places = GAP_AREA_WORDS if measure == "cement_space_um" else WALL_WORDS
    return f"{words} ({places.get(area, area_words(area))})"


def place_words(area: str, measure: str) -> str:
    """Name area and measure, of form or of fit, within a list.

    Examples
    --------
    >>> place_words("margin", "mean_abs_um"), place_words("margin", "marginal_gap_um")
    ('the margin (mean absolute deviation)', 'the mean marginal gap')
    """
    if measure in FIT_MEASURES:
        return f"the {fit_words(area, measure)}"
    return f"{the_area(area)} ({MEASURE_WORDS[measure]})"


def measured_words(area: str, measure: str) -> str:
    """Name area and measure, of form or of fit, as the start of a sentence.

    Examples
    --------
    >>> measured_words("margin", "mean_abs_um"), measured_words("margin", "marginal_gap_um")
    ('Margin, mean absolute deviation', 'Mean marginal gap')
    """
    if measure in FIT_MEASURES:
        return capital(fit_words(area, measure))
    return measured_in(area, measure)
