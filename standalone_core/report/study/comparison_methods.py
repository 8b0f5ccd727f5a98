"""How two groups were compared, and which comparisons may make a claim: for the methods text."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ...study.analysis.fit_words import place_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...words.names import area_words
from ...words.text import listed

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
    """Yield the sentences on tests, claims and equivalence."""
    yield from _tests(analysis, cite)
    yield from _claims(analysis, cite)
    yield from _equivalence(analysis, cite)


def _tests(analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    lead = analysis.settings.lead
    order = (lead, *(name for name in _TESTS if name != lead))
    first, *others = (f"{words} {cite(*keys)}" for words, keys in (_TESTS[name] for name in order))
    yield (
        f"Two groups were compared by {first}, as fixed in the study file; {listed(others)} are "
        f"reported beside it. Effect sizes are Hedges' g {cite('hedges')} and Cliff's δ "
        f"{cite('cliff')}."
    )


def _claims(analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    plan = analysis.settings
    yield (
        f"The primary comparison was that of "
        f"{place_words(plan.primary_area, plan.primary_measure)}. The comparisons that may make a "
        f"claim were planned and ordered beforehand {cite('ich_e9')} and share the level of "
        f"significance along that order {cite('graphical')}; families apart from it were adjusted "
        f"by a step-down method {cite('holm', 'shaffer')}. {analysis.multiplicity}"
    )


def _equivalence(analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    limits = {
        row.area: row.equivalence.limit
        for row in analysis.findings.comparisons
        if row.equivalence.limit == row.equivalence.limit
    }
    if not limits:
        return
    values = sorted(set(limits.values()))
    told = (
        f"±{values[0]:g} µm"
        if len(values) == 1
        else "; ".join(f"{area_words(area)} ±{limit:g} µm" for area, limit in limits.items())
    )
    yield (
        f"Equivalence was tested by two one-sided tests{_ONE_SIDED[analysis.settings.lead]} "
        f"{cite('schuirmann')} within {told}."
    )
