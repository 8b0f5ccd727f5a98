"""The statistics of a study: a measured run in, everything that a report says out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from ...progress import Progress, Steps, run, scaled
from ...statistics.equivalence import OUTCOME_WORDS
from ..measuring.results import StudyRun
from .answer import verdict_lines
from .causes import causes_analysis
from .cohort import Cohort, cohort_of
from .comparisons import ScannerLimits, comparison_steps, decided_comparisons
from .descriptions import assumption_rows, trueness_rows
from .difference_shares import CAVEAT, difference_shares
from .earlier import against_earlier
from .examiners import examiner_analysis
from .families_words import families_words
from .fit import fit_analysis, fit_finding_steps
from .fit_words import measured_words
from .notes import cautions, general_notes, reasons_of
from .odd_crowns import odd_crowns
from .overall import overall_steps
from .precision import pair_rows, precision_comparison_steps, precision_rows
from .primary_doubts import with_doubts
from .results.analysis import Findings, OddEffect, StudyAnalysis
from .results.comparisons import Comparison, PrecisionComparison
from .results.scores import ScannerRow
from .scanner import scanner_rows
from .score_comparisons import doubts_told
from .support_marks import mark_rows
from .tolerances import tolerance_rows

Aspect: TypeAlias = Literal["trueness", "precision", "fit"]
Rows: TypeAlias = Sequence[Comparison] | Sequence[PrecisionComparison]


def analyse_study(study: StudyRun) -> StudyAnalysis:
    """Describe and compare the groups of a study.

    Each crown is one sample; all that is compared, and by which test, is in the plan. Welch's and
    Mann–Whitney's test, their effect sizes and intervals, equivalence by two one-sided tests, and
    precision by permuting crowns; see :mod:`.statistics` for formulas and sources.

    Parameters
    ----------
    study : StudyRun
        As :func:`~cuspwise.run_study` returns it, with the examiners' scores if there are any.

    Returns
    -------
    StudyAnalysis
        Lengths in µm. The same for the same run and seed, whatever the order of its crowns. What
        too few crowns do not show is NaN, with the reason beside it.

    Examples
    --------
    >>> import cuspwise
    >>> study = cuspwise.read_study(cuspwise.demo_study("trial"))
    >>> analysis = cuspwise.analyse_study(cuspwise.run_study(study, "trial/results"))
    >>> (comparison,) = analysis.findings.primary
    >>> comparison.first, comparison.second, round(comparison.difference), comparison.outcome
    ('milled', 'printed', 12, 'undecided')
    """
    return run(analyse_study_steps(study))


def analyse_study_steps(study: StudyRun) -> Steps[StudyAnalysis]:
    """Do as :func:`analyse_study` does, step by step."""
    cohort = cohort_of(study)
    yield Progress("Describing the groups", 0.0)
    scanner = scanner_rows(cohort, study.repeats)
    limits = _limits(scanner)
    odd = odd_crowns(cohort)
    findings = yield from scaled(_finding_steps(cohort, limits), 0.05, 0.5)
    flagged = {crown.crown for crown in odd if crown.odd}
    without: Findings | None = None
    effects: tuple[OddEffect, ...] = ()
    if flagged:
        left = _finding_steps(cohort.without(flagged), limits)
        without = yield from scaled(left, 0.5, 0.95)
        effects = _odd_effects(cohort, findings, without)
    findings = with_doubts(cohort, findings, odd, without)
    yield Progress("Summing up", 0.95)
    fit = fit_analysis(cohort, study)
    examiners = None if study.scores is None else examiner_analysis(cohort, study.scores)
    warned = (*cautions(cohort, study), *(doubts_told(examiners.doubts) if examiners else ()))
    return StudyAnalysis(
        title=study.plan.title,
        question=study.plan.question,
        groups=cohort.groups,
        group_titles=tuple(cohort.title(group) for group in cohort.groups),
        areas=cohort.areas,
        measures=cohort.measures,
        settings=study.plan.analysis,
        verdict=verdict_lines(cohort, findings, odd, effects, warned, fit),
        findings=findings,
        odd_crowns=odd,
        without_odd=without,
        odd_effects=effects,
        parts=study.parts,
        difference_shares=difference_shares(cohort, study),
        difference_caveat=CAVEAT,
        examiners=examiners,
        scanner=scanner,
        multiplicity=families_words(cohort),
        notes=general_notes(cohort, study),
        marks=mark_rows(cohort),
        causes=causes_analysis(cohort, study, odd),
        fit=fit,
        direction=cohort.direction,
        earlier=None if study.earlier is None else against_earlier(study, study.earlier),
    )


@dataclass(frozen=True)
class Limits:
    """What differences the scanner can show: of means of a measure, and of precision by it."""

    trueness: ScannerLimits
    precision: ScannerLimits


def _limits(scanner: Sequence[ScannerRow]) -> Limits:
    return Limits(
        {(row.area, row.measure): row.between_means for row in scanner},
        {(row.area, row.measure): row.between_distances for row in scanner},
    )


def _finding_steps(cohort: Cohort, limits: Limits) -> Steps[Findings]:
    """Describe and compare one set of crowns."""
    trueness, tolerances = trueness_rows(cohort), tolerance_rows(cohort)
    precision = precision_rows(cohort)
    form = yield from scaled(comparison_steps(cohort, cohort.places, "exploratory"), 0.0, 0.3)
    precise = yield from scaled(
        precision_comparison_steps(cohort, precision, limits.precision), 0.3, 0.6
    )
    overall = yield from scaled(overall_steps(cohort), 0.6, 0.8)
    fit = yield from scaled(fit_finding_steps(cohort), 0.8, 1.0)
    of_fit = () if fit is None else fit.comparisons
    decided = decided_comparisons(cohort, (*form, *of_fit), limits.trueness)
    if fit is not None:
        fit = replace(fit, comparisons=decided[len(form) :])
    findings = Findings(
        crowns=cohort.names,
        trueness=trueness,
        tolerances=tolerances,
        assumptions=assumption_rows(cohort),
        comparisons=decided[: len(form)],
        overall=overall,
        precision=precision,
        precision_comparisons=precise,
        pairs=pair_rows(cohort),
        fit=fit,
    )
    return replace(findings, notes=reasons_of(findings))


def _odd_effects(cohort: Cohort, findings: Findings, without: Findings) -> tuple[OddEffect, ...]:
    """Find the conclusions that are another one without the odd crowns."""
    changed: list[OddEffect] = []
    aspects: tuple[tuple[Aspect, Rows, Rows], ...] = (
        ("trueness", findings.comparisons, without.comparisons),
        ("precision", findings.precision_comparisons, without.precision_comparisons),
        ("fit", _of_fit(findings), _of_fit(without)),
    )
    for aspect, rows, other in aspects:
        reduced = {_key(row): row for row in other}
        for row in (row for row in rows if row.standing != "exploratory"):
            twin = reduced.get(_key(row))
            if twin is not None and twin.outcome != row.outcome:
                changed.append(_odd_effect(cohort, aspect, row, twin))
    return tuple(changed)


def _of_fit(findings: Findings) -> Rows:
    return () if findings.fit is None else findings.fit.comparisons


def _key(row: Comparison | PrecisionComparison) -> tuple[str, str, str, str]:
    return row.area, row.measure, row.first, row.second


def _odd_effect(
    cohort: Cohort,
    aspect: Aspect,
    row: Comparison | PrecisionComparison,
    twin: Comparison | PrecisionComparison,
) -> OddEffect:
    first, second = cohort.title(row.first), cohort.title(row.second)
    return OddEffect(
        area=row.area,
        measure=row.measure,
        first=row.first,
        second=row.second,
        aspect=aspect,
        primary=isinstance(row, Comparison) and row.primary,
        with_odd=row.outcome,
        without_odd=twin.outcome,
        sentence=(
            f"{measured_words(row.area, row.measure)}, {aspect} of {second} and {first}: "
            f"{OUTCOME_WORDS[row.outcome]} with all crowns, {OUTCOME_WORDS[twin.outcome]} "
            f"without the odd ones."
        ),
    )
