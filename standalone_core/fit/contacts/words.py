"""Contacts in words."""

from __future__ import annotations

import math

import numpy as np

from ...arrays import FloatArray
from ...deviation.margin_directions import Directions
from ..settings import ContactSettings
from .result import ContactKind, Strength


def strength_of(gap_um: float, settings: ContactSettings) -> Strength:
    """Class a signed distance in µm; NaN is nothing near."""
    if not math.isfinite(gap_um):
        return "none"
    if gap_um >= settings.open_um:
        return "open"
    if gap_um >= 0.0:
        return "light"
    return "tight" if gap_um <= -settings.tight_um else "firm"


def side_of(
    place: FloatArray, middle: FloatArray, directions: Directions | None, kind: ContactKind
) -> str:
    """Name the side of the crown on which a place (3,) lies.

    Empty where no directions are known. A neighbour stands mesially or distally, wherever on that
    side it touches.
    """
    if directions is None or not np.isfinite(place).all():
        return ""
    arm = place - middle
    along, across = float(arm @ directions.zero), float(arm @ directions.quarter)
    if kind == "proximal" and directions.zero_name == "mesial":
        return "mesial" if along >= 0.0 else "distal"
    return directions.words(math.degrees(math.atan2(across, along)) % 360.0)


def contact_name(side: str, kind: ContactKind) -> str:
    """Name a contact at the beginning of a sentence: "Mesial contact", "Occlusal contact, …"."""
    if not side:
        return "Contact" if kind == "proximal" else "Occlusal contact"
    if kind == "occlusal":
        return f"Occlusal contact ({side})"
    return f"Contact {side}" if side.startswith("at ") else f"{side.capitalize()} contact"


def sentence_of(
    name: str, gap_um: float, designed_gap_um: float, settings: ContactSettings, *, compared: bool
) -> str:
    """Say how a contact is; how it differs from the designed one if there is a design."""
    if compared and math.isfinite(gap_um) and math.isfinite(designed_gap_um):
        change = gap_um - designed_gap_um
        if abs(change) <= settings.change_um:
            return f"{name} as designed."
        return (
            f"{name} {abs(change):.0f} µm {'lighter' if change > 0 else 'tighter'} than designed."
        )
    if not math.isfinite(gap_um):
        there = f"{name}: nothing within {settings.search_mm:g} mm"
        return (
            f"{there}, though one was designed." if math.isfinite(designed_gap_um) else f"{there}."
        )
    how = f"gap of {gap_um:.0f} µm" if gap_um >= 0.0 else f"overlap of {-gap_um:.0f} µm"
    more = ", where none was designed" if compared else ""
    return f"{name} {strength_of(gap_um, settings)}: {how}{more}."
