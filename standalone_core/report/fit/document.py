"""A fit as plain data for JSON: strict, without NaN, with a schema version."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ...fit.sentences import all_warnings
from ...records import plain

if TYPE_CHECKING:
    from ...fit.contacts.result import Contacts
    from ...fit.crown import FitCrown
    from ...fit.die import FitDie
    from ...fit.gap.result import AreaGap, MarginalGap
    from ...fit.result import FitResult
    from ...fit.seat.result import Relief, Seat
    from ...fit.walls.result import Walls

FIT_SCHEMA_VERSION = 1
WALLS_SCHEMA_VERSION = 1
"""Raised when a name changes or goes."""

_GAP_NAMES = ("mean", "sd", "p5", "p50", "p95", "least", "most", "against_space")


def fit_document(result: FitResult) -> dict[str, Any]:
    """Return a fit as plain data, ready for ``json.dumps(…, allow_nan=False)``.

    Numbers that do not exist are None. Files are named without their folders. What has a value
    for every place is in the tables and coloured surfaces.
    """
    from ...fit.judged import fit_headline, judged

    headline = fit_headline(result)
    return {
        "schema": "cuspwise fit",
        "schema_version": FIT_SCHEMA_VERSION,
        "versions": dict(result.versions),
        "crown": _surface(result.crown),
        "die": None if result.die is None else _die(result.die),
        "verdict": headline.verdict,
        "headline": headline.title,
        "judged": plain(judged(result)),
        "T_die_crown": plain(result.T_die_crown),
        "seat": None if result.seat is None else _seat(result.seat),
        "triple_scan": plain(result.triple_scan),
        "gap_um": None if result.gap is None else {row.area: _gap(row) for row in result.gap.areas},
        "margin": None if result.margin is None else _margin(result.margin),
        "walls": None if result.walls is None else walls_part(result.walls),
        "contacts": None if result.contacts is None else _contacts(result.contacts),
        "missing": dict(result.missing),
        "warnings": list(all_warnings(result)),
        "seconds": {stage: round(spent, 4) for stage, spent in result.seconds.items()},
        "settings": plain(result.settings),
    }


def walls_document(crown: FitCrown, walls: Walls) -> dict[str, Any]:
    """Return the walls of a crown by themselves as plain data; see :func:`fit_document`."""
    return {
        "schema": "cuspwise walls",
        "schema_version": WALLS_SCHEMA_VERSION,
        "crown": _surface(crown),
        "walls": walls_part(walls),
        "warnings": list(walls.warnings),
    }


def walls_part(walls: Walls) -> dict[str, Any]:
    """Return areas and thinnest places of walls as plain data."""
    return {
        "within": walls.within,
        "areas": plain(walls.areas),
        "thinnest": plain(walls.thinnest),
        "settings": plain(walls.settings),
    }


def _surface(crown: FitCrown) -> dict[str, Any]:
    design = crown.evaluation.design
    line = crown.area_set.margin_line
    return {
        "name": design.name,
        "checksum": design.checksum,
        "spacing_mm": crown.evaluation.spacing_mm,
        "points": len(crown.evaluation.points),
        "insertion": plain(crown.area_set.insertion),
        "margin_line_mm": None if line is None else line.length_mm,
    }


def _die(die: FitDie) -> dict[str, Any]:
    line = die.finish_line
    about = None
    if line is not None:
        about = {"length_mm": line.length_mm, "closed": line.closed, "origin": line.origin}
    return {
        "name": die.mesh.name,
        "checksum": die.mesh.checksum,
        "insertion": plain(die.axis),
        "finish_line": about,
    }


def _seat(seat: Seat) -> dict[str, Any]:
    return {
        "T_die_crown": plain(seat.T_die_crown),
        "stop": seat.stop,
        "contact": seat.contact,
        "above_intended_um": plain(seat.above_intended_um),
        "tilt_deg": plain(seat.tilt_deg),
        "overlap_um": plain(seat.overlap_um),
        "overlap_share": plain(seat.overlap_share),
        "contact_spots": plain(seat.spots),
        "play_um": [
            {
                "towards": one.towards,
                "angle_deg": plain(one.angle_deg),
                "across": plain(one.across_um),
            }
            for one in seat.play
        ],
        "rocking_um": [
            {
                "towards": one.towards,
                "angle_deg": plain(one.angle_deg),
                "rise": plain(one.rise_um),
                "drop": plain(one.drop_um),
            }
            for one in seat.play
        ],
        "along_um": plain(seat.along_um),
        "relief": None if seat.relief is None else _relief(seat.relief),
        "steps": seat.steps,
        "converged": seat.converged,
        "settings": plain(seat.settings),
        "warnings": list(seat.warnings),
    }


def _relief(relief: Relief) -> dict[str, Any]:
    names = ("most_um", "volume_mm3", "area_mm2", "place_mm", "T_die_crown", "above_intended_um")
    return {name: plain(getattr(relief, name)) for name in names}


def _gap(row: AreaGap) -> dict[str, Any]:
    """The gap of one part; µm but for what carries another unit in its name."""
    lengths = {name: plain(getattr(row, f"{name}_um")) for name in _GAP_NAMES}
    others = ("area_mm2", "coverage", "volume_mm3")
    return lengths | {name: plain(getattr(row, name)) for name in others}


def _margin(margin: MarginalGap) -> dict[str, Any]:
    directions = margin.directions
    return {
        "gap_um": {
            "mean": plain(margin.mean_um),
            "sd": plain(margin.sd_um),
            "most": plain(margin.most_um),
            "most_deg": plain(margin.most_deg),
            "most_where": margin.most_where,
            "limit": margin.settings.marginal_limit_um,
        },
        "absolute_um": {
            "mean": plain(margin.absolute_mean_um),
            "most": plain(margin.absolute_most_um),
        },
        "extension_um": {
            "over_share": plain(margin.over_share),
            "under_share": plain(margin.under_share),
        },
        "beyond_limit": plain(margin.share_beyond),
        "within": margin.within,
        "coverage": plain(margin.coverage),
        "places": len(margin.angle_deg),
        "angle_from": directions.zero_name,
        "zero_direction": plain(directions.zero),
        "buccal_deg": plain(directions.buccal_deg),
        "sectors": plain(margin.sectors),
        "harmonics": plain(margin.harmonics),
        "settings": plain(margin.settings),
        "warnings": list(margin.warnings),
    }


def _contacts(contacts: Contacts) -> dict[str, Any]:
    return {
        "rows": plain(contacts.rows),
        "settings": plain(contacts.settings),
        "warnings": list(contacts.warnings),
    }
