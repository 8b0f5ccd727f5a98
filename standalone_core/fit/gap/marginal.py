"""Marginal gap, extension and absolute discrepancy of a seated crown, place by place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...areas.area_set import MarginLine
from ...arrays import FloatArray
from ...deviation.margin_directions import Directions
from ...errors import AreaError
from ...shares import share_words
from ...superimpose.rigid import apply
from ...words.text import count_words
from ..crown import FitCrown
from ..die import FitDie
from ..settings import GapSettings
from .across_margin import INSIDE_MM, SEARCH_MM, edge_places, prepared_normals
from .finish_places import FinishPlaces, finish_places
from .margin_numbers import harmonics_of, numbers_of, sectors_of
from .result import MarginalGap

NO_FINISH_LINE = "The die has no finish line that the crown's edge should meet."
FINISH_LINE_REMEDY = "Give the die's finish line."

_TURNS_BACK = (
    "Seen along the path of insertion the finish line turns back, so that its places lie evenly "
    "along it and not at even angles."
)


@dataclass(frozen=True, eq=False)
class _Places:
    """What was found at each place, mm; NaN where either line or the surface is missing."""

    at: FinishPlaces
    normal: FloatArray
    edge_mm: FloatArray


def marginal_gap(
    crown: FitCrown,
    die: FitDie,
    T_die_crown: FloatArray,
    settings: GapSettings,
    directions: Directions,
) -> MarginalGap:
    """Measure how a seated crown's edge meets the finish line of its die.

    In the plane across the finish line at a place l, the crown's edge is at m. With n the mean
    normal of the prepared surface from 0.1 to 0.3 mm inside the line and τ the way outward along
    that surface, both in the plane:

    - marginal gap (m − l)·n, negative where the edge lies below the prepared surface;
    - extension (m − l)·τ: over-extended where positive, under-extended where negative;
    - absolute marginal discrepancy √(gap² + extension²) = |m − l|;
    - vertical (m − l)·a along the path of insertion a, horizontal outward across it.

    The words are those of Holmes, Bayne, Holland & Sulik, J Prosthet Dent 1989; 62: 405–408
    (definitions from memory).

    Parameters
    ----------
    crown : FitCrown
        Its own margin line is the edge.
    die : FitDie
        With a finish line on its surface.
    T_die_crown : (4, 4) float
        Where the crown lies in the die's frame.
    settings : GapSettings
    directions : Directions
        About the die's path of insertion, in the die's frame; see
        :func:`.margin_directions.directions_about`.

    Raises
    ------
    AreaError
        The die has no finish line.

    Notes
    -----
    The planes lie across the line and not through the path of insertion: beside an oval of 5 by
    4 mm an edge that is 120 µm out everywhere reads 120 µm, and along the radius up to 122.9.

    Where the crown's edge is rounded, m is its crest, from which the gap is wider than that of
    the intaglio beside it, by up to the radius.
    """
    if die.finish_line is None:
        raise AreaError(
            NO_FINISH_LINE,
            subject=die.mesh.name,
            remedy=FINISH_LINE_REMEDY,
            arguments=("finish_line",),
        )
    line = crown.margin_line
    moved = replace(line, points_mm=apply(T_die_crown, line.points_mm))
    found = _places(moved, die, die.finish_line, settings, directions)
    return _summed_up(found, die.axis, settings, directions)


def _places(
    edge: MarginLine, die: FitDie, finish: MarginLine, settings: GapSettings, directions: Directions
) -> _Places:
    at = finish_places(finish, die.axis, directions, settings.places)
    return _Places(at, prepared_normals(die.mesh, at), edge_places(edge, at))


def _summed_up(
    found: _Places, axis: FloatArray, settings: GapSettings, directions: Directions
) -> MarginalGap:
    """Take the way from line to edge apart at each place, and sum up."""
    at = found.at
    out_along = np.cross(at.along, found.normal)
    way_um = 1e3 * (found.edge_mm - at.points_mm)
    parts = (found.normal, out_along, np.broadcast_to(axis, at.out.shape), at.out)
    parts_um = np.stack([np.einsum("ij,ij->i", way_um, part) for part in parts])
    measured = np.isfinite(parts_um[0])
    parts_um[:, ~measured] = np.nan
    gap, extension, vertical, horizontal = parts_um
    absolute = np.hypot(gap, extension)
    limit = settings.marginal_limit_um
    return MarginalGap(
        angle_deg=at.angle_deg,
        measured=measured,
        gap_um=gap,
        extension_um=extension,
        absolute_um=absolute,
        vertical_um=vertical,
        horizontal_um=horizontal,
        finish_mm=at.points_mm,
        edge_mm=found.edge_mm,
        directions=directions,
        sectors=sectors_of(at.angle_deg, gap, absolute, extension, limit, directions),
        harmonics=harmonics_of(at.angle_deg, gap, "gap", directions)
        + harmonics_of(at.angle_deg, extension, "extension", directions),
        settings=settings,
        warnings=_warnings(found),
        **numbers_of(at.angle_deg, gap, absolute, extension, limit, directions),
    )


def _warnings(found: _Places) -> tuple[str, ...]:
    """What the reader must know about the places."""
    turns = () if found.at.at_even_angles else (_TURNS_BACK,)
    no_line = ~found.at.there
    no_surface = ~no_line & ~np.isfinite(found.normal[:, 0])
    no_edge = ~no_line & ~no_surface & ~np.isfinite(found.edge_mm[:, 0])
    inside = f"within {INSIDE_MM[-1]:g} mm inside its finish line"
    reasons = (
        (no_line, "the die has no finish line"),
        (no_surface, f"the die ends or has a hole {inside}"),
        (no_edge, f"the crown has no edge within {SEARCH_MM:g} mm of the finish line"),
    )
    missing = [f"{why} at {count_words(int(at.sum()), 'place')}" for at, why in reasons if at.any()]
    if not missing:
        return turns
    lost = no_line | no_surface | no_edge
    share = share_words(1.0 - float(lost.mean()), 1.0)
    return (*turns, f"The margin was measured at {share} of its places only: {'; '.join(missing)}.")
