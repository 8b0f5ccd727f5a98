"""What must be known to read a study's numbers, and what could not be computed and why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ...deviation.direction import SCAN_TO_DESIGN, covered_in
from ...deviation.verdict import matched_coverage
from ...shares import limit_words, short_share
from ...words.names import MEASURE_WORDS, NOT_DECIDABLE, area_words
from ...words.text import count_words, listed
from ..fit_plan import FIT_MEASURES
from ..measuring.results import StudyRun
from .cohort import Cohort
from .fit_notes import not_fitted
from .fit_words import fit_words
from .results.analysis import Findings
from .results.comparisons import Comparison, OverallRow, PrecisionComparison
from .results.groups import TruenessRow
from .sentences import LEAD_WORDS, OVERALL_WORDS
from .support_marks import DESCRIBED_ONLY

PRECISION_TERM = (
    "ISO 5725-1 defines precision for the same item measured again. The crowns of a group are "
    "different items: what is called precision here also holds the spread of production, beside "
    "that of scanning."
)
PRECISION_DISTANCE = (
    "Precision is one number per crown: its distance from its group's middle, the point that lies "
    "nearest to all its crowns together. It follows from the pairs of crowns laid on each other, "
    "is corrected for the middle's being drawn from the same crowns (√(n/(n − 1))), and has one "
    "meaning in table, figure and test. Two crowns are about √2 times as far from each other as "
    "one is from the middle: studies that report pairs give numbers so much larger. Intervals of "
    "mean distances are approximate, for all crowns of a group share its middle."
)
PAIRS_DEPEND = (
    "The pairs of a group share crowns, so they are not independent: they are described, and "
    "groups are compared by relabelling whole crowns, never pairs or points."
)
ASSUMPTIONS_INFORM = (
    "Tests of normality and of equal spread are information. They did not choose the leading "
    "test, which the plan fixed."
)
RANKS_SHIFT = (
    "By ranks, a difference is the shift of one group against the other (Hodges and Lehmann), and "
    "equivalence is tested by two one-sided rank tests of that shift, which take it that the "
    "groups have the same form; the precision of groups is compared by means of distances."
)
MEANS_DECIDE = (
    "Differences and equivalence are those of means; tests of ranks and of trimmed means stand "
    "beside them and decide nothing."
)
TRIMMED_DECIDE = (
    "Differences and equivalence are those of trimmed means (Yuen): a fifth of a group's crowns, "
    "rounded down, is cut off at either end, so up to four crowns nothing is; the precision of "
    "groups is compared by means of distances."
)
_LEADS = {"welch": MEANS_DECIDE, "ranks": RANKS_SHIFT, "trimmed": TRIMMED_DECIDE}
ABSENCE = (
    "An undecided comparison does not show that groups are alike: only a test of equivalence "
    "against an equivalence limit can show that."
)

FROM_SCAN = (
    "Deviations are described and compared from scan to design; a tolerance must be kept from "
    "design to scan too. Hold the numbers against figures of the same direction only."
)
FROM_SCAN_MEANS = (
    "From scan to design a missing edge and a filled fossa come out smaller than they are, flash "
    "and stubs in full. Precision, maps, margin profiles, support marks and causes are taken at "
    "the design's points whatever the direction. How crowns fit does not depend on it."
)

NO_LIMIT_SET = (
    "No equivalence limit is set, so equivalence was not tested and nothing is called equivalent. "
    "Choose one before the crowns of a study are measured: the largest difference that does not "
    "matter in the mouth, such as one that examiners cannot feel. No source gives it for all uses."
)


def general_notes(cohort: Cohort, run: StudyRun) -> tuple[str, ...]:
    """Return what holds for the whole study."""
    plan = cohort.plan.analysis
    notes = [
        f"A group meets a tolerance if {short_share(plan.next_crown_content)} of all crowns made "
        f"this way can be expected within it, as far as crowns are spread normally; it does not if "
        f"surely fewer are within. What is said so of all areas of a group together is "
        f"{short_share(plan.confidence)} sure.",
        PRECISION_TERM,
        PRECISION_DISTANCE,
        PAIRS_DEPEND,
        *([FROM_SCAN_MEANS] if cohort.direction == SCAN_TO_DESIGN else []),
    ]
    if len(cohort.groups) > 1:
        lead = cohort.plan.analysis.lead
        several = f", and {OVERALL_WORDS[lead]} for all groups" if len(cohort.groups) > 2 else ""
        notes += [
            f"The leading test is {LEAD_WORDS[lead]} for two groups{several}; fixed in the plan.",
            _LEADS[lead],
            ASSUMPTIONS_INFORM,
            ABSENCE,
        ]
    if any(crown.marks for crown in run.crowns):
        notes.append(DESCRIBED_ONLY)
    notes += _limit_notes(cohort)
    notes += [*run.plan.notes, *_missing_areas(run), *_uncertain(cohort)]
    return tuple(dict.fromkeys(notes))


def cautions(cohort: Cohort, run: StudyRun) -> tuple[str, ...]:
    """Return what limits the answer itself: for its last lines."""
    found = [FROM_SCAN] if cohort.direction == SCAN_TO_DESIGN else []
    found += [f"{crown.name} was left out: {crown.reason}" for crown in run.left_out]
    found += [f"{one.crown} could not be seated: {one.reason}" for one in not_fitted(cohort, run)]
    if len(cohort.groups) == 1:
        found.append("There is one group only, so no ways of production are compared.")
    few = [cohort.title(g) for g in cohort.groups if len(cohort.crowns[g]) == 1]
    if few:
        found.append(f"One crown only: {listed(few)}. Its spread is unknown; nothing is tested.")
    unmade = [group.title for group in run.plan.groups if group.name not in cohort.groups]
    if unmade:
        found.append(f"Without any usable crown: {listed(unmade)}.")
    return tuple(found)


def reasons_of(findings: Findings) -> tuple[str, ...]:
    """Return why numbers are missing, the same reason said once for all its places."""
    places: dict[str, list[str]] = {}
    rows: list[Comparison | PrecisionComparison | OverallRow]
    rows = [*findings.comparisons, *findings.precision_comparisons, *findings.overall]
    if findings.fit is not None:
        rows += [*findings.fit.comparisons, *findings.fit.overall]
    for row in rows:
        if row.reason:
            places.setdefault(row.reason, []).append(_place(row.area, row.measure))
    notes = [f"Not compared: {_some(where)}. {why}" for why, where in places.items()]
    for trueness in findings.trueness:
        if trueness.summary.description.missing:
            where = f"{trueness.group}, {area_words(trueness.area)}"
            notes.append(f"{where}: {trueness.reason}")
    for tolerance in findings.tolerances:
        if tolerance.undecided:
            notes.append(
                f"{tolerance.group}, {area_words(tolerance.area)}: "
                f"{count_words(tolerance.undecided, 'crown')} could not be judged and "
                f"{'is' if tolerance.undecided == 1 else 'are'} in no share."
            )
    if findings.fit is not None:
        notes += _without_number(findings.fit.described)
    return tuple(dict.fromkeys(notes))


def _place(area: str, measure: str) -> str:
    if measure in FIT_MEASURES:
        return fit_words(area, measure)
    return f"{area_words(area)} ({MEASURE_WORDS[measure]})"


def _without_number(rows: Iterable[TruenessRow]) -> list[str]:
    """Say of what numbers of fit crowns have none, in one sentence where it is the same."""
    places: dict[tuple[str, str], list[str]] = {}
    for row in rows:
        if row.summary.description.missing:
            places.setdefault((row.group, row.reason), []).append(_place(row.area, row.measure))
    return [f"{group}, {_some(where)}: {why}" for (group, why), where in places.items()]


def _some(places: Iterable[str]) -> str:
    unique = list(dict.fromkeys(places))
    if len(unique) <= 4:
        return listed(unique)
    return f"{listed(unique[:3])} and {len(unique) - 3} more"


def _limit_notes(cohort: Cohort) -> list[str]:
    if len(cohort.groups) < 2:
        return []
    plan = cohort.plan.analysis
    without = [a for a in cohort.areas if not plan.equivalence_of(a) > 0]
    if len(without) == len(cohort.areas):
        return [NO_LIMIT_SET]
    notes = []
    if without:
        names = listed([area_words(area) for area in without])
        notes.append(f"Without an equivalence limit, so not tested for it: {names}.")
    return notes


def _missing_areas(run: StudyRun) -> list[str]:
    asked: Sequence[str] = run.plan.areas
    missing = run.area_set.missing
    return [
        f"The area {area_words(area)} was asked for and not found. {missing.get(area, '')}".strip()
        for area in asked
        if area not in run.area_set.areas
    ]


def _uncertain(cohort: Cohort) -> list[str]:
    """Name crowns whose pose, or coverage, leaves an area undecided: their numbers are in."""
    notes = []
    for group in cohort.groups:
        for crown in cohort.crowns[group]:
            unsure = [
                v for v in crown.verdicts if v.verdict == NOT_DECIDABLE and v.area in cohort.areas
            ]
            reasons = dict.fromkeys(v.reason for v in unsure)
            for reason in reasons:
                areas = listed([area_words(v.area) for v in unsure if v.reason == reason])
                notes.append(f"{crown.name}, {areas}: {reason} Its numbers are in the means.")
    least = cohort.plan.check.tolerances.min_coverage
    low = [
        crown.name
        for group in cohort.groups
        for crown in cohort.crowns[group]
        if any(
            matched_coverage(row) < least and row.area in cohort.areas
            for row in crown.measures
            if row.direction in covered_in(cohort.direction)
        )
    ]
    if low:
        notes.append(
            f"Less than {limit_words(least)} of some area was measured on {listed(low)}; the "
            f"numbers of such areas come from what was measured."
        )
    return notes
