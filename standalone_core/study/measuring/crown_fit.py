"""How one crown of a study fits on its die: numbers and sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from ...arrays import FloatArray
from ...fit.judged import Judged
from ...words.headline import Headline


@dataclass(frozen=True)
class FitValue:
    """One number of a crown's fit.

    Attributes
    ----------
    area, measure : str
        ``measure`` of :data:`~.fit_plan.FIT_MEASURES`; ``area`` where it was taken.
    value : float
        In µm.
    """

    area: str
    measure: str
    value: float


@dataclass(frozen=True, eq=False)
class MarginGaps:
    """The marginal gap around one crown; arrays (p,).

    Attributes
    ----------
    angle_deg : (p,) float
        Counter-clockwise about the path of insertion seen from occlusal, from mesial if that is
        known.
    gap_um, absolute_um, extension_um : (p,) float
        As of :class:`~.MarginalGap`; NaN where not measured.
    """

    angle_deg: FloatArray
    gap_um: FloatArray
    absolute_um: FloatArray
    extension_um: FloatArray


@dataclass(frozen=True, eq=False)
class CrownFit:
    """How a crown fits on its die.

    Attributes
    ----------
    die : pathlib.Path
    headline : Headline
        Whether it fits, in one breath.
    judged : tuple of Judged
        All that is held against a limit.
    values : tuple of FitValue
        Design and die by themselves say nothing here: only what was measured of this crown.
    stop : str
        "rests", "cannot_go_on", or empty if it was not seated.
    by_triple_scan : bool
        Whether gap and margin are those of a scan of the seated crown.
    sentences : tuple of str
        What the numbers come to: seat, what holds it up, gap, margin, walls, contacts.
    missing : mapping of str to str
        Part of the fit, and why there is nothing of it.
    warnings : tuple of str
        Without what is told of the crown's scan and its superimposition, and of surfaces that all
        crowns share.
    T_die_crown : (4, 4) float or None
        From the crown as it lies on the design.
    margin : MarginGaps or None
    """

    die: Path
    headline: Headline
    judged: tuple[Judged, ...]
    values: tuple[FitValue, ...]
    stop: str
    by_triple_scan: bool
    sentences: tuple[str, ...]
    missing: Mapping[str, str]
    warnings: tuple[str, ...]
    T_die_crown: FloatArray | None = field(default=None, repr=False)
    margin: MarginGaps | None = field(default=None, repr=False)

    def value(self, area: str, measure: str) -> float:
        """Return one number; NaN if there is none."""
        for one in self.values:
            if (one.area, one.measure) == (area, measure):
                return one.value
        return float("nan")


@dataclass(frozen=True)
class NotFitted:
    """A crown whose fit could not be judged at all.

    Attributes
    ----------
    crown, group : str
    reason, remedy : str
        As sentences.
    """

    crown: str
    group: str
    reason: str
    remedy: str
