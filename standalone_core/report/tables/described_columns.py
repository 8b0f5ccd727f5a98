"""Columns of descriptions: means, shares within limits, scores, repeated scans."""

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
    UM,
    Column,
    column,
)
from .declared import (
    ASSUMED,
    LIMITED,
    PAIRS_DESCRIBED,
    SUMMED_UP,
)

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
_EARLIER = ("study/earlier_study", "study/earlier_tolerances")

_DESCRIPTIONS: tuple[Column, ...] = (
    column("n_missing", COUNT, "Crowns without a value.", SUMMED_UP),
    *(
        column(
            name,
            OF_ROW,
            f"{words} of the crowns' values; in precision of their distances from the middle.",
            SUMMED_UP,
        )
        for name, words in _SUMMARY.items()
    ),
    column("n_pairs", COUNT, "Pairs of the group's crowns.", PAIRS_DESCRIBED),
    column("n_pairs_missing", COUNT, "Pairs without a value.", PAIRS_DESCRIBED),
    *(
        column(f"pairs_{name}", OF_ROW, f"{_SUMMARY[name]} of the pairs' values.", PAIRS_DESCRIBED)
        for name in _OF_PAIRS
    ),
    column("n_counted", COUNT, "Crowns that count near the place.", "study/margin_profile"),
)

_TWO_STUDIES: tuple[Column, ...] = tuple(
    one
    for when, of in (("earlier", "of the earlier study"), ("now", "of this study"))
    for one in (
        column(f"n_{when}", COUNT, f"Crowns {of}.", _EARLIER[0]),
        column(f"mean_{when}", OF_ROW, f"Mean of the crowns {of}.", _EARLIER[0]),
        column(
            f"sd_{when}", OF_ROW, f"Standard deviation (n − 1) of the crowns {of}.", _EARLIER[0]
        ),
        column(f"tolerance_{when}_um", UM, f"The tolerance {of}.", _EARLIER[1]),
        *(
            column(f"n_{name}_{when}", COUNT, f"Crowns {of} that were {name}.", _EARLIER[1])
            for name in ("within", "outside", "undecided")
        ),
    )
)

_LIMITS: tuple[Column, ...] = (
    column(
        "n_crowns",
        COUNT,
        "Crowns that the row's numbers come from.",
        *("study/parts", "study/mark_groups", "study/scanner", "study/causes"),
        *("study/examiner_agreement", "study/examiner_groups", "study/margin_profile"),
        "study/examiner_correlations",
        SUMMED_UP,
        ASSUMED,
    ),
    column(
        "n_judged",
        COUNT,
        "Crowns that were judged within or outside.",
        LIMITED,
        "study/cause_predictions",
    ),
    column(
        "n_within", COUNT, "Crowns that were judged within.", LIMITED, "study/cause_predictions"
    ),
    column("n_undecided", COUNT, "Crowns that could not be judged.", LIMITED),
    column("within_share", SHARE, "Share of those judged that are within.", LIMITED),
    column(
        "within_share_low", SHARE, "Lower end of the Wilson interval of the share within.", LIMITED
    ),
    column(
        "within_share_high", SHARE, "Upper end of the Wilson interval of the share within.", LIMITED
    ),
    column(
        "next_crown_um",
        UM,
        "Upper tolerance limit: content_share of all crowns made this way lie below it, with "
        "this confidence, if they are normally distributed.",
        "study/tolerances",
    ),
    column(
        "content_share",
        SHARE,
        "Share of all crowns made this way that the upper tolerance limit holds for.",
        "study/tolerances",
    ),
    column(
        "confidence", PROBABILITY, "Confidence of the upper tolerance limit.", "study/tolerances"
    ),
    column("odd_score", BARE, "Robust distance of a crown from its group.", "study/odd_crowns"),
    column(
        "odd_limit",
        BARE,
        "Distance from the group from which on a crown is odd.",
        "study/odd_crowns",
    ),
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
    column(
        "n_not_measured", COUNT, "Crowns where the mark could not be measured.", "study/mark_groups"
    ),
    column("n_stubs", COUNT, "Crowns where the mark stands out.", "study/mark_groups"),
    column("n_gouges", COUNT, "Crowns where material is missing at the mark.", "study/mark_groups"),
    column(
        "n_clean",
        COUNT,
        "Crowns where the mark neither stands out nor lacks material.",
        "study/mark_groups",
    ),
    column(
        "height_mean_um",
        UM,
        "Mean height of the mark, above its surroundings.",
        "study/mark_groups",
    ),
    column(
        "height_sd_um", UM, "Standard deviation (n − 1) of the mark's height.", "study/mark_groups"
    ),
    column(
        "height_low_um", UM, "Lowest height of the mark on the group's crowns.", "study/mark_groups"
    ),
    column(
        "height_high_um",
        UM,
        "Highest height of the mark on the group's crowns.",
        "study/mark_groups",
    ),
    column("area_mean_mm2", MM2, "Mean surface of the mark that stands out.", "study/mark_groups"),
    column(
        "volume_mean_mm3", MM3, "Mean material of the mark; negative: missing.", "study/mark_groups"
    ),
    column("crowns_per_group", COUNT, "Crowns in each group.", "plan/power"),
    column("power", PROBABILITY, "Power with so many crowns.", "plan/power"),
)

_SCORES: tuple[Column, ...] = (
    column("score", BARE, "The score: 0 is best.", "study/examiners"),
    column("median_score", BARE, "Median of the crown's scores.", "study/examiners"),
    column("measured_value", OF_ROW, "What was measured of the crown.", "study/examiners"),
    column("n_scores", COUNT, "Scores that count.", "study/examiner_agreement"),
    column("agreement", BARE, "How far they agree, by the statistic.", "study/examiner_agreement"),
    column(
        "agreement_low",
        BARE,
        "Lower end of the confidence interval of the agreement.",
        "study/examiner_agreement",
    ),
    column(
        "agreement_high",
        BARE,
        "Upper end of the confidence interval of the agreement.",
        "study/examiner_agreement",
    ),
    column(
        "agreement_confidence",
        PROBABILITY,
        "Confidence of the interval of the agreement.",
        "study/examiner_agreement",
    ),
    column("score_counts", TEXT, "Crowns by score, best first.", "study/examiner_groups"),
    column("n_acceptable", COUNT, "Crowns with an acceptable score.", "study/examiner_groups"),
    column(
        "acceptable_share",
        SHARE,
        "Share of crowns with an acceptable score.",
        "study/examiner_groups",
    ),
    column(
        "acceptable_share_low",
        SHARE,
        "Lower end of the Wilson interval of the acceptable share.",
        "study/examiner_groups",
    ),
    column(
        "acceptable_share_high",
        SHARE,
        "Upper end of the Wilson interval of the acceptable share.",
        "study/examiner_groups",
    ),
    column(
        "fisher_p",
        PROBABILITY,
        "p of Fisher's exact test of acceptable scores, before correction.",
        "study/examiner_comparisons",
    ),
    column(
        "rank_statistic",
        BARE,
        "Mann–Whitney U of two groups, Kruskal–Wallis H of more.",
        "study/examiner_comparisons",
    ),
    column(
        "rank_p",
        PROBABILITY,
        "p of the test of scores by ranks, before correction.",
        "study/examiner_comparisons",
    ),
    column(
        "rank_method",
        TEXT,
        "How the p of the test of scores by ranks was computed.",
        "study/examiner_comparisons",
    ),
    column(
        "rank_p_adjusted",
        PROBABILITY,
        "p of the test of two groups' scores by ranks, after Holm's correction; empty where "
        "nothing is claimed.",
        "study/examiner_comparisons",
    ),
    column("rho", BARE, "Spearman's ρ of score and measure.", "study/examiner_correlations"),
    column(
        "rho_low",
        BARE,
        "Lower end of the confidence interval of Spearman's ρ.",
        "study/examiner_correlations",
    ),
    column(
        "rho_high",
        BARE,
        "Upper end of the confidence interval of Spearman's ρ.",
        "study/examiner_correlations",
    ),
    column("rho_p", PROBABILITY, "p of Spearman's ρ.", "study/examiner_correlations"),
)

_SCANNER: tuple[Column, ...] = (
    column("n_operators", COUNT, "Operators who scanned.", "study/scanner"),
    column("n_trials", COUNT, "Scans per crown and operator.", "study/scanner"),
    column("repeatability", OF_ROW, "Standard deviation of one operator's scans.", "study/scanner"),
    column("reproducibility", OF_ROW, "Standard deviation between operators.", "study/scanner"),
    column(
        "gauge",
        OF_ROW,
        "Standard deviation of the scanner: repeatability and reproducibility together.",
        "study/scanner",
    ),
    column("crown_sd", OF_ROW, "Standard deviation between crowns.", "study/scanner"),
    column(
        "distance_repeatability",
        OF_ROW,
        "Standard deviation, from scan to scan, of a crown's distance from its group's others.",
        "study/scanner",
    ),
    column(
        "scanner_share_of_sd",
        SHARE,
        "Standard deviation of the scanner over that of all scans.",
        "study/scanner",
    ),
    column(
        "scanner_share_of_variance",
        SHARE,
        "Variance of the scanner over that of all scans.",
        "study/scanner",
    ),
    column(
        "distinct_categories",
        COUNT,
        "Kinds of such crowns that a single scan can tell apart, at least 1; empty if not known.",
        "study/scanner",
    ),
    column("icc", BARE, "Intraclass correlation of single scans.", "study/scanner"),
    column(
        "icc_low",
        BARE,
        "Lower end of the confidence interval of the intraclass correlation.",
        "study/scanner",
    ),
    column(
        "icc_high",
        BARE,
        "Upper end of the confidence interval of the intraclass correlation.",
        "study/scanner",
    ),
    column(
        "smallest_difference",
        OF_ROW,
        "Smallest difference of two single scans that the scanner can show.",
        "study/scanner",
    ),
)

DESCRIBED_COLUMNS = (*_DESCRIPTIONS, *_TWO_STUDIES, *_LIMITS, *_SCORES, *_SCANNER)
