"""Columns that say what a row is about, and those that hold words."""

from __future__ import annotations

from .column import COUNT, TEXT, TRUTH, Column, column
from .declared import (
    ALL_CONTRASTS,
    ASSUMED,
    CAUSES,
    CONTRASTS,
    DESCRIBED,
    EXAMINED,
    FOUND,
    LED,
    LIMITED,
    MARKS,
    OVERALL,
    POST_HOC,
    PRECISION_DESCRIBED,
    README,
    TALL,
)

_CROWNS = (
    *("study/trueness", "study/dispersion", "study/repeats", "study/verdicts", "study/marks"),
    *("study/margin", "study/fit", "study/marginal_gap", "study/not_fitted", "study/left_out"),
    *("study/odd_crowns", "study/examiners", "study/causes", "study/cause_sizes"),
)
_GROUPS = (
    *("study/trueness", "study/precision", "study/dispersion", "study/parts", "study/verdicts"),
    *("study/marks", "study/margin", "study/fit", "study/marginal_gap", "study/not_fitted"),
    *("study/left_out", "study/odd_crowns", "study/mark_groups", *DESCRIBED, PRECISION_DESCRIBED),
    *(*LIMITED, *ASSUMED, "study/examiners", "study/examiner_groups"),
    *("study/causes", "study/cause_sizes", "study/cause_predictions"),
)
_MEASURED = (
    *(*TALL, *DESCRIBED, PRECISION_DESCRIBED, *ASSUMED, *CONTRASTS, *OVERALL, *POST_HOC),
    *("study/fit", "study/scanner", "study/odd_effects", "study/fit_limits", "fit/fit"),
    *("study/examiners", "study/examiner_correlations"),
)
_AREAS = (
    *(*_MEASURED, "check/measures", "fit/seat_spots", "fit/walls", "study/verdicts"),
    *("study/parts", "study/tolerances", "study/difference_shares", "study/cause_predictions"),
)
_UNITS = (
    *(*TALL, *DESCRIBED, PRECISION_DESCRIBED, *CONTRASTS, *POST_HOC, *CAUSES, *README),
    *("study/marks", "study/margin", "study/fit", "study/scanner", "study/examiners", "fit/fit"),
    *("study/cause_sizes", "study/cause_comparisons"),
)
_SENTENCES = (
    *(*ALL_CONTRASTS, *OVERALL, *LIMITED, *CAUSES, "study/verdict", "study/odd_effects"),
    *("study/difference_shares", "study/examiner_agreement", "study/examiner_comparisons"),
    *("study/examiner_correlations", "fit/proximal_contacts"),
)
_REASONS = (
    *(*ALL_CONTRASTS, *OVERALL, *ASSUMED, *DESCRIBED, PRECISION_DESCRIBED, "study/tolerances"),
    *("study/scanner", "study/not_fitted", "study/left_out", "study/examiner_agreement"),
    *("study/examiner_pairs", "study/examiner_comparisons", "study/examiner_correlations"),
)

ROW_COLUMNS: tuple[Column, ...] = (
    column(
        "crown",
        TEXT,
        "The crown, by its scan's name, with its group's before it where two are called alike. In "
        "causes, mean stands for the group's mean crown.",
        _CROWNS,
    ),
    column("group", TEXT, "The group, by its short name in the study file.", _GROUPS),
    column(
        "groups",
        TEXT,
        "The groups that are compared at once, with semicolons between them.",
        OVERALL,
        "study/examiner_comparisons",
    ),
    column(
        "first",
        TEXT,
        "The first of two groups; differences are the second less the first.",
        ALL_CONTRASTS,
        POST_HOC,
        "study/odd_effects",
        "study/difference_shares",
        "plan/power",
    ),
    column(
        "second",
        TEXT,
        "The second of two groups; differences are the second less the first.",
        ALL_CONTRASTS,
        POST_HOC,
        "study/odd_effects",
        "study/difference_shares",
        "plan/power",
    ),
    column(
        "first_crown",
        TEXT,
        "The first of two crowns; a positive deviation is its material outside the second.",
        "study/precision",
    ),
    column("second_crown", TEXT, "The second of two crowns.", "study/precision"),
    column("first_examiner", TEXT, "The first of two examiners.", "study/examiner_pairs"),
    column("second_examiner", TEXT, "The second of two examiners.", "study/examiner_pairs"),
    column(
        "crowns_included",
        TEXT,
        "all: with every crown, the study's result; without_odd: once more without odd crowns.",
        FOUND,
    ),
    column(
        "area",
        TEXT,
        "The area of the crown that the row is about; in the tables of a fit also a sector of the "
        "margin, a direction or another tooth.",
        _AREAS,
    ),
    column("areas", TEXT, "The areas a patch lies in, the largest share first.", "check/patches"),
    column(
        "measure",
        TEXT,
        "What was measured, by its name, which ends with its unit.",
        _MEASURED,
        "study/marks",
        "study/margin",
    ),
    column("unit", TEXT, "The unit of the numbers that the row is about; empty for none.", _UNITS),
    column(
        "direction",
        TEXT,
        "design_to_scan: from points of the design to the scan; scan_to_design: the reverse.",
        "check/measures",
        "study/trueness",
    ),
    column(
        "frame",
        TEXT,
        "superimposed: one crown on the other; design: both as they lie on the design.",
        "study/precision",
    ),
    column("file", TEXT, "The scan's file.", "study/left_out", "study/repeats"),
    column("die", TEXT, "The die's file.", "study/fit"),
    column("operator", TEXT, "Who scanned.", "study/repeats"),
    column("trial", TEXT, "Which of an operator's scans of the crown.", "study/repeats"),
    column("mark", TEXT, "The support mark, by its name.", MARKS, "study/mark_groups"),
    column("mark_kind", TEXT, "What left the mark: support or sprue.", MARKS, "study/mark_groups"),
    column("tooth", TEXT, "The other tooth's file.", "fit/proximal_contacts"),
    column("contact_kind", TEXT, "proximal or occlusal.", "fit/proximal_contacts"),
    column("side", TEXT, "On which side of the crown.", "fit/proximal_contacts"),
    column("strength", TEXT, "none, open, light, firm or tight.", "fit/proximal_contacts"),
    column("rank", COUNT, "1 for the first of the rows.", "check/patches", "fit/seat_spots"),
    column("patch_kind", TEXT, "excess or missing material.", "check/patches"),
    column(
        "seen_from",
        TEXT,
        "Where the patch was found: from design, scan or both.",
        "check/patches",
    ),
    column(
        "unmatched",
        TRUTH,
        "Whether the patch is scan surface without a counterpart on the design.",
        "check/patches",
    ),
    column(
        "counted",
        TRUTH,
        "Whether enough of the design there has its counterpart and the scan shows its edge.",
        "check/margin_profile",
    ),
    column("measured", TRUTH, "Whether the gap was measured at the place.", "fit/marginal_gap"),
    column("sector", TEXT, "The eighth of the margin that the place is in.", "fit/marginal_gap"),
    column(
        "part",
        TEXT,
        "The part of the fit: seat, triple_scan, gap, margin, walls or contacts; empty for all.",
        "fit/fit",
        "study/fit_limits",
    ),
    column("row", TEXT, "area: a whole area; place: one of the thinnest places.", "fit/walls"),
    column("where", TEXT, "The place in words.", "fit/seat_spots", "fit/walls"),
    column("text", TEXT, "What was found, where that is a word and no number.", "fit/fit"),
    column("title", TEXT, "What is judged, in a few words.", "study/fit_limits"),
    column("limit_words", TEXT, "The limit with its bound and unit.", "study/fit_limits"),
    column(
        "verdict",
        TEXT,
        "On what the row is about, against its limit: within, outside, undecided or why there is "
        "none; on a support mark stub, gouge, clean or not_measured.",
        *("check/measures", "study/verdicts", "fit/fit"),
        MARKS,
    ),
    column(
        "verdict_reason",
        TEXT,
        "Why the verdict is what it is, with the numbers.",
        "study/verdicts",
        "check/marks",
    ),
    column("fit_verdict", TEXT, "On the crown's fit, over all its limits.", "study/fit"),
    column(
        "stop",
        TEXT,
        "rests: the crown came to rest on its die; cannot_go_on: it is held up; empty if not "
        "seated.",
        "study/fit",
    ),
    column(
        "by_triple_scan",
        TRUTH,
        "Whether gap and margin are those of a scan of the seated crown.",
        "study/fit",
    ),
    column(
        "thick_enough",
        TRUTH,
        "Whether the wall is at least as thick as required; empty where nothing is.",
        "fit/walls",
    ),
    column("topic", TEXT, "What a sentence of the answer is about.", "study/verdict"),
    column("status", TEXT, "good, bad, open (cannot be decided) or note.", "study/verdict"),
    column("sentence", TEXT, "The row's result in words, with its numbers.", _SENTENCES),
    column(
        "reason",
        TEXT,
        "Why what the row is about, or a number of it, could not be had; empty if it could.",
        _REASONS,
    ),
    column(
        "remedy", TEXT, "What can be done about the reason.", "study/not_fitted", "study/left_out"
    ),
    column("odd", TRUTH, "Whether the crown is unlike its group.", "study/odd_crowns"),
    column(
        "odd_reason",
        TEXT,
        "What is unusual about the crown, or why that could not be judged.",
        "study/odd_crowns",
    ),
    column("aspect", TEXT, "What is compared: trueness, precision or fit.", "study/odd_effects"),
    column(
        "outcome",
        TEXT,
        "different, equivalent, different_within_limit (both), undecided (neither) or "
        "not_computed.",
        ALL_CONTRASTS,
    ),
    column("outcome_all", TEXT, "The outcome with all crowns.", "study/odd_effects"),
    column("outcome_without_odd", TEXT, "The same without odd crowns.", "study/odd_effects"),
    column(
        "primary",
        TRUTH,
        "Whether this is the comparison that the study was made for.",
        *("study/comparisons", "study/fit_comparisons", "study/odd_effects"),
        OVERALL,
    ),
    column(
        "lead",
        TEXT,
        "The test that decides, by the plan: welch (means) or ranks.",
        LED,
        OVERALL,
    ),
    column("tolerance_source", TEXT, "Where the tolerance is from.", "study/tolerances"),
    column("outside_crowns", TEXT, "The crowns outside the tolerance.", "study/tolerances"),
    column("meets", TRUTH, "Whether the group is shown to meet the tolerance.", "study/tolerances"),
    column(
        "rests_on_model",
        TRUTH,
        "Whether that is shown only if values are normally distributed.",
        "study/tolerances",
    ),
    column(
        "clamped",
        TEXT,
        "Variance components that came out negative and were set to zero.",
        "study/scanner",
    ),
    column("item", TEXT, "What examiners scored.", EXAMINED),
    column("examiner", TEXT, "Who scored.", "study/examiners"),
    column("examiners", TEXT, "All who scored the item.", "study/examiner_agreement"),
    column("kappa_words", TEXT, "Weighted kappa in words.", "study/examiner_pairs"),
    column(
        "assumed_sd",
        TEXT,
        "Whose standard deviation is assumed: the pilot's, or its upper limit.",
        "plan/power",
    ),
    column("table", TEXT, "The table, by its file's name without the ending.", README),
    column("column", TEXT, "A column of that table.", README),
    column("meaning", TEXT, "What the column's numbers or words mean.", README),
)
