"""A crown that is one of many of a design: what is known before, and what nobody will ask."""

from __future__ import annotations

from dataclasses import dataclass

from .crown import FitCrown
from .seat.rough_pose import LaidOnDesign


@dataclass(frozen=True, eq=False)
class OneOfMany:
    """What spares work where many crowns of one design are seated; no number depends on it.

    Attributes
    ----------
    design : FitCrown or None
        The design made ready, in the die's frame, in place of that of the inputs.
    laid : LaidOnDesign or None
        Where the crown lies on that, so that it is not superimposed once more.
    with_rocking : bool
        Whether play and rocking are told; the seat is the same without.
    seated_only : bool
        Whether an error is raised where the crown cannot be laid on its die, in place of judging
        its walls alone.
    threads : int or None
        For indices; all processors if None.
    """

    design: FitCrown | None = None
    laid: LaidOnDesign | None = None
    with_rocking: bool = True
    seated_only: bool = False
    threads: int | None = None
