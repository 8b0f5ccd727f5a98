"""The two directions of measuring, and what each of them sees.

From design to scan every place of the design asks for the nearest produced surface: an edge that
is missing and a fossa that is filled in show in full, flash and stubs not at all. From scan to
design every place of the produced surface asks for the nearest designed one: flash and stubs show
in full, a missing edge and a filled fossa less than they are, and what the scan lacks not at all.
"""

from __future__ import annotations

from typing import Literal

Direction = Literal["design_to_scan", "scan_to_design"]
DESIGN_TO_SCAN: Direction = "design_to_scan"
SCAN_TO_DESIGN: Direction = "scan_to_design"
DIRECTIONS: tuple[Direction, ...] = (DESIGN_TO_SCAN, SCAN_TO_DESIGN)


def other_direction(direction: Direction) -> Direction:
    """Return the opposite direction."""
    return SCAN_TO_DESIGN if direction == DESIGN_TO_SCAN else DESIGN_TO_SCAN


def covered_in(direction: Direction) -> tuple[Direction, ...]:
    """Return the directions in which an area must be covered to be judged in one of them.

    What a scan lacks has no point from scan to design, so that coverage in that direction alone
    would not tell: the design's is asked for as well.
    """
    return (DESIGN_TO_SCAN,) if direction == DESIGN_TO_SCAN else DIRECTIONS
