"""What is in fit.json and walls.json."""

from __future__ import annotations

from cuspwise.standalone_core.fit.contacts.result import ToothContact
from cuspwise.standalone_core.fit.gap.result import AreaGap, Harmonic, Sector
from cuspwise.standalone_core.fit.judged import Judged
from cuspwise.standalone_core.fit.result import TripleScan
from cuspwise.standalone_core.fit.seat.result import ContactSpot, Relief, Seat
from cuspwise.standalone_core.fit.settings import (
    ContactSettings,
    FitSettings,
    GapSettings,
    WallSettings,
)
from cuspwise.standalone_core.fit.walls.result import AreaWall, ThinPlace
from schema_of_types import (
    COUNT,
    MATRIX,
    NUMBER,
    NUMBER_OR_NULL,
    PLACE,
    TEXT,
    TEXTS,
    YES_OR_NO,
    Definitions,
    Schema,
    array_of,
    described,
    map_of,
    or_null,
    record,
)

WARNINGS = described(TEXTS, "What a reader of the numbers should know, in sentences.")
YES_NO_OR_NULL: Schema = {"type": ["boolean", "null"]}
WRITTEN = described(TEXT, "When the file was written, UTC; absent in what --json prints.")
CHECKSUM = described(TEXT, "Of its vertices and triangles.")


def fit(types: Definitions) -> Schema:
    """Return the schema of fit.json."""
    return record(
        {
            **_head("cuspwise fit"),
            "versions": described(map_of(TEXT), "Versions of what computed, by name."),
            "crown": described(_crown(), "The crown as it was measured."),
            "die": described(or_null(_die()), "The die; null for walls alone."),
            "verdict": described(TEXT, "within, outside or not_decidable, over all parts."),
            "headline": described(TEXT, "The verdict in words."),
            "judged": described(array_of(types.of(Judged)), "Each value against its limit."),
            "T_die_crown": described(or_null(MATRIX), "Takes crown to die coordinates, mm."),
            "seat": described(or_null(_seat(types)), "Where the crown comes to rest."),
            "triple_scan": described(
                or_null(types.of(TripleScan)), "By a scan of the seated crown."
            ),
            "gap_um": described(or_null(map_of(_gap(types))), "The gap by parts of the intaglio."),
            "margin": described(or_null(_margin(types)), "The gap at the margin."),
            "walls": described(or_null(_walls(types)), "How thick the walls are."),
            "contacts": described(or_null(_contacts(types)), "Contacts with other teeth."),
            "missing": described(map_of(TEXT), "What was not measured, and why."),
            "warnings": WARNINGS,
            "seconds": described(map_of(NUMBER), "Seconds that each stage took, by its name."),
            "settings": described(types.of(FitSettings), "Everything that the fit was told."),
            "written": WRITTEN,
        },
        optional=("written",),
    )


def walls(types: Definitions) -> Schema:
    """Return the schema of walls.json."""
    return record(
        {
            **_head("cuspwise walls"),
            "crown": described(_crown(), "The crown as it was measured."),
            "walls": described(_walls(types), "How thick the walls are."),
            "warnings": WARNINGS,
            "written": WRITTEN,
        },
        optional=("written",),
    )


def _head(schema: str) -> dict[str, Schema]:
    return {
        "schema": described({"const": schema}, "Which document this is."),
        "schema_version": described({"const": 1}, "Raised when a key changes its name or goes."),
    }


def _crown() -> Schema:
    return record(
        {
            "name": described(TEXT, "What it is called."),
            "checksum": CHECKSUM,
            "spacing_mm": described(NUMBER, "Largest distance between measuring points, mm."),
            "points": described(COUNT, "Measuring points."),
            "insertion": described(or_null(PLACE), "Path of insertion, in the crown's frame."),
            "margin_line_mm": described(NUMBER_OR_NULL, "Length of its margin line, mm."),
        }
    )


def _die() -> Schema:
    line = {
        "length_mm": described(NUMBER, "How long it is, mm."),
        "closed": described(YES_OR_NO, "Whether it comes back to its beginning."),
        "origin": described(TEXT, "Where it comes from."),
    }
    return record(
        {
            "name": described(TEXT, "What it is called."),
            "checksum": CHECKSUM,
            "insertion": described(or_null(PLACE), "Path of insertion, in the die's frame."),
            "finish_line": described(or_null(record(line)), "The finish line; null without one."),
        }
    )


def _seat(types: Definitions) -> Schema:
    own = types.properties(Seat)
    both = {
        "towards": described(TEXT, "The direction by its name."),
        "angle_deg": described(NUMBER_OR_NULL, "The direction around the path of insertion."),
    }
    play = {**both, "across": described(NUMBER_OR_NULL, "How far the crown can slide, µm.")}
    rocking = {
        **both,
        "rise": described(NUMBER_OR_NULL, "How far the far side rises, µm."),
        "drop": described(NUMBER_OR_NULL, "How far the near side goes down, µm."),
    }
    names = {
        "contact_spots": described(array_of(types.of(ContactSpot)), "What the crown rests on."),
        "play_um": described(array_of(record(play)), "How far it slides, by direction."),
        "rocking_um": described(array_of(record(rocking)), "How far it rocks, by direction."),
        "relief": described(or_null(_relief(types)), "What must come off for it to go on."),
    }
    kept = (
        *("T_die_crown", "stop", "contact", "above_intended_um", "tilt_deg", "overlap_um"),
        *("overlap_share", "contact_spots", "play_um", "rocking_um", "along_um", "relief"),
        *("steps", "converged", "settings", "warnings"),
    )
    return record({name: names.get(name) or own[name] for name in kept})


def _relief(types: Definitions) -> Schema:
    own = types.properties(Relief)
    names = ("most_um", "volume_mm3", "area_mm2", "place_mm", "T_die_crown", "above_intended_um")
    return record({name: own[name] for name in names})


def _gap(types: Definitions) -> Schema:
    own = types.properties(AreaGap)
    lengths = ("mean", "sd", "p5", "p50", "p95", "least", "most", "against_space")
    found = {name: own[f"{name}_um"] for name in lengths}
    return record(found | {name: own[name] for name in ("area_mm2", "coverage", "volume_mm3")})


def _margin(types: Definitions) -> Schema:
    gap = {
        "mean": described(NUMBER_OR_NULL, "Mean marginal gap, µm."),
        "sd": described(NUMBER_OR_NULL, "Its standard deviation around the margin, µm."),
        "most": described(NUMBER_OR_NULL, "The largest marginal gap, µm."),
        "most_deg": described(NUMBER_OR_NULL, "Where that is, degrees."),
        "most_where": described(TEXT, "Where that is, in words."),
        "limit": described(NUMBER, "Largest acceptable marginal gap, µm."),
    }
    absolute = {
        "mean": described(NUMBER_OR_NULL, "Mean absolute marginal discrepancy, µm."),
        "most": described(NUMBER_OR_NULL, "The largest one, µm."),
    }
    extension = {
        "over_share": described(NUMBER_OR_NULL, "Share of the margin that is over-extended."),
        "under_share": described(NUMBER_OR_NULL, "Share of the margin that is under-extended."),
    }
    return record(
        {
            "gap_um": described(record(gap), "Marginal gap, square to the prepared surface."),
            "absolute_um": described(record(absolute), "Edge to edge."),
            "extension_um": described(record(extension), "Along the prepared surface."),
            "beyond_limit": described(NUMBER_OR_NULL, "Share of places beyond the limit."),
            "within": described(YES_NO_OR_NULL, "Whether the gap is within its limit."),
            "coverage": described(NUMBER_OR_NULL, "Share of places that were measured."),
            "places": described(COUNT, "Places around the margin; marginal_gap.csv holds them."),
            "angle_from": described(TEXT, "Where angles begin: mesial, x or y."),
            "zero_direction": described(PLACE, "That direction, in the die's frame."),
            "buccal_deg": described(NUMBER_OR_NULL, "Where buccal is, degrees; null if unknown."),
            "sectors": described(array_of(types.of(Sector)), "Means of eight sectors."),
            "harmonics": described(array_of(types.of(Harmonic)), "Tilt, shift and oval."),
            "settings": described(types.of(GapSettings), "How the gap was measured."),
            "warnings": WARNINGS,
        }
    )


def _walls(types: Definitions) -> Schema:
    return record(
        {
            "within": described(YES_NO_OR_NULL, "Whether all parts keep their minimum."),
            "areas": described(array_of(types.of(AreaWall)), "One row per part."),
            "thinnest": described(array_of(types.of(ThinPlace)), "The thinnest places."),
            "settings": described(types.of(WallSettings), "How walls were measured."),
        }
    )


def _contacts(types: Definitions) -> Schema:
    return record(
        {
            "rows": described(array_of(types.of(ToothContact)), "Contacts with other teeth."),
            "settings": described(types.of(ContactSettings), "How contacts were measured."),
            "warnings": WARNINGS,
        }
    )
