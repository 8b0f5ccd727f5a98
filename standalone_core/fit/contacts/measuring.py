"""How a crown touches its neighbours and its antagonist, and how it was designed to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from ...arrays import FloatArray
from ...deviation.margin_directions import Directions, directions_of
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown
from ..settings import ContactSettings
from .meeting import FAR_MM, Meeting, Placed, meet
from .result import ContactKind, Contacts, ToothContact
from .spots import NO_SPOT, Spot, overlap_mm2, spots
from .words import contact_name, sentence_of, side_of, strength_of

Tooth: TypeAlias = tuple[str, TriangleMesh, ContactKind]
"""Name, mesh in the die's frame and kind of another tooth."""

_SAME_PLACE_MM = {"proximal": 3.0, "occlusal": 1.0}
"""A contact this near to a designed one is that one."""
_GROSS_MM, _GROSS_SHARE = 0.5, 0.1
"""A tooth that overlaps deeper, or over more of the external surface, lies in another frame."""
_AWAY_MM = 5.0
"""A tooth that lies farther away than this is no neighbour, or lies in another frame."""
ELSEWHERE = "does not lie in the frame of die and design"
REMEDY = "Export it in that frame and measure again."
"""How warnings say so where teeth come from files."""


@dataclass(frozen=True, eq=False)
class _Side:
    """A crown or its design against one tooth."""

    placed: Placed
    meeting: Meeting
    spots: list[Spot]


def measure_contacts_steps(
    crown: FitCrown,
    T_die_crown: FloatArray | None,
    teeth: Sequence[Tooth],
    settings: ContactSettings | None = None,
    *,
    design: FitCrown | None = None,
    directions: Directions | None = None,
) -> Steps[Contacts]:
    """Measure the contacts of a crown with other teeth.

    Parameters
    ----------
    crown : FitCrown
        In its own frame.
    T_die_crown : (4, 4) float or None
        Its pose in the die's frame; as it lies if None.
    teeth : sequence of (str, TriangleMesh, "proximal" or "occlusal")
        Name, mesh and kind of each; in the die's frame, faces turned outward, open or closed.
    settings : ContactSettings, optional
    design : FitCrown, optional
        In the die's frame.
    directions : Directions, optional
        Around the crown, in the die's frame; from its areas if not given.

    Raises
    ------
    MeshError
        A tooth without triangles.
    """
    settings = settings or ContactSettings()
    placed = Placed.of(crown, T_die_crown)
    designed = None if design is None else Placed.of(design, None)
    if directions is None and crown.area_set.insertion is not None:
        directions = directions_of(crown.area_set.moved(placed.T_die_crown))
    least = np.full(len(placed.points), FAR_MM)
    rows: list[ToothContact] = []
    warnings: list[str] = []
    for number, tooth in enumerate(teeth):
        yield Progress(f"Measuring the contact with {tooth[0]}", number / len(teeth))
        index = SurfaceIndex(tooth[1], threads=crown.index.threads)
        here = _against(placed, index, tooth[2], settings)
        there = None if designed is None else _against(designed, index, tooth[2], settings)
        np.minimum(least, here.meeting.gap_mm, out=least)
        pairs = _pairs(here, there, tooth[2], 1e-3 * settings.open_um)
        rows += [_row(tooth, pair, here, there, directions, settings) for pair in pairs]
        warnings += _warnings(tooth[0], here, index, settings)
    return Contacts(
        rows=tuple(rows),
        gap_um=np.where(least < FAR_MM, 1e3 * least, np.nan),
        settings=settings,
        warnings=tuple(warnings),
    )


def _against(
    placed: Placed, tooth: SurfaceIndex, kind: ContactKind, settings: ContactSettings
) -> _Side:
    meeting = meet(placed, tooth, settings.search_mm)
    return _Side(placed, meeting, spots(placed, meeting, kind, 1e-3 * settings.open_um))


def _pairs(
    here: _Side, there: _Side | None, kind: ContactKind, open_mm: float
) -> list[tuple[Spot, Spot]]:
    """Each contact with the designed one at its place, the deepest first.

    Where only one of the two has a contact, the other's nearest place there stands beside it.
    """
    if there is None:
        return [(spot, NO_SPOT) for spot in here.spots]
    reach = _SAME_PLACE_MM[kind]
    left = list(there.spots)
    pairs: list[tuple[Spot, Spot]] = []
    for spot in here.spots:
        twin = min(left, key=lambda other: _apart(spot, other), default=NO_SPOT)
        if _apart(spot, twin) <= reach:
            left = [other for other in left if other is not twin]
        else:
            twin = _beside(there, spot, reach)
        pairs.append((spot, twin))
    lost = [(_beside(here, other, reach), other) for other in left if other.gap_mm < open_mm]
    if lost:  # a nearest place is no row of its own beside a contact that was lost
        pairs = [pair for pair in pairs if pair[0].gap_mm < open_mm]
    return sorted(pairs + lost, key=lambda pair: np.nan_to_num(pair[0].gap_mm, nan=FAR_MM))


def _apart(one: Spot, other: Spot) -> float:
    return float(np.nan_to_num(np.linalg.norm(one.place_mm - other.place_mm), nan=np.inf))


def _beside(side: _Side, spot: Spot, reach_mm: float) -> Spot:
    """What a crown has near the place of the other's contact: no contact, or it were its twin."""
    if not np.isfinite(spot.place_mm).all():
        return NO_SPOT
    gap = side.meeting.smallest(spot.place_mm, reach_mm)
    return Spot(gap, 0.0, side.placed.on_surface(spot.place_mm))


def _row(
    tooth: Tooth,
    pair: tuple[Spot, Spot],
    here: _Side,
    there: _Side | None,
    directions: Directions | None,
    settings: ContactSettings,
) -> ToothContact:
    name, mesh, kind = tooth
    spot, twin = pair
    place = spot.place_mm
    towards = place if np.isfinite(place).all() else mesh.bounds.mean(axis=0)
    side = side_of(towards, here.placed.middle, directions, kind)
    gap, designed_gap = 1e3 * spot.gap_mm, 1e3 * twin.gap_mm
    compared = there is not None
    return ToothContact(
        tooth=name,
        kind=kind,
        side=side,
        gap_um=gap,
        area_mm2=spot.area_mm2,
        place_mm=place,
        strength=strength_of(gap, settings),
        designed_gap_um=designed_gap,
        designed_area_mm2=twin.area_mm2 if compared else np.nan,
        change_um=gap - designed_gap,
        sentence=sentence_of(
            contact_name(side, kind), gap, designed_gap, settings, compared=compared
        ),
    )


def _warnings(name: str, side: _Side, tooth: SurfaceIndex, settings: ContactSettings) -> list[str]:
    """What makes the contacts with a tooth doubtful."""
    crown, meeting = side.placed.crown, side.meeting
    depth = -min((spot.gap_mm for spot in side.spots if np.isfinite(spot.gap_mm)), default=0.0)
    area = overlap_mm2(meeting)
    external = float(crown.evaluation.weights_mm2[side.placed.external].sum())
    if depth > _GROSS_MM or area > _GROSS_SHARE * external:
        return [
            f"{name}: It overlaps the crown {depth:.2f} mm deep, over {area:.1f} mm²: it "
            f"{ELSEWHERE}, or its faces are turned inside out. Its contacts mean nothing. {REMEDY}"
        ]
    if len(meeting.near):
        return []
    away = float(tooth.closest(side.placed.points[side.placed.external]).distance_mm.min())
    if away <= _AWAY_MM:
        return []
    return [
        f"{name}: It lies {away:.1f} mm away from the crown: no neighbour of it, or it "
        f"{ELSEWHERE}. {REMEDY}"
    ]
