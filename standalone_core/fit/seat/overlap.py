"""How deep a crown at rest overlaps its die, exactly: also where patches or samples held it."""

from __future__ import annotations

from dataclasses import dataclass

from ...arrays import FloatArray
from .edge_cuts import edge_cuts
from .pair import Pair

BEYOND_UM = 1.0
"""The share of the intaglio that overlaps is that which does so by more than this."""


@dataclass(frozen=True)
class Overlap:
    """What overlaps at a pose.

    Attributes
    ----------
    deepest_um : float
        Of the vertices and edges of both bodies, 0 or more.
    share : float
        Of the intaglio's area that overlaps by more than ``BEYOND_UM``.
    """

    deepest_um: float
    share: float


def overlap_at(pair: Pair, pose: FloatArray) -> Overlap:
    """Measure the overlap of a crown with its die at a pose, relief taken off."""
    gap = pair.vertex_gaps(pose, 0.0, of_crown=True)
    of_die = pair.vertex_gaps(pose, 0.0, of_crown=False)
    low = min(float(gap.min(initial=0.0)), float(of_die.min(initial=0.0)))
    for of_crown in (True, False):  # only edges that cut deeper than what was found
        cuts = edge_cuts(pair, pose, -low, of_crown=of_crown)
        low = min(low, float(cuts.gap_mm.min(initial=0.0)))
    area = pair.crown.evaluation.weights_mm2 * pair.crown.intaglio
    deep = gap < -1e-3 * BEYOND_UM
    return Overlap(-1e3 * low, float(area[pair.crown_vertices[deep]].sum() / area.sum()))
