"""Columns of causes."""

from __future__ import annotations

from .column import BARE, COUNT, OF_ROW, PROBABILITY, SHARE, TEXT, TRUTH, UM, Column, column
from .declared import CAUSES

CAUSE_COLUMNS: tuple[Column, ...] = (
    column(
        "cause",
        TEXT,
        "The cause, by name; empty where the data hold its family but not which of its members.",
        CAUSES,
        "study/cause_sizes",
        "study/cause_comparisons",
    ),
    column(
        "family",
        TEXT,
        "The family it belongs to: scale, growth, fossae, tool, margin, supports or layers.",
        CAUSES,
        "study/cause_sizes",
        "study/cause_comparisons",
    ),
    column("stated", TRUTH, "Whether the data hold it; else what they would bear.", CAUSES),
    column("probability", PROBABILITY, "That the cause takes part.", CAUSES),
    column("estimate", OF_ROW, "Its size.", CAUSES),
    column("low", OF_ROW, "Lower end of the size's 95 % interval.", CAUSES),
    column("high", OF_ROW, "Upper end of the size's 95 % interval.", CAUSES),
    column(
        "share_alone",
        SHARE,
        "Share of the variance that is lost if it alone is left out.",
        CAUSES,
    ),
    *(
        column(
            f"direction_{axis}",
            BARE,
            f"A direction of length 1, {axis}: of a cause in the design's frame, of a force in "
            "the die's.",
            CAUSES,
            "fit/seat_spots",
        )
        for axis in "xyz"
    ),
    column("instead", TEXT, "The family that explains the same as well.", CAUSES),
    column("change", TEXT, "What to change in the production.", CAUSES),
    column("sd_between", OF_ROW, "Standard deviation of its size between crowns.", "study/causes"),
    column("estimate_without_odd", OF_ROW, "Its size without odd crowns.", "study/causes"),
    column(
        "estimate_without_odd_low", OF_ROW, "Lower end of that size's interval.", "study/causes"
    ),
    column(
        "estimate_without_odd_high", OF_ROW, "Upper end of that size's interval.", "study/causes"
    ),
    column("size", OF_ROW, "The cause's size in the crown.", "study/cause_sizes"),
    column(
        "without_cause",
        TEXT,
        "The cause that is left out; all for all stated ones.",
        "study/cause_predictions",
    ),
    column(
        "n_within_predicted",
        COUNT,
        "Crowns that would be within without the cause.",
        "study/cause_predictions",
    ),
    column(
        "group_mean_abs_um",
        UM,
        "Mean absolute deviation from design to scan, mean over the group's crowns.",
        "study/cause_predictions",
    ),
    column(
        "predicted_mean_abs_um", UM, "The same as predicted without it.", "study/cause_predictions"
    ),
)
