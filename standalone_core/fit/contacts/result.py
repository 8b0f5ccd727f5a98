"""Contacts of a crown with its neighbours and its antagonist."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ...arrays import FloatArray
from ..settings import ContactSettings

ContactKind = Literal["proximal", "occlusal"]

Strength = Literal["none", "open", "light", "firm", "tight"]
"""No surface near; a gap of ``open_um`` or more; from there to touching; overlap; overlap of
``tight_um`` or more."""


@dataclass(frozen=True, eq=False)
class ToothContact:
    """A contact, or the narrowest gap, between a crown and another tooth.

    Attributes
    ----------
    tooth : str
        The file's name.
    kind : "proximal" or "occlusal"
    side : str
        mesial or distal, or other words about the path of insertion.
    gap_um : float
        The smallest signed distance: positive a gap, negative the depth of the overlap.
    area_mm2 : float
        Of the crown's surface inside the other tooth, as seen along its mean normal: the length of
        the sum of its faces' normals times their areas, which depends on the rim alone. A sphere
        of radius R that overlaps a plane by δ has the disc π (2 R δ − δ²). 0 where they do not
        overlap.
    place_mm : (3,) float
        On the crown, in the die's frame; the middle of the overlap, or the nearest place.
    strength : "none", "open", "light", "firm" or "tight"
    designed_gap_um, designed_area_mm2 : float
        The same of the design; NaN without one.
    change_um : float
        ``gap_um`` less the designed one: positive is lighter; NaN without a design.
    sentence : str
        "Mesial contact 35 µm lighter than designed."
    """

    tooth: str
    kind: ContactKind
    side: str
    gap_um: float
    area_mm2: float
    place_mm: FloatArray
    strength: Strength
    designed_gap_um: float
    designed_area_mm2: float
    change_um: float
    sentence: str


@dataclass(frozen=True, eq=False)
class Contacts:
    """All contacts of a crown.

    Attributes
    ----------
    rows : tuple of ToothContact
        Per tooth one or more, the deepest first: those of the crown, and those that only the
        design has, with the crown's nearest place there.
    gap_um : (n',) float
        Signed distance from each of the crown's evaluation points to the nearest of the teeth,
        µm; NaN beyond ``search_mm``, on the intaglio, and beside an open border of the tooth.
    settings : ContactSettings
    warnings : tuple of str
    """

    rows: tuple[ToothContact, ...]
    gap_um: FloatArray
    settings: ContactSettings
    warnings: tuple[str, ...] = ()
