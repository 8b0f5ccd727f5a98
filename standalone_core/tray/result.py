"""What the check of a tray found out, crown by crown: small, whole, and as plain as it can be."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ..causes.result import Cause
from ..check_result import CheckResult
from ..deviation.support_marks import MarkResult
from ..deviation.verdict import Verdict
from ..errors import CuspwiseError
from ..words.headline import DECIDING, decisive
from ..words.names import NO_TOLERANCE, WITHIN

NOT_CHECKED = "not_checked"
"""The verdict on a crown that could not be checked, beside those on areas."""

TRAY_VERDICTS = (NOT_CHECKED, *DECIDING, NO_TOLERANCE)
"""All verdicts on a crown, the worst first."""


@dataclass(frozen=True)
class TrayCrown:
    """What a tray's result keeps of one crown.

    Attributes
    ----------
    name : str
        Unique in the tray.
    design, scan : str
        What design and scan are called.
    verdicts : tuple of Verdict
        One per area, support marks included, as a check of the crown alone finds them; none if it
        could not be checked.
    marks : tuple of MarkResult
        What is left of each support mark.
    causes : tuple of Cause or None
        The stated ones; None if they were not looked for.
    superimposition : str
        Its verdict; empty if the crown could not be checked.
    warnings : tuple of str
        What to know before trusting the numbers.
    seconds : float
        How long its check took.
    error : CuspwiseError or None
        Why it could not be checked: ``subject``, ``reason`` and ``remedy``.

    Examples
    --------
    >>> import cuspwise
    >>> lost = cuspwise.FileError("It is gone.", subject="a.stl", remedy="Look for it.")
    >>> crown = cuspwise.TrayCrown("a", design="design.stl", scan="a.stl", error=lost)
    >>> crown.verdict, crown.passed
    ('not_checked', False)
    """

    name: str
    design: str
    scan: str
    verdicts: tuple[Verdict, ...] = ()
    marks: tuple[MarkResult, ...] = ()
    causes: tuple[Cause, ...] | None = None
    superimposition: str = ""
    warnings: tuple[str, ...] = ()
    seconds: float = math.nan
    error: CuspwiseError | None = None

    @property
    def verdict(self) -> str:
        """The verdict on the crown, one of :data:`TRAY_VERDICTS`: that of its worst area."""
        if self.error is not None:
            return NOT_CHECKED
        return decisive(verdict.verdict for verdict in self.verdicts)

    @property
    def passed(self) -> bool:
        """Whether nothing speaks against the crown, and everything asked could be decided."""
        return self.verdict in (WITHIN, NO_TOLERANCE)

    def of_area(self, area: str) -> Verdict | None:
        """Return the verdict on an area; None where the crown has none."""
        return next((verdict for verdict in self.verdicts if verdict.area == area), None)


@dataclass(frozen=True)
class TrayResult:
    """What the check of a tray found out.

    Attributes
    ----------
    crowns : tuple of TrayCrown
        In the order in which they were given.
    versions : mapping of str to str
        Of Cuspwise and what it computed with.
    """

    crowns: tuple[TrayCrown, ...]
    versions: Mapping[str, str]

    @property
    def passed(self) -> bool:
        """Whether all crowns passed."""
        return all(crown.passed for crown in self.crowns)

    @property
    def areas(self) -> tuple[str, ...]:
        """The areas with a tolerance in any crown, in the order of the crowns' areas."""
        judged = (v for crown in self.crowns for v in crown.verdicts if v.verdict != NO_TOLERANCE)
        return tuple(dict.fromkeys(verdict.area for verdict in judged))


def tray_crown(name: str, design: str, scan: str, result: CheckResult) -> TrayCrown:
    """Return what a tray's result keeps of a check."""
    return TrayCrown(
        name=name,
        design=design,
        scan=scan,
        verdicts=result.verdicts,
        marks=result.marks,
        causes=None if result.causes is None else result.causes.stated,
        superimposition=result.superimposition.verdict,
        warnings=result.warnings,
        seconds=result.seconds["total"],
    )
