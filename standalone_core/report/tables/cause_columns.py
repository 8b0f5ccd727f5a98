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
    column(
        "stated",
        TRUTH,
        "Whether the data hold the cause; a cause that is not stated tells what they would bear.",
        CAUSES,
    ),
    column("probability", PROBABILITY, "Probability that the cause takes part.", CAUSES),
    column(
        "estimate",
        OF_ROW,
        "Size of the cause; where it is not stated, what the data would bear.",
        CAUSES,
    ),
    column("low", OF_ROW, "Lower end of the 95 % interval of the cause's size.", CAUSES),
    column("high", OF_ROW, "Upper end of the 95 % interval of the cause's size.", CAUSES),
    column(
        "share_alone",
        SHARE,
        "Share of the variance that is lost if this cause alone is left out.",
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
    column("instead", TEXT, "The family of causes that explains the same as well.", CAUSES),
    column("change", TEXT, "What to change in the production because of the cause.", CAUSES),
    column(
        "sd_between",
        OF_ROW,
        "Standard deviation of the cause's size between crowns.",
        "study/causes",
    ),
    column("estimate_without_odd", OF_ROW, "Size of the cause without odd crowns.", "study/causes"),
    column(
        "estimate_without_odd_low",
        OF_ROW,
        "Lower end of the 95 % interval of the cause's size without odd crowns.",
        "study/causes",
    ),
    column(
        "estimate_without_odd_high",
        OF_ROW,
        "Upper end of the 95 % interval of the cause's size without odd crowns.",
        "study/causes",
    ),
    column("size", OF_ROW, "The cause's size in the crown.", "study/cause_sizes"),
    column(
        "without_cause",
        TEXT,
        "The cause that the prediction leaves out; all for all stated ones.",
        "study/cause_predictions",
    ),
    column(
        "n_within_predicted",
        COUNT,
        "Crowns that would be within without the cause, as predicted.",
        "study/cause_predictions",
    ),
    column(
        "group_mean_abs_um",
        UM,
        "Mean absolute deviation from design to scan, mean over the group's crowns.",
        "study/cause_predictions",
    ),
    column(
        "predicted_mean_abs_um",
        UM,
        "Mean absolute deviation without the cause, as predicted, mean over the group's crowns.",
        "study/cause_predictions",
    ),
)
