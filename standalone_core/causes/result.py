"""What was found out about why a crown deviates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from ..arrays import FloatArray
from .settings import CausesSettings, ProductionFacts

if TYPE_CHECKING:
    from .filled_places import FilledPlace
    from .found_marks import FoundMark
    from .layers import LayerSteps

Family = Literal["scale", "growth", "fossae", "tool", "margin", "supports", "layers"]
FAMILIES: tuple[Family, ...] = (
    "scale",
    "growth",
    "fossae",
    "tool",
    "margin",
    "supports",
    "layers",
)


@dataclass(frozen=True)
class Cause:
    """A systematic reason for deviations, with its size; or a family that holds it.

    Attributes
    ----------
    cause : str
        Which one, by name; empty where the data hold the family but not which of its members.
    family : str
        The family that it belongs to: see :data:`FAMILIES`.
    stated : bool
        Whether the data hold it; where not, the row tells what they would bear.
    probability : float
        That it takes part, 0 to 1.
    estimate : float
        Its size, in ``unit``; NaN if it has none.
    unit : str
        ``‰``, ``µm`` or ``mm``.
    low, high : float
        95 % interval of the size, in the same unit.
    rms_um : float
        Root mean square of its deviations over the surface after superimposition, µm.
    share_alone : float
        Share of the crown's variance that is lost if it alone is left out; shares of several
        causes do not add up.
    direction : (3,) tuple of float or None
        Its direction in the design's frame: the build direction, the long axis of an oval.
    sentence : str
        All of that for a reader.
    instead : str
        The family that explains the same deviations as well; empty if there is none.
    change : str
        What to change in the production, as a sentence; empty where nothing follows.

    Examples
    --------
    >>> import cuspwise
    >>> growth = cuspwise.Cause(
    ...     cause="growth_outside",
    ...     family="growth",
    ...     stated=True,
    ...     probability=0.99,
    ...     estimate=8.1,
    ...     unit="µm",
    ...     low=6.9,
    ...     high=9.3,
    ...     rms_um=5.6,
    ...     share_alone=0.6,
    ...     direction=None,
    ...     sentence="Growth of the outside: 8.1 µm (6.9 to 9.3), or scan spray.",
    ... )
    >>> growth.change
    ''
    """

    cause: str
    family: Family
    stated: bool
    probability: float
    estimate: float
    unit: str
    low: float
    high: float
    rms_um: float
    share_alone: float
    direction: tuple[float, float, float] | None
    sentence: str
    instead: str = ""
    change: str = ""


@dataclass(frozen=True)
class Correction:
    """The enlargement factor to use next.

    Attributes
    ----------
    axis : str
        ``all``, ``across`` or ``along`` the build direction, or ``first`` to ``third`` of the
        main directions.
    direction : (3,) tuple of float or None
        In the design's frame; None for all directions and across the build direction.
    factor_used, factor_next : float
    low, high : float
        95 % interval of the next factor.
    condition : str
        What the factor hangs on: the scanner's own scale, where it is not known.
    """

    axis: str
    direction: tuple[float, float, float] | None
    factor_used: float
    factor_next: float
    low: float
    high: float
    condition: str = ""


@dataclass(frozen=True)
class Remaining:
    """What no stated cause explains.

    Attributes
    ----------
    rms_um : float
        Root mean square over the surface, without what changes from point to point, µm.
    correlation_mm : float
        Over which it changes, mm: where its correlation has fallen to 1/e.
    scanner_ratio : float
        How many times the scanner's repeatability it is; NaN if that is not known.
    """

    rms_um: float
    correlation_mm: float
    scanner_ratio: float


@dataclass(frozen=True)
class PredictedArea:
    """What an area would measure without a cause; a prediction.

    Attributes
    ----------
    without : str
        The cause, by name; ``all`` for all stated causes.
    area : str
    mean_abs_um : float
        From design to scan, as measured.
    predicted_um : float
        After the correction and a new superimposition.
    limit_um : float
        Its tolerance.
    """

    without: str
    area: str
    mean_abs_um: float
    predicted_um: float
    limit_um: float

    @property
    def would_meet(self) -> bool:
        """Whether it would then meet its tolerance."""
        return self.predicted_um <= self.limit_um


@dataclass(frozen=True, eq=False)
class CausesResult:
    """Why a crown deviates, as far as its deviations can tell.

    Attributes
    ----------
    causes : tuple of Cause
        Stated ones first, the largest first; then what was looked for and not stated.
    sentences : tuple of str
        What a reader should know, the most important first.
    corrections : tuple of Correction
        The next enlargement factors; none where no factor follows from the data.
    remaining : Remaining
    share_together : float
        Share of the crown's variance that all stated causes explain together.
    predicted : tuple of PredictedArea
        What areas with a tolerance would measure without each stated cause, and without all.
    filled : tuple of FilledPlace
        Places of filled fossae, or that the tool did not reach.
    marks : tuple of FoundMark
        Support marks that nobody marked, offered with a likelihood.
    layers : LayerSteps or None
    notes : tuple of str
        What could not be looked for, and why, as sentences.
    facts : ProductionFacts
    settings : CausesSettings
    fields_mm : mapping of str to (n,) float
        The deviation that each stated cause makes at the design's evaluation points, mm, by
        ``cause`` (or by family where no member is named).
    left_mm : (n,) float
        What is left of the deviation, mm; NaN where it was not measured.
    build_direction : (3,) tuple of float or None
        The one that was given, or that was found.
    cells : (c,) float
        Mean deviations of the design's cells, mm, facet sag corrected; NaN where not measured.
        They are what a group's causes are found from.
    """

    causes: tuple[Cause, ...]
    sentences: tuple[str, ...]
    corrections: tuple[Correction, ...]
    remaining: Remaining
    share_together: float
    predicted: tuple[PredictedArea, ...]
    filled: tuple[FilledPlace, ...]
    marks: tuple[FoundMark, ...]
    layers: LayerSteps | None
    notes: tuple[str, ...]
    facts: ProductionFacts
    settings: CausesSettings
    fields_mm: Mapping[str, FloatArray] = field(repr=False)
    left_mm: FloatArray = field(repr=False)
    build_direction: tuple[float, float, float] | None = None
    cells: FloatArray | None = field(default=None, repr=False)

    @property
    def stated(self) -> tuple[Cause, ...]:
        """The causes that the data hold."""
        return tuple(cause for cause in self.causes if cause.stated)

    def of_family(self, family: str) -> Cause | None:
        """Return the first stated cause of a family; None if none is stated."""
        return next((cause for cause in self.stated if cause.family == family), None)
