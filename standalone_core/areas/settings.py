"""Every threshold that the automatic areas depend on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..allowed import Direction, NotAllowed, Number
from ..errors import SettingError
from ..setting import check_fields, not_above, setting

_SHARE = Number(0, 1)
_LENGTH = Number()


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

    insertion: tuple[float, ...] | None = setting(
        None, Direction(), "Path of insertion, to occlusal."
    )
    mesial_direction: tuple[float, ...] | None = setting(
        None, Direction(), "Towards mesial, in the design's frame; gives the two contact areas."
    )
    buccal_direction: tuple[float, ...] | None = setting(
        None, Direction(), "Towards buccal, in the design's frame; names places around the crown."
    )
    margin_band_mm: float = setting(
        1.0,
        _LENGTH,
        "Width of the margin area on either side of the margin line, mm.",
        plausible=(0.05, 20.0),
    )
    occlusal_slope_deg: float = setting(
        60.0, Number(0, 90), "Largest slope of the occlusal surface, degrees."
    )
    fossa_ball_radius_mm: float = setting(
        1.5,
        _LENGTH,
        "Radius of the ball that does not reach into fossae, mm.",
        plausible=(0.05, 30.0),
    )
    fossa_gap_mm: float = setting(
        0.03, _LENGTH, "Least gap below that ball, mm.", plausible=(0.001, 1.0)
    )
    contact_radius_mm: float = setting(
        1.5,
        _LENGTH,
        "Radius of the contact areas along the surface, mm.",
        plausible=(0.05, 20.0),
    )
    contact_depth_mm: float = setting(
        0.02,
        _LENGTH,
        "Their middle is that of all places at most this far behind the outermost one, mm.",
        plausible=(0.001, 1.0),
    )
    min_cavity_radius_mm: float = setting(
        0.7,
        _LENGTH,
        "Ball that must fit half into a cavity at its mouth, mm.",
        plausible=(0.05, 20.0),
    )
    min_cavity_area_ratio: float = setting(
        1.5, Number(), "Least area of a cavity's surface, as a multiple of its opening's."
    )
    min_opening_share: float = setting(
        0.3, _SHARE, "Share of the silhouette from which a border is an opening, not a hole."
    )
    outward_share: float = setting(
        0.5,
        _SHARE,
        "Part of a normal away from the path of insertion from which a face is surely external.",
    )
    upward_share: float = setting(
        0.3, _SHARE, "Part of a normal along the path of insertion from which a face looks up."
    )
    cover_mm: float = setting(
        1.0,
        _LENGTH,
        "Least height above such a face at which another one covers it, mm.",
        title="Cover Height",
        plausible=(0.05, 20.0),
    )
    rim_outward_share: float = setting(
        0.25,
        _SHARE,
        "Part of a normal away from the path of insertion from which a rim's face is external.",
    )
    wall_share: float = setting(
        0.6,
        _SHARE,
        "Part of a normal along the path of insertion up to which the intaglio is a wall.",
    )
    sharp_edge_deg: float = setting(
        15.0, Number(0, 180), "Turn at which an edge attracts the margin line, degrees."
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self, _RULES)


_RULES = (
    not_above("fossa_gap_mm", "fossa_ball_radius_mm"),
    not_above("contact_depth_mm", "contact_radius_mm"),
    not_above("rim_outward_share", "outward_share"),
)


def checked_direction(name: str, given: Sequence[float]) -> tuple[float, ...]:
    """Return a direction as three numbers.

    Raises
    ------
    SettingError
        Not three finite numbers, or all of them 0.
    """
    try:
        return Direction().checked(given)
    except NotAllowed as problem:
        raise SettingError(problem.reason, subject=name, remedy=problem.remedy) from None
