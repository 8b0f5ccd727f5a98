"""Every threshold that the automatic areas depend on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

from ..errors import SettingError


@dataclass(frozen=True)
class AreaSettings:
    """Thresholds of the automatic areas.

    None of the default values is taken from a source: ``margin_band_mm`` and
    ``contact_radius_mm`` are common practice, no source; the others are our own.

    Attributes
    ----------
    insertion : (3,) tuple of float or None
        Path of insertion, pointing to occlusal, in the design's frame; found if None.
    mesial_direction : (3,) tuple of float or None
        Towards mesial in the design's frame; without it there are no contact areas.
    buccal_direction : (3,) tuple of float or None
        Towards buccal (or labial) in the design's frame; names places around the crown.
    margin_band_mm : float
        Width of the margin area along the surface, on each side of the margin line.
    occlusal_slope_deg : float
        Occlusal is the external surface whose normal lies within this angle of the path of
        insertion; axial is the rest of it.
    fossa_ball_radius_mm, fossa_gap_mm : float
        Fossae are the places of the occlusal surface from which a ball of this radius, let
        down from occlusal, stays at least this far away.
    contact_radius_mm : float
        Radius, along the surface, of the contact zones about the outermost mesial and distal
        places.
    contact_depth_mm : float
        The outermost place is the middle of all that stand at most this far behind it.
    min_cavity_radius_mm : float
        A ball of this radius must fit half into a crown's cavity at its mouth; what is
        narrower is not taken for a cavity. What is taken for one must also be such as crowns
        have, see :mod:`.plausible`.
    min_cavity_area_ratio : float
        Least intaglio area by its projection along the path of insertion. A hollow as flat as
        an occlusal surface (about 1.2) is not a cavity; crowns are at about 2 to 4.
    min_opening_share : float
        A border loop that encloses at least this share of the design's silhouette makes it an
        open shell; smaller ones are holes.
    outward_share : float
        Faces whose normal has at least this component away from the path of insertion are
        external (or, towards it, intaglio) beforehand; the margin line is sought between.
    upward_share : float
        Faces whose normal has at least this component along the path of insertion look up.
        They are external beforehand if nothing is above them, and undercuts of the intaglio
        if something is.
    cover_mm : float
        How far above such a face another one must be to count.
    rim_outward_share : float
        Faces between the two lean to the external side if their normal has at least this
        component away from the path of insertion, and to the intaglio if not; a flat rim
        belongs to the intaglio.
    wall_share : float
        Faces of the intaglio whose normal has at most this component along the path of
        insertion are its axial walls, which show the path.
    sharp_edge_deg : float
        Turn at which an edge has become e times cheaper for the margin line to follow.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.AreaSettings(mesial_direction=(1, 0, 0)).mesial_direction
    (1.0, 0.0, 0.0)
    """

    insertion: tuple[float, ...] | None = None
    mesial_direction: tuple[float, ...] | None = None
    buccal_direction: tuple[float, ...] | None = None
    margin_band_mm: float = 1.0
    occlusal_slope_deg: float = 60.0
    fossa_ball_radius_mm: float = 1.5
    fossa_gap_mm: float = 0.03
    contact_radius_mm: float = 1.5
    contact_depth_mm: float = 0.02
    min_cavity_radius_mm: float = 0.7
    min_cavity_area_ratio: float = 1.5
    min_opening_share: float = 0.3
    outward_share: float = 0.5
    upward_share: float = 0.3
    cover_mm: float = 1.0
    rim_outward_share: float = 0.25
    wall_share: float = 0.6
    sharp_edge_deg: float = 15.0

    def __post_init__(self) -> None:
        for name in ("insertion", "mesial_direction", "buccal_direction"):
            direction = getattr(self, name)
            if direction is not None:
                object.__setattr__(self, name, checked_direction(name, direction))
        for field in fields(self):
            value = getattr(self, field.name)
            if field.default is None:
                continue
            if not isinstance(value, (int, float)) or not 0 < value < math.inf:
                raise SettingError(
                    f"{value} is not allowed.",
                    subject=field.name,
                    remedy="Give a finite number above 0.",
                )


def checked_direction(name: str, given: Sequence[float]) -> tuple[float, ...]:
    """Return a direction as three numbers.

    Raises
    ------
    SettingError
        Not three finite numbers, or all of them 0.
    """
    try:
        direction = tuple(float(part) for part in given)
    except (TypeError, ValueError):
        direction = ()
    if len(direction) != 3 or not 0 < math.hypot(*direction) < math.inf:
        raise SettingError(
            f"{given!r} is not a direction.",
            subject=name,
            remedy="Give three finite numbers that are not all 0.",
        )
    return direction
