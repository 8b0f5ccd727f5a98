"""Methods sentences on repeated scans and on examiners."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ...shares import short_share
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.scores import ExaminerAnalysis
from ...study.measuring.results import StudyRun
from ...words.text import count_words, listed
from .sentences import counted

Cite = Callable[..., str]


_OF_DISTANCES = (
    ", those of precision by how far a scanned crown's distance from the other crowns of its group "
    "varied from scan to scan"
)


def repeats_methods(run: StudyRun, analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Say what repeated scans were made and what came of them."""
    rows = [row for row in analysis.scanner if row.gauge is not None]
    if not run.repeats or not rows or rows[0].gauge is None:
        return
    first = rows[0].gauge
    yield (
        f"{counted(first.parts, 'crown')}, scanned {count_words(first.trials, 'time')} each by "
        f"{count_words(first.operators, 'operator')}, gave repeatability and reproducibility by "
        f"analysis of variance {cite('iso_5725_2')}; differences below the smallest that the "
        f"scanner can show are marked"
        f"{_OF_DISTANCES if any(row.distance for row in rows) else ''}."
    )
    found = [row.intraclass for row in rows if row.intraclass and not row.intraclass.reason]
    if found:
        several = (
            ", carried over to several scans by each operator"
            if first.operators > 1 and first.trials > 1
            else ""
        )
        yield (
            f"The intraclass correlation of single scans is {found[0].form} "
            f"{cite('mcgraw', 'shrout')} with its {short_share(found[0].confidence)} "
            f"interval{several}. The scanner's shares of the standard deviation and of the "
            f"variance, and the number of distinct categories, are after {cite('aiag')}."
        )


def examiner_methods(run: StudyRun, analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Say how crowns were scored, how agreement was taken, and which tests make claims."""
    found = analysis.examiners
    if found is None or not found.groups or run.scores is None:
        return
    items = listed(list(dict.fromkeys(row.item for row in found.groups)))
    yield (
        f"{counted(len(run.scores.examiners), 'examiner')} scored the crowns for {items} (0 the "
        f"best; acceptable: {run.plan.scores.acceptable} or better)."
    )
    if found.agreement:
        yield from _agreement(found, cite)
    yield from _tests(found, analysis, cite)


def _agreement(found: ExaminerAnalysis, cite: Cite) -> Iterator[str]:
    level = short_share(found.agreement[0].result.confidence)
    yield (
        f"Agreement is given as the share of crowns with the same score of all, as Cohen's kappa, "
        f"plain and with quadratic weights {cite('cohen', 'cohen_weighted')} (in words after "
        f"Landis and Koch {cite('landis')}), as Fleiss' kappa {cite('fleiss')} and as Gwet's AC2 "
        f"with quadratic weights {cite('gwet')}, and for the sums of scores as "
        f"intraclass correlation ICC(A,1), two-way random, absolute agreement "
        f"{cite('mcgraw', 'shrout')}, with {level} intervals."
    )
    yield found.missing


def _tests(found: ExaminerAnalysis, analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Name the tests of scores; then which of them make claims, at what level."""
    compared = [row for row in found.comparisons if row.outcome != "not_computed"]
    if compared:
        several = len(analysis.groups) > 2
        overall = f"All groups were described by the Kruskal–Wallis test {cite('kruskal')}, s"
        yield (
            f"A crown counted once, by the median of its scores. Groups were compared by the "
            f"Mann–Whitney test {cite('mann_whitney')} with Holm's correction {cite('holm')}. "
            f"{overall if several else 'S'}hares of acceptable crowns by Fisher's exact test "
            f"{cite('fisher')}."
        )
    if any(not row.correlation.reason for row in found.correlations):
        yield (
            f"Scores and what was measured are described by Spearman's rank correlation "
            f"{cite('spearman')} with an approximate interval {cite('bonett')}."
        )
    yield from found.levels
