"""Columns of what was measured: deviations, margins, marks, fit."""

from __future__ import annotations

from .column import BARE, COUNT, DEG, MM, MM2, MM3, OF_ROW, SHARE, UM, Column, column
from .declared import CAUSES, MARGINAL, MARKS, TALL

_DEVIATIONS = {
    "sd_um": "Standard deviation of the signed deviation, weighted by area.",
    "median_um": "Median of the signed deviation.",
    "p10_um": "10th percentile of the signed deviation.",
    "p90_um": "90th percentile of the signed deviation.",
    "half_p90_p10_um": "Half the distance from the 10th to the 90th percentile; blind to an "
    "offset that is the same everywhere.",
    "mean_positive_um": "Mean of the deviations above zero.",
    "mean_negative_um": "Mean of the deviations below zero.",
    "min_um": "Lowest deviation of the points that counted.",
    "max_um": "Highest deviation of the points that counted.",
}

_PLACES = (
    ("", "check/margin_profile", "The place, in the design's frame"),
    ("centre_", "check/patches", "The patch's middle, in the design's frame"),
    ("peak_", "check/patches check/marks", "The peak's place, in the design's frame"),
    ("die_", "fit/seat_spots fit/proximal_contacts", "The place, in the die's frame"),
    ("crown_", "fit/seat_spots fit/walls", "The place, in the crown's own frame"),
    ("finish_", "fit/marginal_gap", "The finish line there, in the die's frame"),
    ("edge_", "fit/marginal_gap", "The crown's edge there, in the die's frame"),
)

MEASURED_COLUMNS: tuple[Column, ...] = (
    column(
        "value",
        OF_ROW,
        "The number that was measured.",
        TALL,
        *("study/marks", "study/margin", "study/fit", "fit/fit"),
    ),
    column("n_marks", COUNT, "Support marks of the crown.", "tray/tray"),
    column("n_marks_stub", COUNT, "Support marks that stand out.", "tray/tray"),
    column("n_marks_gouge", COUNT, "Support marks that lie deep.", "tray/tray"),
    column("n_marks_not_measured", COUNT, "Support marks not measured.", "tray/tray"),
    column("limit", OF_ROW, "What the value is held against.", "fit/fit"),
    column(
        "coverage_share",
        SHARE,
        "Share of the area (or spot) that counted: of the surface that has its counterpart.",
        *("check/measures", "study/verdicts", "tray/tray"),
        TALL,
        MARKS,
    ),
    column(
        "n_points",
        COUNT,
        "Evaluation points that counted.",
        *("check/measures", "check/patches", "check/marks"),
    ),
    column(
        "area_mm2",
        MM2,
        "Surface of what the row is about: area, patch, what stands out of a mark, contact.",
        *("check/measures", "check/patches", "check/marks", "fit/proximal_contacts"),
    ),
    column(
        "mean_um",
        UM,
        "Mean of the signed deviation, weighted by area; positive is material outside the design.",
        "check/measures",
        "check/patches",
    ),
    column(
        "mean_abs_um",
        UM,
        "Mean absolute deviation, weighted by area, from design to scan where no direction is "
        "given.",
        "check/measures",
        "study/verdicts",
        "tray/tray",
    ),
    *(column(name, UM, meaning, "check/measures") for name, meaning in _DEVIATIONS.items()),
    column(
        "rms_um",
        UM,
        "Root mean square of the deviation, weighted by area: of the area, or of what a cause "
        "makes over the whole surface after superimposition.",
        "check/measures",
        CAUSES,
    ),
    column(
        "back_mean_abs_um",
        UM,
        "Mean absolute deviation, weighted by area, from scan to design.",
        "study/verdicts",
        "tray/tray",
    ),
    column(
        "within_tolerance_share",
        SHARE,
        "Share of the counted surface whose deviation is within the tolerance.",
        "check/measures",
    ),
    column(
        "tolerance_um",
        UM,
        "The area's tolerance, which limits the mean absolute deviation.",
        *(
            "check/measures",
            "study/verdicts",
            "tray/tray",
            "study/tolerances",
            "study/cause_predictions",
        ),
    ),
    column(
        "scanner_um",
        UM,
        "The scanner's standard uncertainty of the mean absolute deviation.",
        "study/verdicts",
    ),
    column(
        "unmatched_mm2",
        MM2,
        "Scan surface beside the area that has no counterpart on the design.",
        "check/measures",
        "study/verdicts",
        "tray/tray",
    ),
    column(
        "unmatched_um",
        UM,
        "Greatest height of scan surface beside the area without a counterpart on the design.",
        "check/measures",
        "study/verdicts",
        "tray/tray",
    ),
    column(
        "peak_um",
        UM,
        "The deviation farthest from zero, with its sign.",
        "check/patches",
        "check/marks",
    ),
    column(
        "volume_mm3",
        MM3,
        "Material under the patch, or above a mark's surroundings (negative: missing).",
        "check/patches",
        "check/marks",
    ),
    column(
        "margin_mm", MM, "Length of the margin line that the patch lies along.", "check/patches"
    ),
    *(
        column(f"{before}{axis}_mm", MM, f"{words}, {axis}.", *tables.split())
        for before, tables, words in _PLACES
        for axis in "xyz"
    ),
    column(
        "height_um",
        UM,
        "How far a mark's peak stands above its surroundings; negative: how deep it lies.",
        "check/marks",
    ),
    column("surroundings_um", UM, "Median deviation around the mark.", "check/marks"),
    column("band_um", UM, "Half width of the band that counts as level.", "check/marks"),
    column("spot_mm2", MM2, "Surface of the whole spot of a mark.", "check/marks"),
    column(
        "place_mm", MM, "Way along the margin line.", "check/margin_profile", "study/margin_profile"
    ),
    column(
        "distance_um",
        UM,
        "Distance of the crown from the middle of its group, by the measure.",
        "study/precision_crowns",
    ),
    *(
        column(f"profile_{name}_um", UM, f"{words}.", "study/margin_profile")
        for name, words in (
            ("mean", "Mean deviation of the group's crowns near the place"),
            ("sd", "Standard deviation (n − 1) between the group's crowns near the place"),
            ("low", "Mean less standard deviation near the place"),
            ("high", "Mean plus standard deviation near the place"),
            ("min", "Lowest deviation of any of the group's crowns near the place"),
            ("max", "Highest deviation of any of the group's crowns near the place"),
        )
    ),
    column(
        "angle_deg",
        DEG,
        "Angle about the path of insertion, counter-clockwise seen from occlusal, from mesial "
        "where that is known.",
        "check/margin_profile",
        "study/margin_profile",
        MARGINAL,
    ),
    column("deviation_um", UM, "Mean deviation near the place.", "check/margin_profile"),
    column(
        "vertical_um",
        UM,
        "The scan's edge less the design's along the path of insertion; positive is longer.",
        "check/margin_profile",
    ),
    column(
        "horizontal_um",
        UM,
        "The scan's edge less the design's outward from the path of insertion; positive is larger.",
        "check/margin_profile",
    ),
    column("flash_um", UM, "Greatest height of scan surface there.", "check/margin_profile"),
    column("gap_um", UM, "Marginal gap (Holmes 1989).", MARGINAL),
    column("absolute_um", UM, "Absolute marginal discrepancy (Holmes 1989).", MARGINAL),
    column(
        "extension_um",
        UM,
        "Over-extension of the crown's edge; negative: under-extension.",
        MARGINAL,
    ),
    column(
        "discrepancy_vertical_um",
        UM,
        "Part of the absolute discrepancy along the path of insertion; positive is to occlusal.",
        "fit/marginal_gap",
    ),
    column(
        "discrepancy_horizontal_um",
        UM,
        "Part of the absolute discrepancy outward.",
        "fit/marginal_gap",
    ),
    column("load_share", SHARE, "Share of the load that the place bears.", "fit/seat_spots"),
    column("force", BARE, "Size of the force there, over the load.", "fit/seat_spots"),
    column(
        "contact_gap_um",
        UM,
        "Smallest distance to the other tooth; negative: depth of the overlap.",
        "fit/proximal_contacts",
    ),
    column(
        "designed_gap_um",
        UM,
        "Smallest distance of the design to the other tooth; negative: depth of the overlap.",
        "fit/proximal_contacts",
    ),
    column("designed_area_mm2", MM2, "The contact's surface by design.", "fit/proximal_contacts"),
    column(
        "change_um",
        UM,
        "The contact's gap less the designed one; positive is lighter.",
        "fit/proximal_contacts",
    ),
    column("thickness_mm", MM, "Least thickness of the wall: ray or ball.", "fit/walls"),
    column("ray_mm", MM, "Thickness straight into the material.", "fit/walls"),
    column("ball_mm", MM, "Diameter of the largest ball in the wall there.", "fit/walls"),
    column("required_mm", MM, "Thickness that is asked for.", "fit/walls"),
    column("p5_mm", MM, "5th percentile of the thickness, weighted by area.", "fit/walls"),
    column("p50_mm", MM, "Median thickness, weighted by area.", "fit/walls"),
    column("thin_area_mm2", MM2, "Surface over walls that are too thin.", "fit/walls"),
    column("loss_um", UM, "Mean thickness less the design's.", "fit/walls"),
    column(
        "total_rms_um",
        UM,
        "Root mean square deviation over all crowns and points of the group.",
        "study/parts",
    ),
    column(
        "systematic_um",
        UM,
        "Root mean square of what all crowns of the group share.",
        "study/parts",
    ),
    column(
        "random_um", UM, "Root mean square of the standard deviation between crowns.", "study/parts"
    ),
)
