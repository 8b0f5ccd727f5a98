"""The tables of a study file that say how each crown is measured and judged."""

from __future__ import annotations

from typing import get_args

from ...areas.support_marks import MARK_KINDS
from ...mesh.units import MM_PER_UNIT
from ...superimpose.settings import Loss, Start
from .keys import Key, Section
from .value_types import Choice, Direction, File, Flag, Limit, Names, Number, Spot

_SHARE = Number(0, 1)
_SHARE_OR_NONE = Number(0, 1, low_open=False)
_LENGTH = Number()
_ANGLE = Number(0, 90)
_UNIT = Choice(("auto", *MM_PER_UNIT))

MEASURING = Section(
    "measuring",
    "How each crown is measured.",
    (
        Key("design_unit", _UNIT, "check.design_unit", "Unit of the design; auto guesses."),
        Key("scan_unit", _UNIT, "check.scan_unit", "Unit of the scans; auto guesses."),
        Key(
            "spacing_mm",
            Number(0.01, 5, low_open=False),
            "check.spacing_mm",
            "Largest distance between evaluation points, mm.",
        ),
        Key("drop_debris", Flag(), "check.drop_debris", "Leave out small floating pieces."),
        Key("weighted", Flag(), "check.weighted", "Weigh points by area, not all alike."),
        Key(
            "search_mm",
            _LENGTH,
            "check.deviation.search_mm",
            "Deviations beyond this distance do not count, mm.",
        ),
        Key(
            "max_normal_angle_deg",
            Number(0, 180),
            "check.deviation.max_normal_angle_deg",
            "Largest angle between the normals of a point and its foot, degrees.",
        ),
    ),
)

_FIT = "check.superimpose"
SUPERIMPOSITION = Section(
    "superimposition",
    "How each scan is laid on the design.",
    (
        Key("start", Choice(get_args(Start)), f"{_FIT}.start", "Where it starts from."),
        Key(
            "landmarks", File(), "", 'CSV of paired points for start = "landmarks"; for all scans.'
        ),
        Key("refine", Flag(), f"{_FIT}.refine", "Whether a best fit follows the start."),
        Key(
            "fit_areas",
            Names(thing="area"),
            "check.fit_areas",
            "Areas that the best fit runs on; an empty list means the whole crown.",
        ),
        Key("loss", Choice(get_args(Loss)), f"{_FIT}.loss", "How large deviations are weighed."),
        Key("keep_share", _SHARE, f"{_FIT}.keep_share", "Share of the area kept by trimmed."),
        Key("robust_tuning", Number(), f"{_FIT}.robust_tuning", "Tukey's constant for robust."),
        Key("robust_floor_mm", _LENGTH, f"{_FIT}.robust_floor_mm", "Least scale of robust, mm."),
        Key(
            "max_distance_mm",
            _LENGTH,
            f"{_FIT}.max_distance_mm",
            "Points farther from the design take no part in the best fit, mm.",
        ),
        Key("tolerance_mm", _LENGTH, f"{_FIT}.tolerance_mm", "Remaining motion at the end, mm."),
        Key(
            "max_iterations",
            Number(1, 10_000, low_open=False, whole=True),
            f"{_FIT}.max_iterations",
            "Most passes of the best fit.",
        ),
        Key(
            "look_for_rivals",
            Flag(),
            f"{_FIT}.look_for_rivals",
            "Look for other poses that fit nearly as well.",
        ),
        Key(
            "rival_ratio",
            Number(),
            f"{_FIT}.rival_ratio",
            "A rival's residual is below this many times the best one's.",
        ),
        Key("rival_floor_mm", _LENGTH, f"{_FIT}.rival_floor_mm", "Added to that bound, mm."),
        Key("weak_share", _SHARE, f"{_FIT}.weak_share", "Hold below which a motion is weak."),
        Key(
            "mirror_check_share",
            Number(),
            f"{_FIT}.mirror_check_share",
            "Residual above which the mirror image is tried, of the design's diagonal.",
        ),
        Key(
            "mirror_ratio",
            _SHARE,
            f"{_FIT}.mirror_ratio",
            "Share of the residual below which the mirror image is preferred.",
        ),
        Key("doubt_mm", _LENGTH, f"{_FIT}.doubt_mm", "Typical distance that raises doubt, mm."),
        Key(
            "wrong_part_mm",
            _LENGTH,
            f"{_FIT}.wrong_part_mm",
            "Typical distance above which it is a wrong part, mm.",
        ),
        Key("close_mm", _LENGTH, f"{_FIT}.close_mm", "What lies close, where there is doubt, mm."),
        Key(
            "least_close",
            _SHARE,
            f"{_FIT}.least_close",
            "Share of scan or design that must then lie close to the other.",
        ),
        Key(
            "size_tolerance",
            _SHARE,
            f"{_FIT}.size_tolerance",
            "Error of size that is still measured, as a share.",
        ),
        Key(
            "other_size",
            _SHARE,
            f"{_FIT}.other_size",
            "Error of size beyond which it is a wrong part, as a share.",
        ),
        Key(
            "least_overlap",
            _SHARE,
            f"{_FIT}.least_overlap",
            "Share of scan or design that must come to lie on the other.",
        ),
    ),
)

MARK = Section(
    "marks.NAME",
    "One table per spot where a printing support, a sprue or a holding bar touched the crown,\n"
    "beside those of the areas file. What is left of each is told crown by crown, and described\n"
    "per group.",
    (
        Key("centre_mm", Spot(), "", "Its middle on the design, in the design's frame.", True),
        Key("radius_mm", Number(), "", "How far it reaches along the surface, mm.", True),
        Key("kind", Choice(MARK_KINDS), "", "What touched the crown; support if left out."),
    ),
)

_AREAS = "check.areas"
AREAS = Section(
    "areas",
    "The areas of the design: from a file made with 'cuspwise areas', or automatic.",
    (
        Key("file", File(), "check.areas_file", "Areas file; then leave out all other keys here."),
        Key("insertion", Direction(), f"{_AREAS}.insertion", "Path of insertion, to occlusal."),
        Key(
            "mesial_direction",
            Direction(),
            f"{_AREAS}.mesial_direction",
            "Towards mesial, in the design's frame; gives the two contact areas.",
        ),
        Key(
            "buccal_direction",
            Direction(),
            f"{_AREAS}.buccal_direction",
            "Towards buccal, in the design's frame; names places around the crown.",
        ),
        Key(
            "margin_band_mm",
            _LENGTH,
            f"{_AREAS}.margin_band_mm",
            "Width of the margin area on either side of the margin line, mm.",
        ),
        Key(
            "occlusal_slope_deg",
            _ANGLE,
            f"{_AREAS}.occlusal_slope_deg",
            "Largest slope of the occlusal surface, degrees.",
        ),
        Key(
            "fossa_ball_radius_mm",
            _LENGTH,
            f"{_AREAS}.fossa_ball_radius_mm",
            "Radius of the ball that does not reach into fossae, mm.",
        ),
        Key("fossa_gap_mm", _LENGTH, f"{_AREAS}.fossa_gap_mm", "Least gap below that ball, mm."),
        Key(
            "contact_radius_mm",
            _LENGTH,
            f"{_AREAS}.contact_radius_mm",
            "Radius of the contact areas along the surface, mm.",
        ),
        Key(
            "contact_depth_mm",
            _LENGTH,
            f"{_AREAS}.contact_depth_mm",
            "How far behind the outermost point its middle is taken from, mm.",
        ),
        Key(
            "min_cavity_radius_mm",
            _LENGTH,
            f"{_AREAS}.min_cavity_radius_mm",
            "Ball that must fit half into a cavity at its mouth, mm.",
        ),
        Key(
            "min_cavity_area_ratio",
            Number(),
            f"{_AREAS}.min_cavity_area_ratio",
            "Least area of a cavity by its projection.",
        ),
        Key(
            "min_opening_share",
            _SHARE,
            f"{_AREAS}.min_opening_share",
            "Share of the silhouette from which a border is an opening, not a hole.",
        ),
        Key(
            "outward_share",
            _SHARE,
            f"{_AREAS}.outward_share",
            "Normal away from the path of insertion from which a face has a side beforehand.",
        ),
        Key(
            "upward_share",
            _SHARE,
            f"{_AREAS}.upward_share",
            "Normal along the path of insertion from which a face looks up.",
        ),
        Key("cover_mm", _LENGTH, f"{_AREAS}.cover_mm", "How far above another face counts, mm."),
        Key(
            "rim_outward_share",
            _SHARE,
            f"{_AREAS}.rim_outward_share",
            "Normal from which a face of the rim leans to the external side.",
        ),
        Key(
            "wall_share",
            _SHARE,
            f"{_AREAS}.wall_share",
            "Normal along the path of insertion up to which the intaglio is a wall.",
        ),
        Key(
            "sharp_edge_deg",
            Number(0, 180),
            f"{_AREAS}.sharp_edge_deg",
            "Turn at which an edge attracts the margin line, degrees.",
        ),
    ),
)

TOLERANCES = Section(
    "tolerances_um",
    "Largest acceptable mean absolute deviation per area, µm, and half the band of\n"
    '"within tolerance". "none" takes the tolerance of an area away.',
    free=Limit(),
    target="check.tolerances.mean_abs_um",
)

SCANNER = Section(
    "scanner_um",
    "Standard uncertainty of an area's mean absolute deviation that comes from the scanner,\n"
    "µm; default stands for all areas not named. Within and outside are then told with 95 %.\n"
    "Left out, it is taken from [repeats], if crowns were scanned often enough.",
    free=Number(low_open=False),
    target="check.tolerances.scanner_um",
)

VERDICTS = Section(
    "verdicts",
    "When a crown is judged, and which patches beyond the tolerance are told.",
    (
        Key(
            "min_coverage",
            _SHARE_OR_NONE,
            "check.tolerances.min_coverage",
            "Share of an area that must have been measured for a verdict.",
        ),
        Key(
            "max_unsettled_share",
            _SHARE_OR_NONE,
            "check.tolerances.max_unsettled_share",
            "How far a fit may still be from its end, as a share of the tolerance.",
        ),
        Key(
            "max_unmatched_um",
            Number(low_open=False),
            "check.tolerances.max_unmatched_um",
            "Height that scan surface without a counterpart may have beside an area, µm.",
        ),
        Key(
            "max_unmatched_mm2",
            Number(low_open=False),
            "check.tolerances.max_unmatched_mm2",
            "Largest piece of it that may stand beside an area, mm².",
        ),
        Key(
            "max_missing_mm",
            Number(low_open=False),
            "check.tolerances.max_missing_mm",
            "Length of the margin along which more than 100 µm may be missing, in one run, mm.",
        ),
        Key(
            "mark_um",
            Number(low_open=False),
            "check.mark.limit_um",
            "Height of a stub, or depth of a gouge, from which a support mark has one, µm.",
        ),
        Key(
            "patch_um",
            _LENGTH,
            "check.patches.tolerance_um",
            "Limit of patches, µm; the whole crown's tolerance if left out.",
        ),
        Key(
            "min_patch_mm2",
            Number(low_open=False),
            "check.patches.min_patch_mm2",
            "Smaller patches are left out, mm².",
        ),
        Key(
            "min_patch_share",
            _SHARE_OR_NONE,
            "check.patches.min_area_share",
            "Share of a patch that must lie in an area to be told there.",
        ),
    ),
)
