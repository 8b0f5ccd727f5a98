"""How two groups were compared, and which comparisons may make a claim: for the methods text."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ...study.analysis.fit_words import place_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...words.names import area_words
from ...words.text import listed
from .sentences import limits_words

if TYPE_CHECKING:
    from .causes_methods import Cite

_TESTS = {
    "welch": ("Welch's t test", ("welch",)),
    "ranks": (
        "the Mann–Whitney test with the Hodges–Lehmann shift",
        ("mann_whitney", "hodges_lehmann"),
    ),
    "trimmed": ("Yuen's test of means trimmed by a fifth at either end", ("yuen",)),
}
_ONE_SIDED = {
    "welch": "",
    "ranks": " of ranks, each after a shift by the limit,",
    "trimmed": " of trimmed means",
}


def comparison_methods(analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Yield the sentences on tests of two groups, the primary comparison and equivalence."""
    yield from _tests(analysis, cite)
    plan = analysis.settings
    yield (
        f"The primary comparison was that of "
        f"{place_words(plan.primary_area, plan.primary_measure)}."
    )
    yield from _equivalence(analysis, cite)


def claims_methods(analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Yield the sentences on which comparisons may make a claim, and at what level."""
    if analysis.findings.comparisons:
        yield (
            f"The comparisons that may make a claim were planned and ordered beforehand "
            f"{cite('ich_e9')} and share that level along their order "
            f"{cite('graphical')}; families apart from it were adjusted by a step-down method "
            f"{cite('holm', 'shaffer')}. {analysis.multiplicity}"
        )


def _tests(analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    lead = analysis.settings.lead
    order = (lead, *(name for name in _TESTS if name != lead))
    first, *others = (f"{words} {cite(*keys)}" for words, keys in (_TESTS[name] for name in order))
    yield (
        f"Two groups were compared by {first}, as fixed in the study file; {listed(others)} are "
        f"reported beside it. Effect sizes are Hedges' g {cite('hedges')} and Cliff's δ "
        f"{cite('cliff')}."
    )


def _equivalence(analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    limits = {
        area_words(row.area): row.equivalence.limit
        for row in analysis.findings.comparisons
        if row.equivalence.limit == row.equivalence.limit
    }
    if limits:
        yield (
            f"Equivalence was tested by two one-sided tests{_ONE_SIDED[analysis.settings.lead]} "
            f"{cite('schuirmann')} within {limits_words(limits)}, as fixed in the study file."
        )
