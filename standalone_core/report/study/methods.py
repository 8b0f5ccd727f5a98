"""The methods section of a study, in the trade's language; every number from the run."""

from __future__ import annotations

from collections.abc import Iterator

from ...deviation.direction import SCAN_TO_DESIGN
from ...deviation.settings import MarginProfileSettings
from ...shares import limit_words, short_share
from ...statistics.permutation import EXACT_SPLITS
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import StudyRun
from ...words.names import area_words, measure_words
from ...words.text import count_words, listed
from ..check.sentences import START_WORDS, WEIGHTING_WORDS
from .causes_methods import causes_methods
from .comparison_methods import claims_methods, comparison_methods
from .crown_facts import differing_facts
from .earlier import earlier_methods
from .examiner_methods import examiner_methods, repeats_methods
from .fit_methods import fit_methods
from .references import Citations, Methods
from .sentences import counted, titles_of
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
        _comparing(run, analysis, cite),
        claims_methods(analysis, cite),
        _precision(analysis, cite),
        _odd_crowns(analysis, cite),
        fit_methods(run, analysis, cite),
        causes_methods(run, analysis, cite),
        repeats_methods(run, analysis, cite),
        examiner_methods(run, analysis, cite),
        earlier_methods(run, analysis, cite),
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
    own = differing_facts(run.plan)
    if own:
        yield f"Differing between the crowns of a group: {listed(own)} (table of the crowns)."
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
    yield from _deviations(run)
    yield (
        f"Areas were {listed([area_words(name) for name in analysis.areas])}; measures were "
        f"{listed([measure_words(name) for name in analysis.measures])}."
    )
    yield (
        f"In the words of ISO 5725-1 {cite('iso_5725')}, trueness was each crown against the design"
    ) + (
        f", and precision the distance of each crown from the middle of its group, the spatial "
        f"median {cite('anderson')}. Every crown was superimposed on every other of its group "
        f"({len(run.pairs)} pairs in all); principal coordinates of the pairs' distances "
        f"{cite('gower')} gave those from the median, times √(n/(n − 1)). A pair's distance is "
        f"about √2 times as large. Since the crowns were different specimens, precision holds the "
        f"spread of production as well as that of scanning."
        if any(row.summary.description.n for row in analysis.findings.precision)
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


def _deviations(run: StudyRun) -> Iterator[str]:
    """Say how deviations were taken: those that were compared, and what stands at the design."""
    check, points = run.plan.check, len(run.area_set.evaluation.points)
    back = check.direction == SCAN_TO_DESIGN
    weighting = "weighted by surface area" if check.weighted else "not weighted by surface area"
    here, there = ("scan", "design") if back else ("design", "scan")
    where = "points of the superimposed scan" if back else f"{points:,} points of the design"
    over = "integrated over its faces" if back and check.weighted else weighting
    yield (
        f"Signed deviations from the {here} to the nearest point of the {there} (positive: excess; "
        f"negative: missing material) were taken at {where}, at most "
        f"{check.spacing_mm:g} mm apart, and {over}. A point counted only if the {there} lay "
        f"within {check.deviation.search_mm:g} mm, away from its open borders, with a normal "
        f"within {check.deviation.max_normal_angle_deg:g}° of the {here}'s; an area was judged "
        f"only where at least {limit_words(check.tolerances.min_coverage)} of it counted"
        f"{', on the scan and on the design' if back else ''}."
    )
    if back:
        yield (
            f"Precision, maps, margin profiles and causes were taken from the design to the "
            f"nearest point of the scan, at {points:,} points of the design."
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


def _comparing(run: StudyRun, analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    findings, plan = analysis.findings, analysis.settings
    yield (
        f"The crown was the unit of analysis. Results are described as mean and standard deviation "
        f"with {short_share(plan.confidence)} confidence intervals, and as median and quartiles."
    )
    if findings.comparisons:
        yield from comparison_methods(analysis, cite)
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
        yield (
            f"The primary measure was plotted against normal quantiles {cite('filliben')} with "
            f"pointwise {short_share(plan.confidence)} bands from simulated normal samples "
            f"{cite('atkinson')}."
        )
    if any(crown.margin_um is not None for crown in run.crowns):
        yield (
            f"Along the design's margin line the deviation was averaged over each group's crowns "
            f"every {MarginProfileSettings().step_mm:g} mm, with the standard deviation between "
            f"crowns, without tests."
        )
    if analysis.difference_shares:
        yield (
            f"Where groups differed on the surface was mapped by Welch tests at each point, with "
            f"the false discovery rate held at {short_share(plan.alpha)} {cite('benjamini')}."
        )
    if findings.comparisons:
        yield f"The level of significance was {plan.alpha:g}."


def _precision(analysis: StudyAnalysis, cite: Citations) -> Iterator[str]:
    """Say by what statistic precision was compared."""
    tested = [r.test for r in analysis.findings.precision_comparisons if r.test.permutations]
    if not tested:
        return
    yield (
        f"Precision was compared by crowns, not by pairs, since pairs that share a crown are not "
        f"independent: the analysis of variance of the crowns' distances from the middle of their "
        f"group was tested by permuting these between groups {cite('anderson')}."
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


def _software(run: StudyRun) -> Iterator[str]:
    """Name the software with its versions."""
    told = [f"{SOFTWARE.get(name, name)} {version}" for name, version in run.versions.items()]
    if told:
        yield f"All computations were made with {listed(told)}."
