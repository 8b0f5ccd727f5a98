"""What of a fit belongs together on a study's page: the margin, the inside, the seat, and so on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

from ...fit.judged import MARGIN, SEAT, WALLS
from ...study.analysis.results.analysis import Findings
from ...study.analysis.results.fit import FitFindings
from ...study.analysis.results.groups import TruenessRow
from ...study.measuring.results import StudyRun

Place: TypeAlias = tuple[str, str]
"""An area, and a measure of fit that is taken there."""


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

    def places(self, found: FitFindings) -> tuple[Place, ...]:
        """Return its places of which a group has a number: by measure, then as described."""
        known = [(row.area, row.measure) for row in found.described if row.summary.description.n]
        places = [place for name in self.measures for place in known if place[1] == name]
        return tuple(dict.fromkeys(places))


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

MOST_GAP: Place = ("margin", "marginal_gap_most_um")
_LIMITED: Mapping[tuple[str, str], Place] = {
    (SEAT, "above_intended_um"): ("whole", "above_intended_um"),
    (MARGIN, "most_um"): MOST_GAP,
    (WALLS, "least_mm"): ("", "least_wall_um"),
}
"""Where a measure that is held against a limit is compared; walls in the area of the limit."""


def all_described(findings: Findings) -> tuple[TruenessRow, ...]:
    """Return the descriptions of trueness, then those of fit."""
    fit = () if findings.fit is None else findings.fit.described
    return (*findings.trueness, *fit)


def fit_limits_um(run: StudyRun) -> dict[Place, tuple[float, str]]:
    """Return what the study's crowns were held against: a limit in µm and its bound, by place."""
    found: dict[Place, tuple[float, str]] = {}
    for crown in run.crowns:
        for one in crown.fit.judged if crown.fit is not None else ():
            area, measure = _LIMITED.get((one.part, one.measure), ("", ""))
            if measure:
                factor = 1000.0 if one.unit == "mm" else 1.0
                found[area or one.area, measure] = factor * one.limit, one.bound
    return found
