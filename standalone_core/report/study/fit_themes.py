"""What of a fit belongs together on a study's page: the margin, the inside, the seat, and so on."""

from __future__ import annotations

from dataclasses import dataclass

from ...fit.judged import MARGIN, SEAT, WALL_WORDS, WALLS
from ...fit.sentences import AREA_WORDS
from ...study.analysis.results.analysis import Findings
from ...study.analysis.results.groups import TruenessRow
from ...study.fit_plan import FIT_MEASURES
from ...study.measuring.results import StudyRun
from ...words.names import area_words, measure_words

Place = tuple[str, str]
"""A measure of fit and the area where it is taken."""


@dataclass(frozen=True)
class FitTheme:
    """Some measures of fit that are read together.

    Attributes
    ----------
    name, title : str
    measures : tuple of str
        Of :data:`~.FIT_MEASURES`.
    one_scale : bool
        Whether their figures share one axis, which begins at zero.
    """

    name: str
    title: str
    measures: tuple[str, ...]
    one_scale: bool = True

    @property
    def places(self) -> tuple[Place, ...]:
        """Every measure with every area where it is taken."""
        return tuple((measure, area) for measure in self.measures for area in FIT_MEASURES[measure])


THEMES = (
    FitTheme(
        "margin",
        "At the margin",
        ("marginal_gap_um", "marginal_gap_most_um", "absolute_discrepancy_um"),
    ),
    FitTheme("inside", "The gap inside", ("cement_space_um",)),
    FitTheme("seat", "The seat", ("above_intended_um",)),
    FitTheme("walls", "Walls", ("least_wall_um",), one_scale=False),
    FitTheme("contacts", "Contacts with other teeth", ("contact_gap_um",)),
)

_LIMITED: dict[tuple[str, str], str] = {
    (SEAT, "above_intended_um"): "above_intended_um",
    (MARGIN, "most_um"): "marginal_gap_most_um",
    (WALLS, "least_mm"): "least_wall_um",
}
"""What a measure that is held against a limit is called where it is compared."""


def place_words(measure: str, area: str) -> str:
    """Name a measure of fit with its area, where it is taken in more than one.

    Examples
    --------
    >>> place_words("marginal_gap_um", "margin"), place_words("cement_space_um", "axial")
    ('mean marginal gap', 'mean gap inside, axial walls')
    """
    if len(FIT_MEASURES[measure]) == 1:
        return measure_words(measure)
    if measure == "contact_gap_um":
        return f"gap at the {area_words(area)}"
    words = AREA_WORDS if measure == "cement_space_um" else WALL_WORDS
    return f"{measure_words(measure)}, {words.get(area, area_words(area))}"


def all_described(findings: Findings) -> tuple[TruenessRow, ...]:
    """Return the descriptions of trueness, then those of fit."""
    fit = () if findings.fit is None else findings.fit.described
    return (*findings.trueness, *fit)


def fit_limits_um(run: StudyRun) -> dict[Place, tuple[float, str]]:
    """Return what the study's crowns were held against: a limit in µm and its bound, by place."""
    found: dict[Place, tuple[float, str]] = {}
    for crown in run.crowns:
        for one in crown.fit.judged if crown.fit is not None else ():
            measure = _LIMITED.get((one.part, one.measure))
            if measure is not None:
                area = one.area or FIT_MEASURES[measure][0]
                factor = 1000.0 if one.unit == "mm" else 1.0
                found[measure, area] = factor * one.limit, one.bound
    return found
