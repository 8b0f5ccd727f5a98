"""What a study asks about fit: which dies, which crowns are seated, what is compared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from ..allowed import Flag, Names, Number, PerArea
from ..fit.settings import FitSettings
from ..setting import Rule, check_fields, setting
from ..words.text import listed

FIT_MEASURES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "marginal_gap_um": ("margin",),
        "marginal_gap_most_um": ("margin",),
        "absolute_discrepancy_um": ("margin",),
        "cement_space_um": ("margin", "axial", "occlusal"),
        "above_intended_um": ("whole",),
        "least_wall_um": ("axial", "occlusal"),
        "contact_gap_um": ("contact_mesial", "contact_distal", "contact_occlusal"),
    }
)
"""The measures of fit that can be compared, one number per crown, each with where it is taken.

``marginal_gap_um``, ``absolute_discrepancy_um``: means around the margin; ``marginal_gap_most_um``:
the largest; ``cement_space_um``: mean gap over a part of the intaglio; ``above_intended_um``: how
far above its intended seat the crown rests; ``least_wall_um``: the thinnest place;
``contact_gap_um``: positive a gap, negative the depth of the overlap.
"""

USUAL_FIT_MEASURES = tuple(name for name in FIT_MEASURES if name != "marginal_gap_most_um")


@dataclass(frozen=True)
class FitPlan:
    """How the crowns of a study are seated on their dies.

    Attributes
    ----------
    die : pathlib.Path or None
        The die of all crowns whose group names none of their own.
    in_design_frame : bool
        Whether the dies lie in the design's frame, so that the seat that was intended is known.
    finish_line : pathlib.Path or None
        Of the one die; else the design's margin line is carried over.
    neighbours : tuple of pathlib.Path
    antagonist : pathlib.Path or None
        Teeth in the frame of the dies.
    crowns : tuple of str
        Names of the crowns to be seated; all if empty.
    measures : tuple of str
        What is compared, of :data:`FIT_MEASURES`.
    equivalence_um : mapping of measure to float
        Largest difference between groups that does not matter, µm; none is tested where none is
        given.
    settings : FitSettings
        Of the seat, the gap, the walls and the contacts; areas, spacing and units are those of
        the study.

    Examples
    --------
    >>> import cuspwise
    >>> from pathlib import Path
    >>> cuspwise.FitPlan(die=Path("die.stl")).measures[0]
    'marginal_gap_um'
    """

    die: Path | None = None
    in_design_frame: bool = setting(
        True,
        Flag(),
        "Whether the dies lie in the design's frame, so that the intended seat is known.",
    )
    finish_line: Path | None = None
    neighbours: tuple[Path, ...] = ()
    antagonist: Path | None = None
    crowns: tuple[str, ...] = setting(
        (), Names(thing="crown"), "Names of the crowns to be seated; an empty list means all."
    )
    measures: tuple[str, ...] = setting(
        USUAL_FIT_MEASURES,
        Names(tuple(FIT_MEASURES), empty=False, thing="fit measure"),
        "Which measures of fit are compared.",
    )
    equivalence_um: Mapping[str, float] = setting(
        MappingProxyType({}),
        PerArea(Number()),
        "Largest difference in fit between groups that does not matter, per measure of fit, µm.",
        plausible=(0.1, 2000.0),
    )
    settings: FitSettings = field(default_factory=FitSettings)

    def __post_init__(self) -> None:
        """Refuse what cannot be meant; keep the limits from change."""
        check_fields(self, _RULES)

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the limits, since a read-only mapping cannot be."""
        values = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return _make, ({**values, "equivalence_um": dict(self.equivalence_um)},)

    def seats(self, crown: str) -> bool:
        """Return whether a crown is to be seated."""
        return not self.crowns or crown in self.crowns


def _unknown_limits(plan: FitPlan) -> str:
    unknown = [name for name in plan.equivalence_um if name not in FIT_MEASURES]
    return f"There is no fit measure called {unknown[0]}." if unknown else ""


_RULES = (
    Rule(("equivalence_um",), _unknown_limits, f"Choose from {listed(tuple(FIT_MEASURES))}."),
)


def _make(values: dict[str, object]) -> FitPlan:
    return FitPlan(**values)  # type: ignore[arg-type]
