"""Columns of tests: groups compared, all at once, and what the tests assume."""

from __future__ import annotations

from .column import (
    BARE,
    COUNT,
    OF_ROW,
    PROBABILITY,
    TEXT,
    TRUTH,
    Column,
    column,
)
from .declared import (
    ALL_CONTRASTS,
    ASSUMED,
    CONTRASTS,
    LED,
    OVERALL,
    POST_HOC,
)

_PRECISION = "study/precision_comparisons"
_EARLIER = "study/earlier_study"

TESTED_COLUMNS: tuple[Column, ...] = (
    column("n_first", COUNT, "Crowns of the first group.", ALL_CONTRASTS),
    column("n_second", COUNT, "Crowns of the second group.", ALL_CONTRASTS),
    column(
        "mean_first",
        OF_ROW,
        "Mean of the first group; in precision of its crowns' distances from the group's middle.",
        ALL_CONTRASTS,
    ),
    column(
        "mean_second",
        OF_ROW,
        "Mean of the second group; in precision of its crowns' distances from the group's middle.",
        ALL_CONTRASTS,
    ),
    column(
        "difference",
        OF_ROW,
        "Second less first: of means, of trimmed means, or the Hodges–Lehmann shift, as the test "
        "has it that leads; against an earlier study, now less earlier.",
        ALL_CONTRASTS,
        POST_HOC,
        _EARLIER,
    ),
    column(
        "difference_low",
        OF_ROW,
        "Lower end of the difference's confidence interval.",
        ALL_CONTRASTS,
        POST_HOC,
        _EARLIER,
    ),
    column(
        "difference_high",
        OF_ROW,
        "Upper end of the difference's confidence interval.",
        ALL_CONTRASTS,
        POST_HOC,
        _EARLIER,
    ),
    column("difference_confidence", PROBABILITY, "Confidence of that interval.", _EARLIER),
    column("p_unadjusted", PROBABILITY, "p of Welch's t test, not adjusted.", _EARLIER),
    column(
        "p_value",
        PROBABILITY,
        "p of the test that leads, before correction.",
        ALL_CONTRASTS,
        OVERALL,
    ),
    column(
        "p_adjusted",
        PROBABILITY,
        "p of the test that leads, adjusted for other claims of its order or family; empty where "
        "the comparison makes no claim.",
        ALL_CONTRASTS,
    ),
    column(
        "family_size",
        COUNT,
        "Tests that share their level with it; 0 for none.",
        ALL_CONTRASTS,
        "study/examiner_comparisons",
    ),
    column("welch_difference", OF_ROW, "Difference of means (Welch's t test).", LED),
    column(
        "welch_low", OF_ROW, "Lower end of the confidence interval of the difference of means.", LED
    ),
    column(
        "welch_high",
        OF_ROW,
        "Upper end of the confidence interval of the difference of means.",
        LED,
    ),
    column("welch_t", BARE, "Welch's t.", LED, _EARLIER),
    column("welch_df", BARE, "Degrees of freedom of Welch's t.", LED, _EARLIER),
    column("welch_p_value", PROBABILITY, "p of Welch's t test.", LED),
    column("welch_reason", TEXT, "Why there is no Welch's t test.", LED),
    column("trimmed_difference", OF_ROW, "Difference of trimmed means (Yuen's test).", LED),
    column(
        "trimmed_low", OF_ROW, "Lower end of the interval of the difference of trimmed means.", LED
    ),
    column(
        "trimmed_high", OF_ROW, "Upper end of the interval of the difference of trimmed means.", LED
    ),
    column("trimmed_t", BARE, "t of Yuen's test of trimmed means.", LED),
    column("trimmed_df", BARE, "Degrees of freedom of Yuen's test.", LED),
    column("trimmed_p_value", PROBABILITY, "p of Yuen's test of trimmed means.", LED),
    column("trimmed_reason", TEXT, "Why there is no Yuen's test.", LED),
    column("ranks_u", BARE, "Mann–Whitney U of the second group.", LED),
    column("ranks_p_value", PROBABILITY, "p of the Mann–Whitney test.", LED),
    column("ranks_method", TEXT, "How the p of the Mann–Whitney test was computed.", LED),
    column("ranks_shift", OF_ROW, "Hodges–Lehmann shift.", LED),
    column(
        "ranks_low",
        OF_ROW,
        "Lower end of the confidence interval of the Hodges–Lehmann shift.",
        LED,
    ),
    column(
        "ranks_high",
        OF_ROW,
        "Upper end of the confidence interval of the Hodges–Lehmann shift.",
        LED,
    ),
    column("ranks_reason", TEXT, "What of the ranks could not be computed, and why.", LED),
    column("hedges_g", BARE, "Hedges' g, second less first.", LED),
    column("hedges_low", BARE, "Lower end of the confidence interval of Hedges' g.", LED),
    column("hedges_high", BARE, "Upper end of the confidence interval of Hedges' g.", LED),
    column("cliff_delta", BARE, "Cliff's δ, −1 to 1.", LED),
    column("cliff_low", BARE, "Lower end of the confidence interval of Cliff's δ.", LED),
    column("cliff_high", BARE, "Upper end of the confidence interval of Cliff's δ.", LED),
    column(
        "permutations",
        COUNT,
        "Rearrangements of crowns that the test of precision tried.",
        _PRECISION,
    ),
    column(
        "exact",
        TRUTH,
        "Whether the test of precision tried all rearrangements there are.",
        _PRECISION,
    ),
    column("equivalence_limit", OF_ROW, "The plan's equivalence limit.", CONTRASTS),
    column(
        "equivalence_low",
        OF_ROW,
        "Lower end of the interval that is held against the equivalence limit.",
        CONTRASTS,
    ),
    column(
        "equivalence_high",
        OF_ROW,
        "Upper end of the interval that is held against the equivalence limit.",
        CONTRASTS,
    ),
    column(
        "equivalence_level",
        PROBABILITY,
        "Level of the interval that is held against the equivalence limit: 1 − 2α.",
        CONTRASTS,
    ),
    column(
        "equivalence_p_value",
        PROBABILITY,
        "Larger p of the two one-sided tests of equivalence, before correction.",
        CONTRASTS,
    ),
    column(
        "equivalence_p_adjusted",
        PROBABILITY,
        "Larger p of the two one-sided tests of equivalence, adjusted as claims are.",
        CONTRASTS,
    ),
    column(
        "equivalent",
        TRUTH,
        "Whether equivalence is shown: the corrected p is at or below α.",
        CONTRASTS,
    ),
    column("equivalence_reason", TEXT, "Why equivalence was not tested.", CONTRASTS),
    column(
        "equivalence_lead",
        TEXT,
        "Whether equivalence was tested by welch (means), ranks or trimmed (means).",
        CONTRASTS,
    ),
    column(
        "scanner_limit",
        OF_ROW,
        "Smallest difference between means of so many crowns that the scanner can show.",
        CONTRASTS,
    ),
    column(
        "below_scanner",
        TRUTH,
        "Whether the difference is smaller than what the scanner can show.",
        CONTRASTS,
    ),
    column("anova_f", BARE, "F of Welch's analysis of variance.", OVERALL),
    column(
        "anova_df1",
        BARE,
        "Degrees of freedom between groups of Welch's analysis of variance.",
        OVERALL,
    ),
    column(
        "anova_df2",
        BARE,
        "Degrees of freedom within groups of Welch's analysis of variance.",
        OVERALL,
    ),
    column("anova_p", PROBABILITY, "p of Welch's analysis of variance.", OVERALL),
    column("kruskal_h", BARE, "H of the Kruskal–Wallis test.", OVERALL),
    column("kruskal_df", BARE, "Degrees of freedom of the Kruskal–Wallis test.", OVERALL),
    column("kruskal_p", PROBABILITY, "p of the Kruskal–Wallis test.", OVERALL),
    column("games_howell_p", PROBABILITY, "p by Games and Howell, over all pairs.", POST_HOC),
    column("dunn_z", BARE, "Dunn's z.", POST_HOC),
    column("dunn_p", PROBABILITY, "p of Dunn's test, before correction.", POST_HOC),
    column("dunn_p_holm", PROBABILITY, "p of Dunn's test after Holm's correction.", POST_HOC),
    column("brown_forsythe_f", BARE, "F of the Brown–Forsythe test of spread.", ASSUMED),
    column(
        "brown_forsythe_p",
        PROBABILITY,
        "p of the Brown–Forsythe test that groups spread alike.",
        ASSUMED,
    ),
    column("shapiro_w", BARE, "W of the Shapiro–Wilk test.", ASSUMED),
    column(
        "shapiro_p",
        PROBABILITY,
        "p of the Shapiro–Wilk test that the group's values are normally distributed.",
        ASSUMED,
        "study/tolerances",
    ),
    column("shapiro_reason", TEXT, "Why there is no Shapiro–Wilk test.", ASSUMED),
)
