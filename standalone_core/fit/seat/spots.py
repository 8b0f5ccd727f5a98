"""Contact spots: the forces of a rest, neighbours taken together, with their places in words."""

from __future__ import annotations

import math

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from ...arrays import FloatArray, IntArray
from ...deviation.margin_directions import Directions, directions_of
from ..crown import FitCrown
from .motion import placed, undone
from .pair import Pair
from .result import ContactSpot
from .seating import Rest

APART_MM = 0.3
"""Forces nearer to each other than this are one spot."""

_MIDDLE_MM = 0.5


def contact_spots(pair: Pair, rest: Rest) -> tuple[ContactSpot, ...]:
    """Return what a crown rests on, the largest share of the load first."""
    contacts, force = rest.contacts, rest.force
    if not len(force):
        return ()
    label = _merged(contacts.place_mm)
    directions = directions_of(pair.crown.area_set)
    spots = []
    for k in range(int(label.max()) + 1):
        of = label == k
        push = force[of] @ contacts.direction[of]
        size = float(np.linalg.norm(push))
        if size <= 0:  # forces against each other, as in a pinched fin
            continue
        place = force[of] @ contacts.place_mm[of] / force[of].sum()
        there = placed(undone(rest.pose), place)
        spots.append(
            ContactSpot(
                place_mm=place,
                crown_place_mm=there,
                direction=push / size,
                force=size,
                share=float(-push @ rest.load.direction),
                part=part_at(pair.crown, there),
                where=where_words(pair.crown, directions, there),
            )
        )
    return tuple(sorted(spots, key=lambda spot: -spot.share))


def _merged(places: FloatArray) -> IntArray:
    """Number the groups of places that hang together, (k,)."""
    near = cKDTree(places).query_pairs(APART_MM, output_type="ndarray")
    links = coo_matrix((np.ones(len(near)), near.T), shape=(len(places), len(places)))
    label: IntArray = connected_components(links, directed=False)[1].astype(np.int64)
    return label


def part_at(crown: FitCrown, place_mm: FloatArray) -> str:
    """The part of the intaglio nearest to a place (3,) of the crown; its rim is the margin's."""
    points = np.flatnonzero(crown.intaglio)
    nearest = points[np.argmin(((crown.evaluation.points[points] - place_mm) ** 2).sum(axis=1))]
    return next(name for name, part in crown.parts.items() if part[nearest])


def where_words(crown: FitCrown, directions: Directions, place_mm: FloatArray) -> str:
    """Words for a place (3,) of the crown about the path of insertion."""
    out = place_mm - crown.margin_line.points_mm.mean(axis=0)
    x, y = float(out @ directions.zero), float(out @ directions.quarter)
    if math.hypot(x, y) < _MIDDLE_MM:
        return "in the middle"
    return directions.words(math.degrees(math.atan2(y, x)) % 360.0)
