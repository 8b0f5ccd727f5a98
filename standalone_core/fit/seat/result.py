"""Where a crown came to rest, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ...arrays import FloatArray
from ..settings import SeatSettings

Stop = Literal["rests", "cannot_go_on"]
"""How seating ended: at rest, or at rest too high above the intended seat."""

Contact = Literal["hard", "patches"]


@dataclass(frozen=True, eq=False)
class ContactSpot:
    """A place that carries some of the load.

    Attributes
    ----------
    place_mm : (3,) float
        In the die's frame.
    crown_place_mm : (3,) float
        The same place in the crown's frame.
    direction : (3,) float
        Unit vector, in the die's frame, in which the die pushes the crown there.
    force : float
        Of the contact, for a load of 1 along the path of insertion.
    share : float
        Of the load that it carries: force times the direction's part along the path of insertion.
        The shares of all spots sum to 1.
    part : str
        Where it lies on the intaglio: "margin", "axial" or "occlusal".
    where : str
        In words, about the path of insertion; empty if no direction is known.
    """

    place_mm: FloatArray
    crown_place_mm: FloatArray
    direction: FloatArray
    force: float
    share: float
    part: str
    where: str = ""


@dataclass(frozen=True)
class Play:
    """How far a seated crown moves in one direction under a small sideways load.

    Attributes
    ----------
    towards : str
        In words, or the angle: mesial, 90°.
    angle_deg : float
        Counter-clockwise about the path of insertion seen from occlusal, from mesial or x.
    across_um : float
        Of the middle of the margin line, across the path of insertion.
    rise_um, drop_um : float
        Largest rise and drop of the margin when the load moves that way instead (rocking).
    """

    towards: str
    angle_deg: float
    across_um: float
    rise_um: float
    drop_um: float


@dataclass(frozen=True, eq=False)
class Relief:
    """What must be taken off inside for a crown to reach its intended seat.

    Attributes
    ----------
    relief_um : (n',) float
        Depth at each of the crown's evaluation points along its normal, µm; 0 where none.
    most_um : float
        The deepest.
    volume_mm3 : float
        Of what comes off.
    area_mm2 : float
        From which more than 1 µm comes off.
    place_mm : (3,) float
        The deepest place, in the crown's frame.
    T_die_crown : (4, 4) float
        The seat after it.
    above_intended_um : float
        How far above the intended seat that is.
    """

    relief_um: FloatArray
    most_um: float
    volume_mm3: float
    area_mm2: float
    place_mm: FloatArray
    T_die_crown: FloatArray
    above_intended_um: float


@dataclass(frozen=True, eq=False)
class Seat:
    """Where a crown rests on its die under an axial load.

    Attributes
    ----------
    T_die_crown : (4, 4) float
        Takes the crown's coordinates to the die's.
    stop : "rests" or "cannot_go_on"
    contact : "hard" or "patches"
        What held the two apart.
    spots : tuple of ContactSpot
        The largest share first.
    above_intended_um : float
        How far the middle of the margin line rests above the intended seat, along the path of
        insertion; NaN if no intended seat is known.
    tilt_deg : float
        Angle between the crown's path of insertion and the die's.
    overlap_um : float
        Deepest overlap at rest, 0 or more, of the surfaces that the triangles stand for: what
        averaging allowed, and with hard contacts edges that cut in by no more than their sag.
    overlap_share : float
        Share of the intaglio's area that overlaps by more than 1 µm.
    play : tuple of Play
        Empty if it was not asked for.
    along_um : float
        How far the crown lifts before nothing holds it sideways any more; NaN if not measured.
    steps : int
    converged : bool
    settings : SeatSettings
    relief : Relief or None
        Where it cannot go on.
    warnings : tuple of str
    """

    T_die_crown: FloatArray
    stop: Stop
    contact: Contact
    spots: tuple[ContactSpot, ...]
    above_intended_um: float
    tilt_deg: float
    overlap_um: float
    overlap_share: float
    play: tuple[Play, ...]
    along_um: float
    steps: int
    converged: bool
    settings: SeatSettings
    relief: Relief | None = None
    warnings: tuple[str, ...] = ()
