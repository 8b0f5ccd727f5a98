"""What is in every JSON document: the keys that no result object has, and where the others are."""

from __future__ import annotations

from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.causes.document import CAUSE_COLUMNS
from cuspwise.standalone_core.causes.filled_places import FilledPlace
from cuspwise.standalone_core.causes.found_marks import FoundMark
from cuspwise.standalone_core.causes.layers import LayerSteps
from cuspwise.standalone_core.causes.result import Cause, Correction, PredictedArea, Remaining
from cuspwise.standalone_core.causes.settings import CausesSettings, ProductionFacts
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.deviation.facet_sag import AreaSag
from cuspwise.standalone_core.deviation.layers_beside import LayerBeside
from cuspwise.standalone_core.deviation.margin_summary import MarginSummary
from cuspwise.standalone_core.deviation.measures import AreaMeasures
from cuspwise.standalone_core.deviation.patches import Patch
from cuspwise.standalone_core.deviation.settings import MarginProfileSettings
from cuspwise.standalone_core.deviation.support_marks import MarkResult
from cuspwise.standalone_core.deviation.unmatched import UnmatchedPiece
from cuspwise.standalone_core.deviation.verdict import Verdict
from cuspwise.standalone_core.mesh.files import MeshFile
from cuspwise.standalone_core.mesh.health import HealthReport
from cuspwise.standalone_core.mesh.intersections import SelfIntersections
from cuspwise.standalone_core.superimpose.result import Superimposition
from schema_fit import WARNINGS, WRITTEN, fit, walls
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

__all__ = ["areas", "areas_summary", "causes", "check", "fit", "health", "tray", "walls"]

DIRECTION = {"enum": ["design_to_scan", "scan_to_design"]}
VERSIONS = described(map_of(TEXT), "Versions of Cuspwise, Python and what computes, by name.")
SECONDS = described(map_of(NUMBER), "Seconds that each stage took, by its name.")


def head(schema: str, version: int) -> dict[str, Schema]:
    """Return the keys that say which document it is."""
    return {
        "schema": described({"const": schema}, "Which document this is."),
        "schema_version": described(
            {"const": version}, "Raised when a key changes its name or goes."
        ),
    }


def check(types: Definitions) -> Schema:
    """Return the schema of check.json."""
    rows = {
        "measures": ("One row per area and direction.", AreaMeasures),
        "verdicts": ("One row per area with a tolerance.", Verdict),
        "patches": ("Connected places beyond the limit of patches, worst first.", Patch),
        "layers": ("Where two layers of scan surface lie over one another.", LayerBeside),
        "unmatched": ("Scan surface without a counterpart on the design.", UnmatchedPiece),
        "facet_sag": ("What the scan's flat triangles alone read as, by area.", AreaSag),
        "marks": ("Support marks.", MarkResult),
    }
    found = {
        **head("cuspwise check", 2),
        "versions": VERSIONS,
        "sign": described(TEXT, "What the sign of a deviation means, in words."),
        "design": described(_surface(types), "The design as it was read and repaired."),
        "scan": described(_surface(types), "The scan as it was read and repaired."),
        "settings": described(types.of(CheckSettings), "Everything that the check was told."),
        "direction": described(DIRECTION, "The direction that was judged first."),
        "T_design_scan": described(MATRIX, "Takes scan coordinates to design coordinates, mm."),
        "superimposition": _superimposition(types),
        "areas": described(array_of(_area()), "The areas of the design, and how large they are."),
        **_frame_of_areas(),
        "status_shares": described(
            record({name: _shares(name) for name in DIRECTION["enum"]}),
            "Of each direction, which share of the points counted, or why not.",
        ),
        **{name: described(array_of(types.of(kind)), text) for name, (text, kind) in rows.items()},
        "is_design": described(YES_OR_NO, "Whether the scan is the design itself or a copy of it."),
        "doubt": described(TEXT, "Why nothing is decidable, in words; empty if nothing is so."),
        "margin_profile": _margin_profile(types),
        "causes": described(or_null(array_of(_cause(types))), "Why it deviates, one row a cause."),
        "correction": _correction(types),
        "why": described(or_null(record(_why(types))), "What goes with the causes."),
        "warnings": WARNINGS,
        "seconds": SECONDS,
        "written": WRITTEN,
    }
    return record(found, optional=("written",))


def causes(types: Definitions) -> Schema:
    """Return the schema of what ``cuspwise causes --json`` prints."""
    return record(
        {
            "causes": described(array_of(_cause(types)), "One row a cause, stated ones first."),
            "correction": _correction(types),
            **_why(types),
            "production": described(types.of(ProductionFacts), "What was told of the production."),
            "settings": described(types.of(CausesSettings), "How causes were looked for."),
        }
    )


def tray(types: Definitions) -> Schema:
    """Return the schema of tray.json."""
    error = record(
        {
            "subject": described(TEXT, "The file or setting that it is about."),
            "reason": described(TEXT, "Why the crown could not be checked."),
            "remedy": described(TEXT, "What to do."),
        }
    )
    crown = {
        "name": described(TEXT, "What the crown is called; its folder bears the name."),
        "design": described(TEXT, "File of its design."),
        "scan": described(TEXT, "File of its scan."),
        "verdict": described(
            TEXT, "within, outside, not_decidable, or not_checked; empty without tolerances."
        ),
        "passed": described(YES_OR_NO, "Whether it is within all its tolerances."),
        "verdicts": described(array_of(types.of(Verdict)), "One row per area with a tolerance."),
        "marks": described(array_of(types.of(MarkResult)), "Support marks."),
        "causes": described(
            or_null(array_of(_cause(types))), "Why it deviates; null if not looked for."
        ),
        "superimposition": described(TEXT, "How well its pose is determined, in one word."),
        "warnings": WARNINGS,
        "seconds": described(NUMBER_OR_NULL, "How long its check took."),
        "error": described(or_null(error), "Why it could not be checked; null if it was."),
    }
    found = {
        **head("cuspwise tray", 1),
        "versions": VERSIONS,
        "passed": described(YES_OR_NO, "Whether every crown is within its tolerances."),
        "areas": described(TEXTS, "Areas with a tolerance, in the order of the table."),
        "crowns": described(array_of(record(crown)), "The crowns, in the order given."),
        "checks": described(
            map_of({"$ref": "check.schema.json"}),
            "Printed by --json alone: each crown's whole check, by its name.",
        ),
        "written": WRITTEN,
    }
    return record(found, optional=("checks", "written"))


def areas(types: Definitions) -> Schema:
    """Return the schema of an areas file as Cuspwise writes it."""
    digest = described(TEXT, "Tells whether somebody changed the numbers since.")
    area = {
        "origin": described(TEXT, "automatic, file or user."),
        "digest": digest,
        "note": described(TEXT, "Where the area comes from, in words."),
        "area_mm2": described(NUMBER, "How large it is, mm²."),
        "runs": described(
            array_of(COUNT), "Stretches of points_mm in pairs: the first point's number, how many."
        ),
    }
    line = {
        "origin": described(TEXT, "automatic, file or user."),
        "digest": digest,
        "closed": described(YES_OR_NO, "Whether the line comes back to its beginning."),
        "length_mm": described(NUMBER, "How long it is, mm."),
        "points_mm": described(array_of(PLACE), "Its points in their order, mm."),
    }
    found = {
        "format": described({"const": "cuspwise areas"}, "Which document this is."),
        "version": described({"const": 2}, "Raised when a key changes its name or goes."),
        "design_checksum": described(TEXT, "Of the design's vertices and triangles."),
        "design_vertex_count": described(COUNT, "Vertices of the design."),
        "design_area_mm2": described(NUMBER, "Surface of the design, mm²."),
        "spacing_mm": described(NUMBER, "Largest distance between the points, mm."),
        "point_count": described(COUNT, "How many points there are."),
        "settings": described(types.of(AreaSettings), "How the areas were found."),
        "insertion": described(or_null(PLACE), "Path of insertion, to occlusal; null if unknown."),
        "margin_line": described(or_null(record(line)), "The margin line; null if there is none."),
        "areas": described(map_of(record(area)), "The areas by their names."),
        "missing": described(map_of(TEXT), "Areas that could not be found, and why."),
        "warnings": WARNINGS,
        "points_mm": described(array_of(PLACE), "All measuring points, the design's own first."),
    }
    return record(found)


def areas_summary(types: Definitions) -> Schema:
    """Return the schema of what ``cuspwise areas --json`` prints."""
    return record(
        {
            **head("cuspwise areas summary", 1),
            "design": described(TEXT, "What the design is called."),
            "checksum": described(TEXT, "Of the design's vertices and triangles."),
            "spacing_mm": described(NUMBER, "Largest distance between measuring points, mm."),
            "areas": described(array_of(_area()), "The areas, and how large they are."),
            **_frame_of_areas(),
            "warnings": WARNINGS,
            "settings": described(types.of(AreaSettings), "How the areas were found."),
        }
    )


def health(types: Definitions) -> Schema:
    """Return the schema of what ``cuspwise inspect --json`` prints."""
    crossing = types.of(SelfIntersections)
    return record(
        {
            **head("cuspwise health", 1),
            "file": described(record(types.properties(MeshFile, "mesh")), "The file as read."),
            "health": described(types.of(HealthReport), "What is wrong with the surface."),
            "self_intersections": described(crossing, "Triangles that pass through others."),
            "repairs": described(TEXTS, "What a check would repair on its copy."),
            "warnings": WARNINGS,
        }
    )


def _surface(types: Definitions) -> Schema:
    in_file = types.properties(MeshFile, "mesh")
    in_blender = {
        "object": described(TEXT, "Name of Blender's object."),
        "path": described(or_null(TEXT), "The file that it came from, if any."),
    }
    rest = {name: schema for name, schema in in_file.items() if name not in in_blender}
    return record(
        {
            "name": described(TEXT, "What it is called."),
            "checksum": described(TEXT, "Of its vertices and triangles."),
            "file": described(
                {
                    "anyOf": [
                        record(in_file),
                        record({**in_blender, **rest}, optional=tuple(rest)),
                        {"type": "null"},
                    ]
                },
                "What was found in the file; from Blender with the object's name.",
            ),
            "health": described(types.of(HealthReport), "What is wrong with the surface."),
            "repairs": described(TEXTS, "What was repaired on the copy."),
            "warnings": WARNINGS,
        }
    )


def _shares(direction: str) -> Schema:
    words = direction.replace("_", " ")
    return described(map_of(NUMBER_OR_NULL), f"Shares of points by what became of them, {words}.")


def _superimposition(types: Definitions) -> Schema:
    own = types.properties(Superimposition, "settings", "T_design_scan")
    return described(record(own), "How the scan was laid on the design, and how sure that is.")


def _area() -> Schema:
    return record(
        {
            "name": described(TEXT, "What it is called."),
            "area_mm2": described(NUMBER, "How large it is, mm²."),
            "points": described(COUNT, "Measuring points in it."),
            "origin": described(TEXT, "automatic, file or user."),
            "note": described(TEXT, "Where it comes from, in words."),
        }
    )


def _frame_of_areas() -> dict[str, Schema]:
    line = {
        "length_mm": described(NUMBER, "How long it is, mm."),
        "closed": described(YES_OR_NO, "Whether it comes back to its beginning."),
        "origin": described(TEXT, "automatic, file or user."),
        "points": described(COUNT, "How many points it has."),
    }
    return {
        "missing_areas": described(map_of(TEXT), "Areas that could not be found, and why."),
        "insertion": described(or_null(PLACE), "Path of insertion, to occlusal; null if unknown."),
        "margin_line": described(or_null(record(line)), "The margin line; null if there is none."),
    }


def _margin_profile(types: Definitions) -> Schema:
    reason = {"reason": described(TEXT, "Why there is no profile; empty if there is one.")}
    profile = {
        **reason,
        "places": described(COUNT, "How many places it has; margin_profile.csv holds them."),
        "step_mm": described(NUMBER, "Distance between places, mm."),
        "closed": described(YES_OR_NO, "Whether the line comes back to its beginning."),
        "angle_from": described(TEXT, "Where angles begin: mesial, x or y."),
        "zero_direction": described(PLACE, "That direction, in the design's frame."),
        "buccal_deg": described(NUMBER_OR_NULL, "Where buccal is, degrees; null if unknown."),
        "settings": described(types.of(MarginProfileSettings), "How the profile was measured."),
        **types.properties(MarginSummary),
    }
    both = {"anyOf": [record(profile), record(reason)]}
    return described(both, "The deviation along the margin line, summed up.")


def _cause(types: Definitions) -> Schema:
    known = types.properties(Cause)
    return record({name: known[name] for name in CAUSE_COLUMNS})


def _correction(types: Definitions) -> Schema:
    factors = map_of(record(types.properties(Correction, "axis")))
    return described(or_null(factors), "The next enlargement factors by axis; null if none.")


def _why(types: Definitions) -> dict[str, Schema]:
    meets = described(YES_OR_NO, "Whether the area would then meet its tolerance.")
    predicted = record({**types.properties(PredictedArea), "would_meet": meets})
    places = types.properties(FilledPlace)
    named = ("deepest_um", "place_mm", "area_mm2", "volume_mm3")
    place = record({name: places[name] for name in named})
    return {
        "sentences": described(TEXTS, "What a reader should know, the most important first."),
        "notes": described(TEXTS, "What could not be looked for, and why."),
        "share_together": described(
            NUMBER_OR_NULL, "Share of the variance that all stated causes explain together."
        ),
        "remaining": described(types.of(Remaining), "What no stated cause explains."),
        "predicted": described(array_of(predicted), "What areas would measure without a cause."),
        "places": described(array_of(place), "Where fossae are filled or the tool did not reach."),
        "marks": described(array_of(types.of(FoundMark)), "Support marks that nobody marked."),
        "layers": described(or_null(types.of(LayerSteps)), "Layer steps; null if none are seen."),
        "build_direction": described(or_null(PLACE), "Build direction, given or found."),
    }
