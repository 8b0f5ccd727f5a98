"""The statistics of a study as plain data: the names that files have for each result, once.

Rows hold the results of the statistics themselves; what is written of them has names of its own,
which are an interface: differences are ``second`` minus ``first``, intervals ``low`` and ``high``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from ...records import Writers, plain
from ...statistics.assumptions import Assumptions
from ...statistics.describe import Description
from ...statistics.many_groups import DunnPair, GamesHowellPair
from ...statistics.rank_sum import MannWhitney
from .causes_document import cause_comparison_record, group_why_record, shared_cause_record
from .earlier_document import earlier_row_record, earlier_tolerance_record
from .results.analysis import OddCrown, StudyAnalysis
from .results.causes import CauseComparison, GroupWhy, SharedCause
from .results.comparisons import Comparison, Contrast, EquivalenceRow, OverallRow
from .results.comparisons import PrecisionComparison as Precision
from .results.earlier import EarlierRow, EarlierTolerance
from .results.fit import FitLimitRow
from .results.groups import AssumptionRow, PairRow, Summary, ToleranceRow
from .results.scores import (
    AgreementRow,
    ScannerRow,
    ScoreComparison,
    ScoreCorrelation,
    ScoreGroupRow,
)
from .tests_document import (
    Record,
    effects_record,
    named,
    ranks_record,
    trimmed_record,
    welch_record,
)

ANALYSIS_SCHEMA_VERSION = 3

CHI_SQUARED = "χ² approximation"


def analysis_document(analysis: StudyAnalysis) -> Record:
    """Return an analysis as plain data, ready for ``json.dumps(…, allow_nan=False)``.

    Numbers that do not exist are None.
    """
    return {
        "schema": "cuspwise study analysis",
        "schema_version": ANALYSIS_SCHEMA_VERSION,
        **plain(analysis, WRITERS),
    }


def _description(result: Description) -> Record:
    return {
        **named(result, n="n", missing="missing", mean="mean", sd="sd"),
        **named(result, mean_low="ci_low", mean_high="ci_high", median="median"),
        **named(result, q1="q1", q3="q3", minimum="min", maximum="max"),
    }


def _pairs(result: Description) -> Record:
    """Return a description of pairs, which share crowns: no interval, no quartiles."""
    whole = _description(result)
    return {name: whole[name] for name in ("n", "missing", "mean", "sd", "minimum", "maximum")}


def _summary(summary: Summary) -> Record:
    return {**_description(summary.description), "values": summary.values}


def _pair_row(row: PairRow) -> Record:
    return {
        "group": row.group,
        "area": row.area,
        "measure": row.measure,
        **_pairs(row.description),
        "reason": row.reason,
    }


def _tolerance(row: ToleranceRow) -> Record:
    return {
        "group": row.group,
        "area": row.area,
        "tolerance_um": row.tolerance_um,
        "source": row.source,
        "n": row.share.n,
        "within": row.share.within,
        "undecided": row.undecided,
        "outside": "; ".join(row.outside),
        "share": row.share.share,
        "share_low": row.share.ci_low,
        "share_high": row.share.ci_high,
        "next_crown_um": row.next_crown.limit,
        "content": row.next_crown.content,
        "confidence": row.next_crown.confidence,
        "shapiro_p": row.normality.p,
        "meets": row.meets,
        "rests_on_model": row.rests_on_model,
        "sentence": row.sentence,
        "reason": str(row.next_crown.reason),
    }


def _fit_limit(row: FitLimitRow) -> Record:
    names = ("group", "part", "measure", "area", "title", "limit")
    return {
        **{name: getattr(row, name) for name in names},
        "n": row.share.n,
        "within": row.share.within,
        "undecided": row.undecided,
        "share": row.share.share,
        "share_low": row.share.ci_low,
        "share_high": row.share.ci_high,
        "sentence": row.sentence,
    }


def _assumptions(row: AssumptionRow) -> Record:
    return {
        "area": row.area,
        "measure": row.measure,
        "normality": _normality(row.tests),
        "brown_forsythe_f": row.tests.spread.f,
        "brown_forsythe_p": row.tests.spread.p,
        "reason": str(row.tests.spread.reason),
    }


def _normality(result: Assumptions) -> tuple[Record, ...]:
    return tuple(
        {
            "group": group,
            "n": test.n,
            "statistic": test.w,
            "p_value": test.p,
            "reason": str(test.reason),
        }
        for group, test in result.normality.items()
    )


def _comparison(row: Comparison) -> Record:
    tests = row.tests
    return {
        **_groups(row),
        "n_first": tests.n_b,
        "n_second": tests.n_a,
        "mean_first": tests.mean_b,
        "mean_second": tests.mean_a,
        **_difference(row),
        "lead": row.lead,
        "p_value": row.p_value,
        "p_adjusted": row.adjusted.p,
        "family": row.adjusted.family,
        "standing": row.standing,
        "primary": row.primary,
        "welch": welch_record(tests),
        "trimmed": trimmed_record(tests),
        "ranks": ranks_record(tests),
        "effects": effects_record(tests),
        **_conclusion(row),
    }


def _precision_comparison(row: Precision) -> Record:
    test = row.test
    return {
        **_groups(row),
        "n_first": len(test.distances[row.first]),
        "n_second": len(test.distances[row.second]),
        "mean_first": test.means[row.first],
        "mean_second": test.means[row.second],
        **_difference(row),
        "p_value": row.p_value,
        "p_adjusted": row.adjusted.p,
        "family": row.adjusted.family,
        "permutations": test.permutations,
        "exact": test.exact,
        **_conclusion(row),
    }


def _groups(row: Contrast) -> Record:
    return {"area": row.area, "measure": row.measure, "first": row.first, "second": row.second}


def _difference(row: Contrast) -> Record:
    return {"difference": row.difference, "low": row.low, "high": row.high}


def _conclusion(row: Contrast) -> Record:
    return {
        "equivalence": row.equivalence,
        "outcome": row.outcome,
        "sentence": row.sentence,
        "scanner_limit": row.scanner_limit,
        "below_scanner": row.below_scanner,
        "reason": row.reason,
    }


def _equivalence(row: EquivalenceRow) -> Record:
    names = (
        "limit",
        "low",
        "high",
        "level",
        "p_value",
        "p_adjusted",
        "equivalent",
        "reason",
        "lead",
    )
    return {name: getattr(row, name) for name in names}


def _overall(row: OverallRow) -> Record:
    anova = None if row.tests is None else row.tests.welch_anova
    kruskal = None if row.tests is None else row.tests.kruskal_wallis
    return {
        "area": row.area,
        "measure": row.measure,
        "groups": () if row.tests is None else tuple(row.tests.n),
        "lead": row.lead,
        **named(anova if row.lead != "ranks" else kruskal, p_value="p"),
        "primary": row.primary,
        **named(anova, welch_f="f", welch_df1="df_between", welch_df2="df_within", welch_p="p"),
        **named(kruskal, kruskal_h="h", kruskal_df="df", kruskal_p="p"),
        "post_hoc": tuple(_post_hoc(*pair) for pair in row.pairs),
        "sentence": row.sentence,
        "reason": row.reason,
    }


def _post_hoc(means: GamesHowellPair, ranks: DunnPair) -> Record:
    """Return a pair's results turned round: second minus first."""
    return {
        "first": means.first,
        "second": means.second,
        "difference": -means.difference,
        "low": -means.ci_high,
        "high": -means.ci_low,
        "games_howell_p": means.p,
        "dunn_z": -ranks.z,
        "dunn_p": ranks.p,
        "dunn_p_holm": ranks.p_holm,
    }


def _odd_crown(row: OddCrown) -> Record:
    names = ("crown", "group", "odd", "score", "limit", "reason")
    return {name: getattr(row, name) for name in names}


MISSING_RULES: Mapping[str, str] = MappingProxyType(
    {"complete": "complete cases", "all_scores": "all scores given (Gwet)"}
)
"""Which crowns an agreement number is of, as files and the page have it."""


def _agreement(row: AgreementRow) -> Record:
    result = row.result
    return {
        "item": row.item,
        "statistic": row.statistic,
        "examiners": row.examiners,
        "value": row.value,
        **named(result, low="ci_low", high="ci_high", confidence="confidence"),
        "crowns": result.n,
        "scores": row.scores,
        "missing_scores": MISSING_RULES[row.rule],
        "words": row.words,
        "reason": str(result.reason),
    }


def _score_group(row: ScoreGroupRow) -> Record:
    return {
        "item": row.item,
        "group": row.group,
        "n": row.share.n,
        "counts": row.counts,
        "acceptable": row.share.within,
        "share": row.share.share,
        "share_low": row.share.ci_low,
        "share_high": row.share.ci_high,
    }


def _score_comparison(row: ScoreComparison) -> Record:
    ranks = row.ranks
    return {
        "item": row.item,
        "groups": row.groups,
        "rank_statistic": ranks.u if isinstance(ranks, MannWhitney) else ranks.h,
        "rank_method": ranks.method if isinstance(ranks, MannWhitney) else CHI_SQUARED,
        "rank_p": ranks.p,
        "rank_p_adjusted": row.rank_p_adjusted,
        "family": row.family,
        "outcome": row.outcome,
        "outcome_complete": row.complete,
        "fisher_p": row.fisher_p,
        "sentence": row.sentence,
        "reason": str(ranks.reason),
    }


def _correlation(row: ScoreCorrelation) -> Record:
    return {
        "item": row.item,
        "area": row.area,
        "measure": row.measure,
        **named(row.correlation, n="n", rho="rho", low="ci_low", high="ci_high", p_value="p"),
        "sentence": row.sentence,
        "reason": str(row.correlation.reason),
    }


def _scanner(row: ScannerRow) -> Record:
    gauge = row.gauge
    counts = {"crowns": "parts", "operators": "operators", "trials": "trials"}
    spreads = {name: name for name in ("repeatability", "reproducibility", "gauge")}
    return {
        "area": row.area,
        "measure": row.measure,
        **(dict.fromkeys(counts, 0) if gauge is None else named(gauge, **counts)),
        **named(gauge, **spreads, crown_sd="part"),
        **named(row.distance, distance_repeatability="repeatability"),
        **named(gauge, scanner_share_of_sd="sd_share", scanner_share_of_variance="variance_share"),
        "distinct_categories": None if gauge is None else gauge.distinct_categories,
        "icc_form": "" if row.intraclass is None else row.intraclass.form,
        **named(row.intraclass, icc="icc", icc_low="ci_low", icc_high="ci_high"),
        "smallest_difference": row.smallest_difference,
        "clamped": () if gauge is None else gauge.clamped,
        "reason": row.reason,
    }


_WRITERS: dict[type, Callable[[Any], Mapping[str, Any]]] = {
    Summary: _summary,
    PairRow: _pair_row,
    ToleranceRow: _tolerance,
    AssumptionRow: _assumptions,
    Comparison: _comparison,
    Precision: _precision_comparison,
    EquivalenceRow: _equivalence,
    OverallRow: _overall,
    OddCrown: _odd_crown,
    AgreementRow: _agreement,
    ScoreGroupRow: _score_group,
    ScoreComparison: _score_comparison,
    ScoreCorrelation: _correlation,
    ScannerRow: _scanner,
    FitLimitRow: _fit_limit,
    SharedCause: shared_cause_record,
    GroupWhy: group_why_record,
    CauseComparison: cause_comparison_record,
    EarlierRow: earlier_row_record,
    EarlierTolerance: earlier_tolerance_record,
}
WRITERS: Writers = MappingProxyType(_WRITERS)
"""What is written of each type of row, in ``study.json`` and in tables alike."""
