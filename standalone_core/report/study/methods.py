"""The methods paragraph of a study, in the trade's language; every number from the run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from ...deviation.direction import SCAN_TO_DESIGN
from ...deviation.settings import MarginProfileSettings
from ...deviation.tolerances import ANY_AREA, COVERAGE_FACTOR
from ...shares import limit_words, short_share
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import StudyRun
from ...words.names import area_words, measure_words
from ...words.text import count_words, listed
from ..check.sentences import START_WORDS, WEIGHTING_WORDS
from .causes_methods import causes_methods
from .comparison_methods import comparison_methods
from .crown_facts import differing_facts
from .earlier import earlier_methods
from .examiner_methods import examiner_methods, repeats_methods
from .fit_methods import fit_methods
from .sentences import counted, titles_of

REFERENCES: dict[str, str] = {
    "welch": "Welch BL. The generalization of ‘Student’s’ problem when several different "
    "population variances are involved. Biometrika 1947;34:28–35.",
    "welch_anova": "Welch BL. On the comparison of several mean values: an alternative approach. "
    "Biometrika 1951;38:330–336.",
    "mann_whitney": "Mann HB, Whitney DR. On a test of whether one of two random variables is "
    "stochastically larger than the other. Ann Math Stat 1947;18:50–60.",
    "hodges_lehmann": "Hodges JL, Lehmann EL. Estimates of location based on rank tests. Ann Math "
    "Stat 1963;34:598–611.",
    "kruskal": "Kruskal WH, Wallis WA. Use of ranks in one-criterion variance analysis. J Am Stat "
    "Assoc 1952;47:583–621.",
    "games": "Games PA, Howell JF. Pairwise multiple comparison procedures with unequal N’s and/or "
    "variances: a Monte Carlo study. J Educ Stat 1976;1:113–125.",
    "dunn": "Dunn OJ. Multiple comparisons using rank sums. Technometrics 1964;6:241–252.",
    "holm": "Holm S. A simple sequentially rejective multiple test procedure. Scand J Stat "
    "1979;6:65–70.",
    "shaffer": "Shaffer JP. Modified sequentially rejective multiple test procedures. J Am Stat "
    "Assoc 1986;81:826–831.",
    "graphical": "Bretz F, Maurer W, Brannath W, Posch M. A graphical approach to sequentially "
    "rejective multiple test procedures. Stat Med 2009;28:586–604.",
    "ich_e9": "ICH Harmonised Tripartite Guideline E9. Statistical principles for clinical trials. "
    "Stat Med 1999;18:1905–1942.",
    "yuen": "Yuen KK. The two-sample trimmed t for unequal population variances. Biometrika "
    "1974;61:165–170.",
    "schuirmann": "Schuirmann DJ. A comparison of the two one-sided tests procedure and the power "
    "approach for assessing the equivalence of average bioavailability. J Pharmacokinet Biopharm "
    "1987;15:657–680.",
    "wilson": "Wilson EB. Probable inference, the law of succession, and statistical inference. J "
    "Am Stat Assoc 1927;22:209–212.",
    "benjamini": "Benjamini Y, Hochberg Y. Controlling the false discovery rate: a practical and "
    "powerful approach to multiple testing. J R Stat Soc B 1995;57:289–300.",
    "shapiro": "Shapiro SS, Wilk MB. An analysis of variance test for normality (complete "
    "samples). Biometrika 1965;52:591–611.",
    "filliben": "Filliben JJ. The probability plot correlation coefficient test for normality. "
    "Technometrics 1975;17:111–117.",
    "atkinson": "Atkinson AC. Two graphical displays for outlying and influential observations in "
    "regression. Biometrika 1981;68:13–20.",
    "brown": "Brown MB, Forsythe AB. Robust tests for the equality of variances. J Am Stat Assoc "
    "1974;69:364–367.",
    "hedges": "Hedges LV. Distribution theory for Glass’s estimator of effect size and related "
    "estimators. J Educ Stat 1981;6:107–128.",
    "cliff": "Cliff N. Dominance statistics: ordinal analyses to answer ordinal questions. Psychol "
    "Bull 1993;114:494–509.",
    "cohen": "Cohen J. A coefficient of agreement for nominal scales. Educ Psychol Meas "
    "1960;20:37–46.",
    "cohen_weighted": "Cohen J. Weighted kappa: nominal scale agreement with provision for scaled "
    "disagreement or partial credit. Psychol Bull 1968;70:213–220.",
    "fleiss": "Fleiss JL. Measuring nominal scale agreement among many raters. Psychol Bull "
    "1971;76:378–382.",
    "gwet": "Gwet KL. Handbook of inter-rater reliability. 4th ed. Gaithersburg: Advanced "
    "Analytics; 2014.",
    "landis": "Landis JR, Koch GG. The measurement of observer agreement for categorical data. "
    "Biometrics 1977;33:159–174.",
    "shrout": "Shrout PE, Fleiss JL. Intraclass correlations: uses in assessing rater "
    "reliability. Psychol Bull 1979;86:420–428.",
    "mcgraw": "McGraw KO, Wong SP. Forming inferences about some intraclass correlation "
    "coefficients. Psychol Methods 1996;1:30–46.",
    "aiag": "Automotive Industry Action Group. Measurement systems analysis: reference manual. 4th "
    "ed. Southfield: AIAG; 2010.",
    "fisher": "Fisher RA. The logic of inductive inference. J R Stat Soc 1935;98:39–82.",
    "spearman": "Spearman C. The proof and measurement of association between two things. Am J "
    "Psychol 1904;15:72–101.",
    "bonett": "Bonett DG, Wright TA. Sample size requirements for estimating Pearson, Kendall and "
    "Spearman correlations. Psychometrika 2000;65:23–28.",
    "rosner": "Rosner B. Percentage points for a generalized ESD many-outlier procedure. "
    "Technometrics 1983; 25: 165–172.",
    "holmes": "Holmes JR, Bayne SC, Holland GA, Sulik WD. Considerations in measurement of "
    "marginal fit. J Prosthet Dent 1989;62:405–408.",
    "mclean": "McLean JW, von Fraunhofer JA. The estimation of cement film thickness by an in vivo "
    "technique. Br Dent J 1971;131:107–111.",
    "reml": "Patterson HD, Thompson R. Recovery of inter-block information when block sizes are "
    "unequal. Biometrika 1971;58:545–554.",
    "anderson": "Anderson MJ. Distance-based tests for homogeneity of multivariate dispersions. "
    "Biometrics 2006;62:245–253.",
    "gower": "Gower JC. Some distance properties of latent root and vector methods used in "
    "multivariate analysis. Biometrika 1966;53:325–338.",
    "bic": "Raftery AE. Bayesian model selection in social research. Sociol Methodol "
    "1995;25:111–163.",
    "averaging": "Buckland ST, Burnham KP, Augustin NH. Model selection: an integral part of "
    "inference. Biometrics 1997;53:603–618.",
    "iso_5725": "ISO 5725-1. Accuracy (trueness and precision) of measurement methods and results. "
    "Part 1: General principles and definitions.",
    "iso_5725_2": "ISO 5725-2. Accuracy (trueness and precision) of measurement methods and "
    "results. Part 2: Basic method for the determination of repeatability and reproducibility of "
    "a standard measurement method.",
}
"""Where the methods come from; only those that a study used are cited."""


@dataclass(frozen=True)
class Methods:
    """A methods section.

    Attributes
    ----------
    paragraphs : tuple of str
        With numbers in square brackets that refer to the references.
    references : tuple of str
        In the order of the first citation.
    """

    paragraphs: tuple[str, ...]
    references: tuple[str, ...]

    @property
    def text(self) -> str:
        """Paragraphs and numbered references as plain text."""
        listed_references = [f"{k}. {text}" for k, text in enumerate(self.references, start=1)]
        return "\n\n".join([*self.paragraphs, "\n".join(listed_references)]) + "\n"


@dataclass
class _Citations:
    """Numbers references in the order in which they are cited."""

    keys: list[str] = field(default_factory=list)

    def __call__(self, *keys: str) -> str:
        for key in keys:
            if key not in self.keys:
                self.keys.append(key)
        return f"[{', '.join(str(self.keys.index(key) + 1) for key in keys)}]"


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
    cite = _Citations()
    sections = (
        _specimens(run, analysis),
        _measuring(run, analysis, cite),
        _comparing(run, analysis, cite),
        fit_methods(run, analysis, cite),
        causes_methods(run, analysis, cite),
        repeats_methods(run, analysis, cite),
        examiner_methods(run, analysis, cite),
        earlier_methods(run, analysis, cite),
        _software(run),
    )
    paragraphs = tuple(" ".join(section) for section in map(tuple, sections) if section)
    return Methods(paragraphs, tuple(REFERENCES[key] for key in cite.keys))


def _specimens(run: StudyRun, analysis: StudyAnalysis) -> Iterator[str]:
    titles = titles_of(analysis)
    sizes = [f"{titles[g]}, n = {len(run.crowns_of(g))}" for g in analysis.groups]
    yield (
        f"One crown design ({len(run.design.mesh):,} triangles) was compared with the scans of "
        f"{count_words(len(run.crowns), 'produced crown')} in "
        f"{count_words(len(sizes), 'group')} ({'; '.join(sizes)})."
    )
    facts = [
        f"{titles[plan.name]}: {', '.join(f'{k} {v}' for k, v in plan.facts.items() if v)}"
        for plan in run.plan.groups
        if plan.name in titles and any(plan.facts.values())
    ]
    if facts:
        yield f"Production: {'; '.join(facts)}."
    own = differing_facts(run.plan)
    if own:
        yield f"Differing between the crowns of a group: {listed(own)} (table of the crowns)."
    if run.left_out:
        reasons = [f"{scan.name}: {scan.reason}" for scan in run.left_out]
        yield (
            f"{counted(len(run.left_out), 'scan')} could not be used and "
            f"{'was' if len(run.left_out) == 1 else 'were'} left out. {' '.join(reasons)}"
        )


def _measuring(run: StudyRun, analysis: StudyAnalysis, cite: _Citations) -> Iterator[str]:
    check, fit = run.plan.check, run.plan.check.superimpose
    where = listed([area_words(name) for name in check.fit_areas]) or "the whole surface"
    start = START_WORDS.get(run.crowns[0].superimposition.start, "") if run.crowns else ""
    yield (
        f"Each scan was superimposed on the design by a rigid best fit without scaling "
        f"({WEIGHTING_WORDS[fit.fit_weighting]}, {where}"
        f"{', started ' + start if start else ''})."
        if fit.refine
        else "Each scan was superimposed on the design without a best fit."
    )
    yield from _deviations(run)
    yield (
        f"Areas: {listed([area_words(name) for name in analysis.areas])}. Measures: "
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


def _comparing(run: StudyRun, analysis: StudyAnalysis, cite: _Citations) -> Iterator[str]:
    findings = analysis.findings
    level = short_share(analysis.settings.confidence)
    yield (
        f"The crown was the unit of analysis. Results are described as mean and standard deviation "
        f"with {level} confidence intervals, and as median and quartiles."
    )
    if findings.comparisons:
        yield from comparison_methods(analysis, cite)
    if findings.overall:
        yield (
            f"The {len(analysis.groups)} groups were compared at once by Welch's analysis of "
            f"variance with Games–Howell comparisons {cite('welch_anova', 'games')} and by the "
            f"Kruskal–Wallis test with Dunn's comparisons {cite('kruskal', 'dunn')}."
        )
    if analysis.marks:
        spots = len({(row.kind, row.mark) for row in analysis.marks})
        yield (
            f"At {count_words(spots, 'support mark')} the highest point above, or the lowest "
            f"below, the surrounding surface was measured on every crown and described per group, "
            f"without tests."
        )
    if findings.assumptions:
        yield (
            f"Normality was examined by the test of Shapiro and Wilk {cite('shapiro')} and "
            f"equality of spread by that of Brown and Forsythe {cite('brown')}, for "
            f"information only."
        )
        yield (
            f"The primary measure was plotted against normal quantiles {cite('filliben')} with "
            f"pointwise {level} bands from simulated normal samples {cite('atkinson')}."
        )
    if any(crown.margin_um is not None for crown in run.crowns):
        yield (
            f"Along the design's margin line the deviation was averaged over each group's crowns "
            f"every {MarginProfileSettings().step_mm:g} mm, with the standard deviation between "
            f"crowns, without tests."
        )
    yield from _precision_and_tolerances(run, analysis, cite, level)
    yield from _odd_crowns(analysis, cite)


def _precision_and_tolerances(
    run: StudyRun, analysis: StudyAnalysis, cite: _Citations, level: str
) -> Iterator[str]:
    plan, findings = analysis.settings, analysis.findings
    tested = [row for row in findings.precision_comparisons if row.test.permutations]
    if tested:
        most = max(row.test.permutations for row in tested)
        exact = "all" if all(row.test.exact for row in tested) else "up to"
        yield (
            f"The precision of groups was compared by the test of multivariate dispersions "
            f"{cite('anderson')}: the crowns' distances from the middle were permuted between "
            f"groups ({exact} {most:,} relabellings), since pairs of crowns are not independent. "
            f"Its p-values were corrected by Holm's method {cite('holm')} over all comparisons of "
            f"precision; intervals of differences are not adjusted."
        )
    limits = {row.area: row.tolerance_um for row in findings.tolerances if row.share.n}
    if limits:
        told = [f"{area_words(area)} {limit:g} µm" for area, limit in limits.items()]
        yield _within(run)
        yield (
            f"The share of crowns within tolerance of the mean absolute deviation "
            f"({'; '.join(told)}) is given with its Wilson interval {cite('wilson')}, and a "
            f"one-sided tolerance limit for {short_share(plan.next_crown_content)} of future "
            f"crowns (confidence {level}, normal model)."
        )
    if analysis.difference_shares:
        yield (
            f"Where groups differed on the surface was mapped by Welch tests at each point, with "
            f"the false discovery rate held at {short_share(plan.alpha)} {cite('benjamini')}."
        )
    yield (
        f"The level of significance was {plan.alpha:g}. Intervals and permutations that were drawn "
        f"at random used {plan.resamples:,} samples and the seed {plan.seed}."
    )


def _odd_crowns(analysis: StudyAnalysis, cite: _Citations) -> Iterator[str]:
    """Say by what rule a crown is named as unlike its group."""
    if not any(crown.unit for crown in analysis.odd_crowns):
        return
    fit = "" if analysis.findings.fit is None else ", and on the measures of fit"
    yield (
        f"A crown was named as unlike its group by a many-outlier procedure {cite('rosner')} on "
        f"the distances between superimposed surfaces in each area, on the mean absolute deviation "
        f"where it has a tolerance, on the primary measure{fit}; the chance of naming any crown of "
        f"a group in which none is odd was {short_share(analysis.settings.odd_false_alarm)}. Named "
        f"crowns stayed in all results."
    )


def _within(run: StudyRun) -> str:
    """Say when a crown counted as within tolerance."""
    tolerances = run.plan.check.tolerances
    spreads = [
        f"{'other areas' if area == ANY_AREA else area_words(area)} {spread:.2g} µm"
        for area, spread in tolerances.scanner_um.items()
        if area == ANY_AREA or area in tolerances.tolerances_um
    ]
    guard = (
        f"; {COVERAGE_FACTOR:g} times the scanner's standard uncertainty "
        f"({'; '.join(spreads)}) was kept clear of the limit on either side, and "
        f"crowns between were left undecided"
        if spreads
        else "; the scanner's uncertainty was not taken into account"
    )
    return (
        f"A crown was within tolerance only if its mean absolute deviation was so from design to "
        f"scan and from scan to design, and no scan surface without a counterpart on the design "
        f"stood beside the area higher than {tolerances.max_unmatched_um:g} µm or over more than "
        f"{tolerances.max_unmatched_mm2:g} mm²; the margin, moreover, only if it was nowhere short "
        f"or broken along more than {tolerances.max_missing_mm:g} mm{guard}."
    )


def _software(run: StudyRun) -> Iterator[str]:
    told = ", ".join(f"{name} {version}" for name, version in run.versions.items())
    yield f"Computed with {told}."
