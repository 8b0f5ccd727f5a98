"""The map of a crown's contacts: colours, legend, rings where it touches."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import bpy

from ...standalone_core.report.drawing.deviation_colours import deviation_colours
from ..drawing.painting import paint
from . import contacts
from .contact_lines import gap_words
from .map_legends import contacts_legend
from .marked_place import MarkedPlace

if TYPE_CHECKING:
    from ...standalone_core.report.drawing.legend import Legend

TITLE = "Overlap with other teeth, µm"
AGAIN = "Out of date: check contacts again"
SWATCHES = ()


def kept_of(crown: bpy.types.Object | None) -> Mapping[str, Any] | None:
    """Return what is kept of a crown's contacts; None without."""
    return contacts.CONTACTS.of(crown)


def colour(crown: bpy.types.Object, palette: str) -> float | None:
    """Colour a crown by gap and overlap; return their limit, µm, if it can.

    An overlap is material beyond the other tooth's surface: it has the colours of excess.
    """
    gap_mm, kept = contacts.CONTACTS.values(crown), contacts.CONTACTS.of(crown)
    if kept is None or gap_mm is None:
        return None
    paint(crown, deviation_colours(-gap_mm, kept["limit_um"] / 1e3, palette))
    return float(kept["limit_um"])


def legend_of(crown: bpy.types.Object, palette: str) -> Legend:
    """Return the legend of a crown's map."""
    kept = contacts.CONTACTS.of(crown)
    assert kept is not None  # it is shown
    return contacts_legend(kept["limit_um"], palette)


def why_out_of_date(crown: bpy.types.Object, scene: bpy.types.Scene) -> str:
    """Say why the map no longer belongs to what is shown; empty if it does."""
    return contacts.why_out_of_date(crown, scene)


def places(crown: bpy.types.Object) -> list[MarkedPlace]:
    """Return where the crown touches, or comes nearest; contacts that are tight stand out."""
    kept = contacts.CONTACTS.of(crown) or {"rows": ()}
    return [
        MarkedPlace(tuple(row["local"]), gap_words(row["gap_um"]), row["strength"] == "tight")
        for row in kept["rows"]
        if row["local"] is not None
    ]
