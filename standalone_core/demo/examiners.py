"""What two invented examiners feel at each demo crown, from its true deviations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from .die_shape import DieShape
from .first_order import first_order_deviation
from .first_order_seat import first_order_height
from .produced import ProducedSurface
from .quadrature import Nodes, surface_nodes
from .shape import CrownShape
from .true_areas import TrueAreas

SPACING_MM = 0.3
EXAMINERS: Mapping[str, float] = {"A": 0.95, "B": 1.1}
"""How large each examiner takes deviations to be: A a little too small, B too large."""

FEELING_SPREAD = 0.12
"""Standard deviation of an examiner's feeling, as a share of what there is to feel."""

LIMITS_UM: Mapping[str, tuple[float, float]] = {
    "gap": (9.0, 21.0),
    "contact": (9.0, 19.0),
    "seating": (20.0, 150.0),
}
"""Sizes from which an examiner who felt them as they are would score 1 and 2; invented."""


@dataclass(frozen=True)
class FeltScore:
    """What one examiner felt at one crown: 0 is best.

    Attributes
    ----------
    crown, examiner : str
    gap, contact, seating : int
        Marginal gap, contacts, seating: 0, 1 or 2.
    """

    crown: str
    examiner: str
    gap: int
    contact: int
    seating: int


def examiners_scores(
    surfaces: Mapping[str, ProducedSurface],
    areas: TrueAreas,
    die: DieShape,
    rng: np.random.Generator,
) -> tuple[FeltScore, ...]:
    """Let both examiners score every crown.

    Parameters
    ----------
    surfaces : mapping of crown name to ProducedSurface
        The crowns.
    areas : TrueAreas
        Of their design.
    die : DieShape
        That they were tried on.
    rng : Generator
        For what they feel.

    Returns
    -------
    tuple of FeltScore
        Crown by crown.
    """
    felt = sizes_to_feel(surfaces, areas, die)
    return tuple(
        FeltScore(crown, examiner, **{item: _score(item, size, bias, rng) for item, size in sizes})
        for crown, sizes in ((crown, tuple(row.items())) for crown, row in felt.items())
        for examiner, bias in EXAMINERS.items()
    )


def sizes_to_feel(
    surfaces: Mapping[str, ProducedSurface], areas: TrueAreas, die: DieShape
) -> dict[str, dict[str, float]]:
    """Return what there is to feel at each crown, µm.

    The gap is the mean absolute deviation of the margin; the contact the larger mean, whatever
    its sign, of the two contact areas; the seating how much higher the crown rests on the die
    than its design would.
    """
    nodes = surface_nodes(areas.shape, SPACING_MM)
    weights = {
        name: nodes.weights_mm2 * areas.contains(name, nodes.theta, nodes.s)
        for name in ("margin", "contact_mesial", "contact_distal")
    }
    least = first_order_height(nodes.points, die, nodes)
    found = {}
    for crown, surface in surfaces.items():
        produced = _places(surface, areas.shape, nodes)
        deviation = 1e3 * first_order_deviation(produced, nodes)
        contacts = (_mean(deviation, weights[f"contact_{end}"]) for end in ("mesial", "distal"))
        found[crown] = {
            "gap": _mean(np.abs(deviation), weights["margin"]),
            "contact": max(abs(mean) for mean in contacts),
            "seating": 1e3 * (first_order_height(produced, die, nodes) - least),
        }
    return found


def _places(surface: ProducedSurface, shape: CrownShape, nodes: Nodes) -> FloatArray:
    """Where nodes of the design lie on a produced crown, mm."""
    if surface.base != shape:  # with pieces broken off
        return surface.points(nodes.theta, nodes.s)
    return surface.moved(nodes.theta, nodes.s, nodes.points, nodes.normals)


def _mean(values: FloatArray, weights: FloatArray) -> float:
    return float(np.average(values, weights=weights))


def _score(item: str, size_um: float, bias: float, rng: np.random.Generator) -> int:
    felt = size_um * bias * (1.0 + FEELING_SPREAD * rng.normal())
    return int(np.searchsorted(LIMITS_UM[item], felt))
