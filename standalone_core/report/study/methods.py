"""The methods section of a study, in the trade's language; every number from the run."""

from __future__ import annotations

from collections.abc import Iterator

from ...shares import limit_words, short_share
from ...statistics.permutation import EXACT_SPLITS
from ...study.analysis.fit_words import fit_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.fit_plan import FIT_MEASURES
from ...study.measuring.results import StudyRun
from ...words.names import area_words, measure_words
from ...words.text import count_words, listed
from ..check.sentences import START_WORDS, WEIGHTING_WORDS
from .causes_methods import causes_methods
from .fit_methods import fit_methods
from .references import Citations, Methods
from .sentences import counted, limits_words, titles_of
from .tolerance_methods import tolerance_methods

SOFTWARE = {"cuspwise": "Cuspwise", "numpy": "NumPy", "scipy": "SciPy", "python": "Python"}


def methods_text(run: StudyRun, analysis: StudyAnalysis) -> Methods:
    """Describe what was done, ready to be edited into a paper.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis

    Returns
    -------
    Methods
        Only what this run did and only the references for it.
    """
    cite = Citations()
    sections = (
        _specimens(run, analysis),
        _measuring(run, analysis, cite),
        _parts(analysis),
        tolerance_methods(run, analysis, cite),
        _comparing(analysis, cite),
        _families(analysis, cite),
        _precision(analysis, cite),
        _odd_crowns(analysis, cite),
        fit_methods(run, analysis, cite),
        causes_methods(run, analysis, cite),
        _repeats(run, analysis, cite),
        _examiners(analysis, cite),
        _software(run),
    )
    paragraphs = tuple(text for section in sections if (text := " ".join(section)))
    return Methods(paragraphs, cite.references)


def _specimens(run: StudyRun, analysis: StudyAnalysis) -> Iterator[str]:
    titles = titles_of(analysis)
    sizes = [f"{titles[g]}, n = {len(run.crowns_of(g))}" for g in analysis.groups]
    yield (
        f"One crown design ({len(run.design.mesh):,} triangles) was compared with the scans of "
        f"{count_words(len(run.crowns), 'produced crown')} in "
        f"{count_words(len(sizes), 'group')} ({'; '.join(sizes)})."
    )
    facts = [
        f"{titles[plan.name]} ({'; '.join(f'{k}: {v}' for k, v in plan.facts.items() if v)})"
        for plan in run.plan.groups
        if plan.name in titles and any(plan.facts.values())
    ]
    if facts:
        yield f"As stated in the study file, the crowns were produced as follows: {listed(facts)}."
    if run.left_out:
        reasons = [f"{scan.name}: {scan.reason}" for scan in run.left_out]
        yield (
            f"{counted(len(run.left_out), 'scan')} could not be used and "
            f"{'was' if len(run.left_out) == 1 else 'were'} left out. {' '.join(reasons)}"
        )
    why = analysis.settings.sample_size_rationale
    yield (
        f"Rationale for the number of crowns, as stated in the study file: {why.rstrip('.')}."
        if why
        else "No rationale for the number of crowns was stated in the study file."
    )


def _measuring(run: StudyRun, analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    yield _superimposing(run)
    yield from _points(run)
    yield (
        f"Areas were {listed([area_words(name) for name in analysis.areas])}; measures were "
        f"{listed([measure_words(name) for name in analysis.measures])}."
    )
    yield (
        f"In the words of ISO 5725-1 {cite('iso_5725')}, trueness was each crown against the design"
    ) + (
        f", and precision each crown against every other of its group ({len(run.pairs)} pairs in "
        f"all, each superimposed crown on crown); since the crowns were different specimens, it "
        f"holds the spread of production as well as that of scanning."
        if run.pairs
        else "; precision was not determined."
    )
    if analysis.marks:
        spots = len({(row.kind, row.mark) for row in analysis.marks})
        yield (
            f"At {count_words(spots, 'support mark')} the highest point above, or the lowest "
            f"below, the surrounding surface was measured on every crown and described per group, "
            f"without tests."
        )


def _superimposing(run: StudyRun) -> str:
    check, fit = run.plan.check, run.plan.check.superimpose
    if not fit.refine:
        return "Each scan was superimposed on the design without a best fit."
    where = listed([area_words(name) for name in check.fit_areas]) or "the whole surface"
    start = START_WORDS.get(run.crowns[0].superimposition.start, "") if run.crowns else ""
    return (
        f"Each scan was superimposed on the design by a rigid best fit without scaling "
        f"({WEIGHTING_WORDS[fit.fit_weighting]}, {where}"
        f"{', started ' + start if start else ''})."
    )


def _points(run: StudyRun) -> Iterator[str]:
    """Say at which points deviations were taken, and which of them counted."""
    check = run.plan.check
    weighting = "weighted by surface area" if check.weighted else "not weighted by surface area"
    yield (
        f"Signed deviations from the design to the nearest point of the scan (positive: excess; "
        f"negative: missing material) were taken at {len(run.area_set.evaluation.points):,} points "
        f"of the design, at most {check.spacing_mm:g} mm apart, and {weighting}."
    )
    yield (
        f"A point counted only if the scan lay within {check.deviation.search_mm:g} mm, away from "
        f"its open borders, with a normal within {check.deviation.max_normal_angle_deg:g}° of the "
        f"design's; an area was judged only where at least "
        f"{limit_words(check.tolerances.min_coverage)} of it counted."
    )


def _parts(analysis: StudyAnalysis) -> Iterator[str]:
    """Say how a group's deviations were taken apart."""
    if analysis.parts:
        yield (
            "The deviations of a group were taken apart area by area, points weighted by surface "
            "area. The systematic part is the root mean square of the mean over crowns at each "
            "point, less the share of chance in that mean (the variance between crowns divided by "
            "their number); the random part is the root mean square of the standard deviation "
            "between crowns at each point. Their squares add to the mean square of all deviations "
            "of all crowns, unless the mean is less than its share of chance, where the systematic "
            "part was set to zero."
        )


def _comparing(analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    findings, plan = analysis.findings, analysis.settings
    yield (
        f"The crown was the unit of analysis. Results are described as mean and standard deviation "
        f"with {short_share(plan.confidence)} confidence intervals, and as median and quartiles."
    )
    if findings.comparisons:
        yield from _two_groups(analysis, cite)
    if findings.overall:
        yield (
            f"{counted(len(analysis.groups), 'group')} were compared at once by Welch's analysis "
            f"of variance {cite('welch_anova')} with Games–Howell comparisons {cite('games')} and "
            f"by the Kruskal–Wallis test {cite('kruskal')} with Dunn's comparisons {cite('dunn')}."
        )
    if findings.assumptions:
        yield (
            f"Normality was examined by the test of Shapiro and Wilk {cite('shapiro')} and "
            f"equality of spread by that of Brown and Forsythe {cite('brown')}, for "
            f"information only."
        )
    if analysis.difference_shares:
        yield (
            f"Where groups differed on the surface was mapped by Welch tests at each point, with "
            f"the false discovery rate held at {short_share(plan.alpha)} {cite('benjamini')}."
        )
    if findings.comparisons:
        yield f"The level of significance was {plan.alpha:g}."


def _two_groups(analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    plan = analysis.settings
    by_means = "Welch's t test", ("welch",)
    by_ranks = (
        "the Mann–Whitney test with the Hodges–Lehmann shift",
        ("mann_whitney", "hodges_lehmann"),
    )
    tests = (by_means, by_ranks) if plan.lead == "welch" else (by_ranks, by_means)
    first, second = (f"{words} {cite(*keys)}" for words, keys in tests)
    yield (
        f"Two groups were compared by {first}, as fixed in the study file; {second} is reported "
        f"beside it. Effect sizes are Hedges' g {cite('hedges')} and Cliff's δ {cite('cliff')}."
    )
    primary = f"{measure_words(plan.primary_measure)} of the {area_words(plan.primary_area)}"
    if plan.primary_measure in FIT_MEASURES:
        primary = fit_words(plan.primary_area, plan.primary_measure)
    yield f"The primary comparison was the {primary}."
    limits = {
        area_words(row.area): row.equivalence.limit
        for row in analysis.findings.comparisons
        if row.equivalence.limit == row.equivalence.limit
    }
    if limits:
        shifted = " of ranks, each after a shift by the limit," if plan.lead == "ranks" else ""
        yield (
            f"Equivalence was tested by two one-sided tests{shifted} {cite('schuirmann')} "
            f"within {limits_words(limits)}, as fixed in the study file."
        )


def _families(analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    """Say which p-values were corrected together."""
    if analysis.findings.comparisons:
        yield f"P-values were corrected by Holm's method {cite('holm')}: {analysis.multiplicity}"


def _precision(analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    """Say by what statistic precision was compared."""
    tested = [r.test for r in analysis.findings.precision_comparisons if r.test.permutations]
    if not tested:
        return
    yield (
        f"Precision was compared by crowns, not by pairs, since pairs that share a crown are not "
        f"independent. From the pairs, the distance of each crown from the middle of its group "
        f"(the spatial median) was found, and the analysis of variance of these distances was "
        f"tested by permuting crowns between groups {cite('anderson')}."
    )
    drawn = [test.permutations for test in tested if not test.exact]
    if len(drawn) < len(tested):
        most = max(test.permutations for test in tested if test.exact)
        yield f"All relabellings were tried{f', up to {most:,}' if not drawn else ''}" + (
            f" where there were no more than {EXACT_SPLITS:,}." if drawn else "."
        )
    if drawn:
        yield (
            f"{'Otherwise' if len(drawn) < len(tested) else 'Of all relabellings,'} {max(drawn):,} "
            f"were drawn at random {cite('phipson')}, with the seed {analysis.settings.seed}."
        )


def _odd_crowns(analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    """Say by what rule a crown is named as unlike its group."""
    if not any(crown.unit for crown in analysis.odd_crowns):
        return
    numbers = ["the mean absolute deviation where it has a tolerance", "the primary measure"]
    if analysis.findings.fit is not None:
        numbers.append("the measures of fit")
    yield (
        f"A crown was named as unlike its group by a many-outlier procedure {cite('rosner')}: the "
        f"crown farthest from the others was tested against them and set aside, then the next "
        f"one, up to a third of the group. It was applied to the distances between superimposed "
        f"surfaces in each area (F test) and to single numbers (t test): {listed(numbers)}. The "
        f"chance of naming any crown of a group in which none is odd was "
        f"{short_share(analysis.settings.odd_false_alarm)} for all of these together. Named crowns "
        f"stayed in all results; what would change without them is reported."
    )


def _repeats(run: StudyRun, analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    rows = [row.gauge for row in analysis.scanner if row.gauge is not None and not row.reason]
    if run.repeats and rows:
        first = rows[0]
        yield (
            f"{counted(first.parts, 'crown')}, scanned {count_words(first.trials, 'time')} each "
            f"by {count_words(first.operators, 'operator')}, gave repeatability and "
            f"reproducibility by analysis of variance {cite('iso_5725_2')}; differences below the "
            f"smallest that the scanner can show are marked."
        )


def _examiners(analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    if analysis.examiners is None or not analysis.examiners.agreement:
        return
    agreed = analysis.examiners.agreement
    most = max(len(row.examiners) for row in agreed)
    kappa = (
        f"Cohen's kappa, plain {cite('cohen')} and with quadratic weights {cite('cohen_weighted')}"
    )
    more = f", and Fleiss' kappa {cite('fleiss')}" if most > 2 else ""
    yield (
        f"{counted(most, 'examiner')} scored the crowns for "
        f"{listed([row.item for row in agreed])}; agreement is given as percentage and as "
        f"{kappa}{more}."
    )


def _software(run: StudyRun) -> Iterator[str]:
    """Name the software with its versions."""
    told = [f"{SOFTWARE.get(name, name)} {version}" for name, version in run.versions.items()]
    if told:
        yield f"All computations were made with {listed(told)}."
