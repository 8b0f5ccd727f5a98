"""The loop over a tray's crowns: each is checked, whatever becomes of the others."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from ..check_result import CheckResult
from ..errors import CuspwiseError
from ..progress import Steps, labelled, scaled
from ..versions import versions_used
from .result import TrayCrown, TrayResult, tray_crown


@dataclass(frozen=True, eq=False)
class CrownToCheck:
    """One crown of a tray, and how it is checked.

    Attributes
    ----------
    name : str
        Unique in the tray.
    design, scan : str
        What design and scan are called.
    check : function
        Returns the steps of its check, from wherever the surfaces come; see
        :meth:`.SharedDesign.crown`.
    """

    name: str
    design: str
    scan: str
    check: Callable[[], Steps[CheckResult]]


Keep: TypeAlias = Callable[[CrownToCheck, CheckResult], Steps[object]]
"""Writes or keeps a crown's whole result, of which a tray's result holds little."""


def check_crowns_steps(
    crowns: Sequence[CrownToCheck], keep: Keep | None = None
) -> Steps[TrayResult]:
    """Check all crowns of a tray; one that cannot be checked is passed over with its reason.

    Crowns of one design are checked one after the other, so that no two designs are held at
    once; the result has them in the order given, which changes nothing else in it.

    Parameters
    ----------
    crowns : sequence of CrownToCheck
    keep : function, optional
        Takes each crown's whole result as soon as it is there; it is let go afterwards. What
        goes wrong in it (a full disk) ends the work.
    """
    found: dict[int, TrayCrown] = {}
    order = by_design([crown.design for crown in crowns])
    for done, place in enumerate(order):
        crown, start, stop = crowns[place], done / len(order), (done + 1) / len(order)
        number = f"Crown {done + 1} of {len(order)}, {crown.name}"
        steps = labelled(crown_steps(crown, keep), number)
        found[place] = yield from scaled(steps, start, stop)
    return TrayResult(tuple(found[place] for place in range(len(crowns))), versions_used())


def by_design(designs: Sequence[str]) -> list[int]:
    """Return the crowns' places, those of one design together.

    Examples
    --------
    >>> by_design(["molar", "premolar", "molar"])
    [0, 2, 1]
    """
    first = list(dict.fromkeys(designs))
    return sorted(range(len(designs)), key=lambda place: first.index(designs[place]))


def crown_steps(crown: CrownToCheck, keep: Keep | None = None) -> Steps[TrayCrown]:
    """Check one crown, and keep the whole result; a crown that cannot be checked says why."""
    try:
        result = yield from scaled(crown.check(), 0.0, 0.8 if keep else 1.0)
    except CuspwiseError as error:
        return TrayCrown(crown.name, crown.design, crown.scan, error=error.words_alone())
    if keep is not None:
        yield from scaled(keep(crown, result), 0.8, 1.0)
    return tray_crown(crown.name, crown.design, crown.scan, result)
