"""Columns of the statistics: descriptions, tests, limits, scores, repeated scans."""

from __future__ import annotations

from .column import (
    BARE,
    COUNT,
    MM2,
    MM3,
    OF_ROW,
    PROBABILITY,
    SHARE,
    TEXT,
    TRUTH,
    UM,
    Column,
    column,
)
from .declared import (
    ALL_CONTRASTS,
    ASSUMED,
    CONTRASTS,
    DESCRIBED,
    LED,
    LIMITED,
    OVERALL,
    POST_HOC,
    PRECISION_DESCRIBED,
)

_PRECISION = "study/precision_comparisons"
_SUMMARY = {
    "mean": "Mean",
    "sd": "Standard deviation (n − 1)",
    "mean_low": "Lower end of the confidence interval of the mean",
    "mean_high": "Upper end of the confidence interval of the mean",
    "median": "Median",
    "q1": "First quartile",
    "q3": "Third quartile",
    "minimum": "Smallest",
    "maximum": "Largest",
}
_OF_PAIRS = ("mean", "sd", "minimum", "maximum")  # pairs share crowns: no interval, no quartiles
_PAIRS = {
    "superimposed": "pairs, one crown on the other",
    "design_frame": "pairs, both as they lie on the design",
}

_DESCRIPTIONS: tuple[Column, ...] = (
    column("n_missing", COUNT, "Crowns without a value.", DESCRIBED),
    *(
        column(name, OF_ROW, f"{words} of the crowns' values.", DESCRIBED)
        for name, words in _SUMMARY.items()
    ),
    *(
        one
        for before, whose in _PAIRS.items()
        for one in (
            column(f"{before}_n", COUNT, f"Count of {whose}.", PRECISION_DESCRIBED),
            column(f"{before}_missing", COUNT, f"Without a value: {whose}.", PRECISION_DESCRIBED),
            *(
                column(
                    f"{before}_{name}", OF_ROW, f"{_SUMMARY[name]} of {whose}.", PRECISION_DESCRIBED
                )
                for name in _OF_PAIRS
            ),
        )
    ),
    column("dispersion_n", COUNT, "Crowns with such a distance.", PRECISION_DESCRIBED),
    column("dispersion_missing", COUNT, "Crowns without one.", PRECISION_DESCRIBED),
    *(
        column(
            f"dispersion_{name}",
            OF_ROW,
            f"{words} of the crowns' distances from their group's mean surface.",
            PRECISION_DESCRIBED,
        )
        for name, words in _SUMMARY.items()
    ),
)

_COMPARISONS: tuple[Column, ...] = (
    column("n_first", COUNT, "Crowns of the first group.", ALL_CONTRASTS),
    column("n_second", COUNT, "Crowns of the second group.", ALL_CONTRASTS),
    column(
        "mean_first",
        OF_ROW,
        "Mean of the first group; in precision of its crowns' distances from the group's middle.",
        ALL_CONTRASTS,
    ),
    column("mean_second", OF_ROW, "The same of the second group.", ALL_CONTRASTS),
    column(
        "difference",
        OF_ROW,
        "Second less first: of means, or the Hodges–Lehmann shift where ranks lead.",
        ALL_CONTRASTS,
        POST_HOC,
    ),
    column(
        "difference_low",
        OF_ROW,
        "Lower end of the difference's confidence interval.",
        ALL_CONTRASTS,
        POST_HOC,
    ),
    column(
        "difference_high",
        OF_ROW,
        "Upper end of the difference's confidence interval.",
        ALL_CONTRASTS,
        POST_HOC,
    ),
    column(
        "p_value",
        PROBABILITY,
        "p of the test that leads, as it is.",
        ALL_CONTRASTS,
        OVERALL,
    ),
    column(
        "p_holm",
        PROBABILITY,
        "The same p, corrected over its family.",
        ALL_CONTRASTS,
        OVERALL,
    ),
    column(
        "family_size",
        COUNT,
        "Tests that the p-value was corrected over; 1 for none.",
        ALL_CONTRASTS,
    ),
    column("welch_difference", OF_ROW, "Difference of means (Welch's t test).", LED),
    column("welch_low", OF_ROW, "Lower end of its confidence interval.", LED),
    column("welch_high", OF_ROW, "Upper end of its confidence interval.", LED),
    column("welch_t", BARE, "Welch's t.", LED),
    column("welch_df", BARE, "Degrees of freedom of Welch's t.", LED),
    column("welch_p_value", PROBABILITY, "p of Welch's t test.", LED),
    column("welch_reason", TEXT, "Why there is no Welch's t test.", LED),
    column("ranks_u", BARE, "Mann–Whitney U of the second group.", LED),
    column("ranks_p_value", PROBABILITY, "p of the Mann–Whitney test.", LED),
    column("ranks_method", TEXT, "How that p was computed.", LED),
    column("ranks_shift", OF_ROW, "Hodges–Lehmann shift.", LED),
    column("ranks_low", OF_ROW, "Lower end of the shift's confidence interval.", LED),
    column("ranks_high", OF_ROW, "Upper end of the shift's confidence interval.", LED),
    column("ranks_reason", TEXT, "What of the ranks could not be computed, and why.", LED),
    column("hedges_g", BARE, "Hedges' g, second less first.", LED),
    column("hedges_low", BARE, "Lower end of its confidence interval.", LED),
    column("hedges_high", BARE, "Upper end of its confidence interval.", LED),
    column("cliff_delta", BARE, "Cliff's δ, −1 to 1.", LED),
    column("cliff_low", BARE, "Lower end of its confidence interval.", LED),
    column("cliff_high", BARE, "Upper end of its confidence interval.", LED),
    column("permutations", COUNT, "Rearrangements of crowns that were tried.", _PRECISION),
    column("exact", TRUTH, "Whether these are all there are.", _PRECISION),
    column("equivalence_limit", OF_ROW, "The plan's equivalence limit.", CONTRASTS),
    column(
        "equivalence_low",
        OF_ROW,
        "Lower end of the interval that is held against the limit.",
        CONTRASTS,
    ),
    column("equivalence_high", OF_ROW, "Upper end of that interval.", CONTRASTS),
    column("equivalence_level", PROBABILITY, "Level of that interval: 1 − 2α.", CONTRASTS),
    column(
        "equivalence_p_value",
        PROBABILITY,
        "The larger p of the two one-sided tests, as it is.",
        CONTRASTS,
    ),
    column("equivalence_p_holm", PROBABILITY, "The same p after correction.", CONTRASTS),
    column("equivalent", TRUTH, "Whether it is at or below α.", CONTRASTS),
    column("equivalence_reason", TEXT, "Why equivalence was not tested.", CONTRASTS),
    column("equivalence_lead", TEXT, "Whether means or ranks were tested.", CONTRASTS),
    column(
        "scanner_limit",
        OF_ROW,
        "Smallest difference of such means that the scanner can show.",
        CONTRASTS,
    ),
    column("below_scanner", TRUTH, "Whether the difference is smaller than that.", CONTRASTS),
    column("anova_f", BARE, "F of Welch's analysis of variance.", OVERALL),
    column("anova_df1", BARE, "Its degrees of freedom between groups.", OVERALL),
    column("anova_df2", BARE, "Its degrees of freedom within groups.", OVERALL),
    column("anova_p", PROBABILITY, "Its p.", OVERALL),
    column("kruskal_h", BARE, "H of the Kruskal–Wallis test.", OVERALL),
    column("kruskal_df", BARE, "Its degrees of freedom.", OVERALL),
    column("kruskal_p", PROBABILITY, "Its p.", OVERALL),
    column("games_howell_p", PROBABILITY, "p by Games and Howell, over all pairs.", POST_HOC),
    column("dunn_z", BARE, "Dunn's z.", POST_HOC),
    column("dunn_p", PROBABILITY, "Its p, as it is.", POST_HOC),
    column("dunn_p_holm", PROBABILITY, "Its p after Holm's correction.", POST_HOC),
    column("brown_forsythe_f", BARE, "F of the Brown–Forsythe test of spread.", ASSUMED),
    column("brown_forsythe_p", PROBABILITY, "Its p: that groups spread alike.", ASSUMED),
    column("shapiro_w", BARE, "W of the Shapiro–Wilk test.", ASSUMED),
    column(
        "shapiro_p",
        PROBABILITY,
        "Its p: that the group's values are normally distributed.",
        ASSUMED,
        "study/tolerances",
    ),
    column("shapiro_reason", TEXT, "Why there is no Shapiro–Wilk test.", ASSUMED),
)

_LIMITS: tuple[Column, ...] = (
    column(
        "n_crowns",
        COUNT,
        "Crowns that the row's numbers come from.",
        *("study/parts", "study/mark_groups", "study/scanner", "study/causes"),
        *("study/examiner_agreement", "study/examiner_pairs", "study/examiner_groups"),
        "study/examiner_correlations",
        DESCRIBED,
        ASSUMED,
    ),
    column(
        "n_judged",
        COUNT,
        "Crowns that were judged within or outside.",
        LIMITED,
        "study/cause_predictions",
    ),
    column("n_within", COUNT, "Those of them that are within.", LIMITED, "study/cause_predictions"),
    column("n_undecided", COUNT, "Crowns that could not be judged.", LIMITED),
    column("within_share", SHARE, "Share of those judged that are within.", LIMITED),
    column("within_share_low", SHARE, "Lower end of its Wilson interval.", LIMITED),
    column("within_share_high", SHARE, "Upper end of its Wilson interval.", LIMITED),
    column(
        "next_crown_um",
        UM,
        "Upper tolerance limit: content_share of all crowns made this way lie below it, with "
        "this confidence, if they are normally distributed.",
        "study/tolerances",
    ),
    column("content_share", SHARE, "Share of all crowns in that.", "study/tolerances"),
    column("confidence", PROBABILITY, "Confidence of that.", "study/tolerances"),
    column("odd_score", BARE, "Robust distance of a crown from its group.", "study/odd_crowns"),
    column("odd_limit", BARE, "From where on a crown is odd.", "study/odd_crowns"),
    column(
        "tested_share",
        SHARE,
        "Share of the area where a test was possible.",
        "study/difference_shares",
    ),
    column(
        "differing_share",
        SHARE,
        "Share of the tested surface that differs (q ≤ α, Benjamini–Hochberg).",
        "study/difference_shares",
    ),
    column(
        "differing_mean_um",
        UM,
        "Mean difference of the surface that differs, second less first.",
        "study/difference_shares",
    ),
    column("n_not_measured", COUNT, "Crowns without a measure of the mark.", "study/mark_groups"),
    column("n_stubs", COUNT, "Crowns where something stands out.", "study/mark_groups"),
    column("n_gouges", COUNT, "Crowns where material is missing.", "study/mark_groups"),
    column("n_clean", COUNT, "Crowns where neither is so.", "study/mark_groups"),
    column("height_mean_um", UM, "Mean height of the mark.", "study/mark_groups"),
    column("height_sd_um", UM, "Its standard deviation (n − 1).", "study/mark_groups"),
    column("height_low_um", UM, "Lowest height.", "study/mark_groups"),
    column("height_high_um", UM, "Highest height.", "study/mark_groups"),
    column("area_mean_mm2", MM2, "Mean surface that stands out.", "study/mark_groups"),
    column("volume_mean_mm3", MM3, "Mean material; negative: missing.", "study/mark_groups"),
    column("crowns_per_group", COUNT, "Crowns in each group.", "plan/power"),
    column("power", PROBABILITY, "Power with so many crowns.", "plan/power"),
)

_SCORES: tuple[Column, ...] = (
    column("score", BARE, "The score: 0 is best.", "study/examiners"),
    column("median_score", BARE, "Median of the crown's scores.", "study/examiners"),
    column("measured_value", OF_ROW, "What was measured of the crown.", "study/examiners"),
    column(
        "agreement_share",
        SHARE,
        "Share of crowns that all gave the same score.",
        "study/examiner_agreement",
        "study/examiner_pairs",
    ),
    *(
        column(f"{name}{end}", BARE, f"{words}{what}.", f"study/{table}")
        for name, what, table in (
            ("fleiss_kappa", "Fleiss' κ", "examiner_agreement"),
            ("kappa", "Cohen's κ", "examiner_pairs"),
            ("weighted_kappa", "weighted κ", "examiner_pairs"),
        )
        for end, words in (
            ("", "Agreement beyond chance: "),
            ("_low", "Lower end of the confidence interval of "),
            ("_high", "Upper end of the confidence interval of "),
        )
    ),
    column("score_counts", TEXT, "Crowns by score, best first.", "study/examiner_groups"),
    column("n_acceptable", COUNT, "Crowns with an acceptable score.", "study/examiner_groups"),
    column("acceptable_share", SHARE, "Share of these.", "study/examiner_groups"),
    column("acceptable_share_low", SHARE, "Lower end of its interval.", "study/examiner_groups"),
    column("acceptable_share_high", SHARE, "Upper end of its interval.", "study/examiner_groups"),
    column("fisher_p", PROBABILITY, "p of Fisher's exact test.", "study/examiner_comparisons"),
    column("fisher_p_holm", PROBABILITY, "That p corrected.", "study/examiner_comparisons"),
    column(
        "rank_statistic",
        BARE,
        "Mann–Whitney U of two groups, Kruskal–Wallis H of more.",
        "study/examiner_comparisons",
    ),
    column("rank_p", PROBABILITY, "p of that test.", "study/examiner_comparisons"),
    column("rank_method", TEXT, "How that p was computed.", "study/examiner_comparisons"),
    column("rank_p_holm", PROBABILITY, "That p corrected.", "study/examiner_comparisons"),
    column("rho", BARE, "Spearman's ρ of score and measure.", "study/examiner_correlations"),
    column("rho_low", BARE, "Lower end of its interval.", "study/examiner_correlations"),
    column("rho_high", BARE, "Upper end of its interval.", "study/examiner_correlations"),
    column("rho_p", PROBABILITY, "Its p.", "study/examiner_correlations"),
)

_SCANNER: tuple[Column, ...] = (
    column("n_operators", COUNT, "Operators.", "study/scanner"),
    column("n_trials", COUNT, "Scans per crown and operator.", "study/scanner"),
    column("repeatability", OF_ROW, "Standard deviation of one operator's scans.", "study/scanner"),
    column("reproducibility", OF_ROW, "Standard deviation between operators.", "study/scanner"),
    column("gauge", OF_ROW, "Both together.", "study/scanner"),
    column("crown_sd", OF_ROW, "Standard deviation between crowns.", "study/scanner"),
    column("study_share", SHARE, "gauge over the whole standard deviation.", "study/scanner"),
    column("n_categories", COUNT, "Kinds of crowns it can tell apart.", "study/scanner"),
    column(
        "smallest_difference",
        OF_ROW,
        "Smallest difference of two single scans that the scanner can show.",
        "study/scanner",
    ),
)

TESTED_COLUMNS = (*_DESCRIPTIONS, *_COMPARISONS, *_LIMITS, *_SCORES, *_SCANNER)
