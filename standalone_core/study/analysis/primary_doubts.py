"""What would overturn the primary conclusion: it stands in the primary sentence itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from ...progress import run
from ...statistics.equivalence import OUTCOME_WORDS
from ...words.text import listed
from ..plan import Lead
from .cohort import Cohort
from .comparisons import comparison_steps, decided_comparisons
from .families import ordered_places
from .fit_cohort import seated_cohort
from .results.analysis import Findings, OddCrown
from .results.comparisons import Comparison

_OTHER: dict[Lead, Lead] = {"welch": "ranks", "ranks": "welch", "trimmed": "welch"}
_BY = {"welch": "By means (Welch's test)", "ranks": "By ranks (Mann–Whitney test)"}


def with_doubts(
    cohort: Cohort, findings: Findings, odd: Sequence[OddCrown], without: Findings | None
) -> Findings:
    """Return findings whose primary sentences say what would overturn them.

    The other test than the one that leads, in the same order; and the study without its odd
    crowns.

    Parameters
    ----------
    cohort : Cohort
    findings : Findings
        With all crowns.
    odd : sequence of OddCrown
    without : Findings or None
        Without those that are flagged.
    """
    other = {_pair(row): row for row in _by_other_test(cohort)}
    left = {_pair(row): row for row in without.primary} if without is not None else {}
    names = [crown.crown for crown in odd if crown.odd]

    def told(rows: Sequence[Comparison]) -> tuple[Comparison, ...]:
        return tuple(_told(row, other, left, names) if row.primary else row for row in rows)

    fit = findings.fit
    return replace(
        findings,
        comparisons=told(findings.comparisons),
        fit=None if fit is None else replace(fit, comparisons=told(fit.comparisons)),
    )


def _by_other_test(cohort: Cohort) -> tuple[Comparison, ...]:
    """Compare the groups along the plan's order as if the other test led; the primary ones."""
    analysis = replace(cohort.plan.analysis, lead=_OTHER[cohort.plan.analysis.lead])
    switched = replace(cohort, plan=replace(cohort.plan, analysis=analysis))
    places, seated = ordered_places(cohort), seated_cohort(switched)
    of_form = tuple(place for place in places if place in switched.places)
    rows = run(comparison_steps(switched, of_form, "exploratory"))
    if seated is not None:
        of_fit = tuple(place for place in places if place not in of_form)
        rows += run(comparison_steps(seated, of_fit, "family"))
    return tuple(row for row in decided_comparisons(switched, rows, {}) if row.primary)


def _told(
    row: Comparison,
    other: dict[tuple[str, str], Comparison],
    without: dict[tuple[str, str], Comparison],
    names: Sequence[str],
) -> Comparison:
    doubts = " ".join(_doubts(row, other.get(_pair(row)), without.get(_pair(row)), names))
    return replace(row, sentence=f"{row.sentence} {doubts}") if doubts else row


def _doubts(
    row: Comparison, other: Comparison | None, without: Comparison | None, names: Sequence[str]
) -> Iterator[str]:
    if other is not None and other.outcome != row.outcome:
        yield f"{_BY[other.lead]} it would be {OUTCOME_WORDS[other.outcome]}."
    if without is not None and without.outcome != row.outcome:
        them = "which is" if len(names) == 1 else "which are"
        yield (
            f"Without {listed(names)}, {them} unlike the group, it would be "
            f"{OUTCOME_WORDS[without.outcome]}."
        )


def _pair(row: Comparison) -> tuple[str, str]:
    return row.first, row.second
