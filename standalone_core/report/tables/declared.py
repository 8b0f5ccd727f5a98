"""Every table that is written, by who writes it and its file's name, and what its rows are."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

TABLES: Mapping[str, str] = MappingProxyType(
    {
        "check/measures": "An area in one direction.",
        "check/patches": "A patch beyond the tolerance, worst first.",
        "check/causes": "A cause, stated ones first.",
        "check/marks": "A support mark.",
        "check/margin_profile": "A place along the margin line.",
        "tray/tray": "An area of a crown; one row for a crown that could not be checked.",
        "fit/fit": "A measure of the fit, of one part of it.",
        "fit/seat_spots": "A place that the crown rests on, the largest share of the load first.",
        "fit/marginal_gap": "A place around the margin.",
        "fit/proximal_contacts": "A contact with another tooth, or the narrowest gap.",
        "fit/walls": "An area of the intaglio, or one of the thinnest places.",
        "plan/power": "A number of crowns per group, of two groups.",
        "study/trueness": "A measure of a crown's area in one direction.",
        "study/pairs": "A measure of an area of two crowns of one group, laid on each other.",
        "study/crown_facts": "A fact of a crown, where the study lists its crowns.",
        "study/parts": "An area of a group's crowns: what they share, and what they do not.",
        "study/verdicts": "An area of a crown.",
        "study/marks": "A measure of a support mark of a crown.",
        "study/margin": "A measure of a crown's margin profile.",
        "study/fit": "A measure of a crown's fit on its die.",
        "study/marginal_gap": "A place around the margin of a crown on its die.",
        "study/not_fitted": "A crown whose fit could not be judged.",
        "study/left_out": "A scan that could not be used.",
        "study/verdict": "A sentence of the study's answer, most important first.",
        "study/odd_crowns": "A crown, and how far it is from its group.",
        "study/odd_effects": "A conclusion that is another one without odd crowns.",
        "study/difference_shares": "An area of two groups, compared point by point.",
        "study/scanner": "A measure of an area, by repeated scans.",
        "study/mark_groups": "A support mark on the crowns of a group.",
        "study/repeats": "A measure of an area of a repeated scan.",
        "study/fit_limits": "A group against a limit of fit, or against all of them.",
        "study/descriptions": "A measure of an area of a group's crowns.",
        "study/precision_crowns": "A crown's distance from its group's middle, by a measure.",
        "study/precision_descriptions": "The crowns' distances from their group's middle.",
        "study/pair_descriptions": "A measure of an area of a group's pairs of crowns.",
        "study/margin_profile": "A place along the design's margin line, of a group's crowns.",
        "study/earlier_study": "A measure of an area of a group, in an earlier study and now.",
        "study/earlier_tolerances": "An area of a group, within tolerance earlier and now.",
        "study/tolerances": "An area of a group against its tolerance.",
        "study/assumptions": "A group in the tests of what a comparison assumes.",
        "study/comparisons": "Two groups by a measure of an area; the primary comparison first.",
        "study/precision_comparisons": "Two groups' precision by a measure of an area.",
        "study/overall": "All groups at once by a measure of an area.",
        "study/post_hoc": "Two groups after the test of all groups at once.",
        "study/fit_groups": "A measure of fit of a group's crowns.",
        "study/fit_assumptions": "A group in the tests of what a comparison of fit assumes.",
        "study/fit_comparisons": "Two groups by a measure of fit.",
        "study/fit_overall": "All groups at once by a measure of fit.",
        "study/fit_post_hoc": "Two groups after the test of all groups' fit at once.",
        "study/examiners": "An examiner's score of a crown, beside what was measured.",
        "study/examiner_agreement": "A number of how far examiners agree about an item.",
        "study/examiner_groups": "A group by an item.",
        "study/examiner_comparisons": "Two or more groups by an item.",
        "study/examiner_correlations": "An item against a measure of an area.",
        "study/causes": "A cause, of a group's mean or of one crown.",
        "study/cause_sizes": "The size of a cause in a crown, in its group's model.",
        "study/cause_predictions": "An area of a group's crowns as it would be without a cause.",
        "study/cause_comparisons": "Two groups by a cause.",
        "check/README": "A column of the check's tables.",
        "tray/README": "A column of the tray's table.",
        "fit/README": "A column of the fit's tables.",
        "study/README": "A column of the study's tables.",
    }
)
"""A table's key, ``owner/name``, and what one of its rows is."""

README = ("check/README", "tray/README", "fit/README", "study/README")
COMPARED = ("study/comparisons", "study/fit_comparisons")
CONTRASTS = (*COMPARED, "study/precision_comparisons")
ALL_CONTRASTS = (*CONTRASTS, "study/cause_comparisons")
DIRECTED = (
    *("study/trueness", "study/verdicts", "study/descriptions", "study/assumptions"),
    *("study/comparisons", "study/overall", "study/post_hoc", "study/scanner", "study/repeats"),
)
"""Of deviations from the design, in one direction."""
LED = (*COMPARED, "study/cause_comparisons")
"""Comparisons by the test that leads."""
OVERALL = ("study/overall", "study/fit_overall")
POST_HOC = ("study/post_hoc", "study/fit_post_hoc")
ASSUMED = ("study/assumptions", "study/fit_assumptions")
DESCRIBED = ("study/descriptions", "study/fit_groups")
SUMMED_UP = (*DESCRIBED, "study/precision_descriptions")
PAIRS_DESCRIBED = "study/pair_descriptions"
FOUND = (
    *(*SUMMED_UP, PAIRS_DESCRIBED, "study/tolerances"),
    *(*ASSUMED, *CONTRASTS, *OVERALL, *POST_HOC),
)
"""With all crowns, and once more without the odd ones."""
TALL = ("study/trueness", "study/pairs", "study/repeats")
"""One measure of an area a row."""
MARKS = ("check/marks", "study/marks")
CAUSES = ("check/causes", "study/causes")
EXAMINED = (
    *("study/examiners", "study/examiner_agreement", "study/examiner_groups"),
    *("study/examiner_comparisons", "study/examiner_correlations"),
)
LIMITED = ("study/tolerances", "study/fit_limits")
MARGINAL = ("fit/marginal_gap", "study/marginal_gap")
