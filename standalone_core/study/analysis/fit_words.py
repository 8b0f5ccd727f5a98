"""What measures are called in a study's sentences, those of form and those of fit."""

from __future__ import annotations

from ...words.names import area_words, measure_words, measured_in
from ...words.text import capital
from ..fit_plan import FIT_MEASURES


def fit_words(area: str, measure: str) -> str:
    """Name a measure of fit; the area only where it is taken in more than one.

    Examples
    --------
    >>> fit_words("margin", "marginal_gap_um"), fit_words("axial", "cement_space_um")
    ('mean marginal gap', 'mean gap inside (axial walls)')
    """
    words = measure_words(measure)
    return words if FIT_MEASURES[measure] == (area,) else f"{words} ({area_words(area)})"


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
