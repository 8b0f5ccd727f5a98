"""All that was found about how a crown fits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..arrays import FloatArray
    from .contacts.result import Contacts
    from .crown import FitCrown
    from .die import FitDie
    from .gap.result import GapMap, MarginalGap
    from .seat.result import Seat
    from .settings import FitSettings
    from .walls.result import Walls

NO_FINISH_LINE = "It was not measured: give a finish line, or the design in the die's frame."
"""Why there is no margin among what was measured."""


@dataclass(frozen=True, eq=False)
class TripleScan:
    """The seat that a scan of the seated crown shows.

    Attributes
    ----------
    T_die_crown : (4, 4) float
    crown_rms_um, die_rms_um : float
        Of the two superimpositions on the scan of the seated crown.
    virtual_above_um : float
        How far the virtual seat lies above this one, at the middle of the margin line; NaN
        without a virtual seat.
    virtual_apart_um : float
        Largest distance between the two places of a point of the intaglio.
    warnings : tuple of str
    """

    T_die_crown: FloatArray
    crown_rms_um: float
    die_rms_um: float
    virtual_above_um: float
    virtual_apart_um: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class FitResult:
    """How a crown fits on its die, in its walls and against its neighbours.

    Attributes
    ----------
    crown : FitCrown
        In its own frame.
    die : FitDie or None
        None where the crown could not be laid on it.
    seat : Seat or None
        The virtual seat; None where there could be none, as ``missing`` says.
    triple_scan : TripleScan or None
        Of which the gap and the margin are then measured.
    gap : GapMap or None
    margin : MarginalGap or None
    walls : Walls or None
    contacts : Contacts or None
    missing : mapping of str to str
        "seat", "gap", "margin", "walls", "contacts": why there is none of these, as a sentence
        with the remedy.
    warnings : tuple of str
        What the reader must know before trusting the numbers.
    seconds : mapping of str to float
    versions : mapping of str to str
    settings : FitSettings
    """

    crown: FitCrown
    die: FitDie | None
    seat: Seat | None
    triple_scan: TripleScan | None
    gap: GapMap | None
    margin: MarginalGap | None
    walls: Walls | None
    contacts: Contacts | None
    missing: Mapping[str, str]
    warnings: tuple[str, ...]
    seconds: Mapping[str, float]
    versions: Mapping[str, str]
    settings: FitSettings

    @property
    def T_die_crown(self) -> FloatArray | None:  # noqa: N802 - a frame's name
        """Where the crown lies in the die's frame, (4, 4), as gap and margin were measured."""
        if self.triple_scan is not None:
            return self.triple_scan.T_die_crown
        return None if self.seat is None else self.seat.T_die_crown
