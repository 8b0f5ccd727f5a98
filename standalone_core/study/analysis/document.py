"""The statistics of a study as plain data: the names that files have for each result, once.

Rows hold the results of the statistics themselves; what is written of them has names of its own,
which are an interface: differences are ``second`` minus ``first``, intervals ``low`` and ``high``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, TypeAlias

import numpy as np

from ...records import Writers, plain
from ...statistics.assumptions import Assumptions
from ...statistics.describe import Description
from ...statistics.many_groups import DunnPair, GamesHowellPair
from ...statistics.rank_sum import MannWhitney
from ...statistics.two_groups import TwoGroups
from .results.analysis import OddCrown, StudyAnalysis
from .results.comparisons import Comparison, Contrast, EquivalenceRow, OverallRow
from .results.comparisons import PrecisionComparison as Precision
from .results.groups import AssumptionRow, PrecisionRow, Summary, ToleranceRow
from .results.scores import (
    AgreementRow,
    KappaRow,
    ScannerRow,
    ScoreComparison,
    ScoreCorrelation,
    ScoreGroupRow,
)

ANALYSIS_SCHEMA_VERSION = 2

CHI_SQUARED = "χ² approximation"

Record: TypeAlias = dict[str, Any]


def analysis_document(analysis: StudyAnalysis) -> Record:
    """Return an analysis as plain data, ready for ``json.dumps(…, allow_nan=False)``.

    Numbers that do not exist are None.
    """
    return {
        "schema": "cuspwise study analysis",
        "schema_version": ANALYSIS_SCHEMA_VERSION,
        **plain(analysis, WRITERS),
    }


def _description(found: Description) -> Record:
    return {
        "n": found.n,
        "missing": found.missing,
        "mean": found.mean,
        "sd": found.sd,
        "mean_low": found.ci_low,
        "mean_high": found.ci_high,
        "median": found.median,
        "q1": found.q1,
        "q3": found.q3,
        "minimum": found.min,
        "maximum": found.max,
    }


def _pairs(found: Description) -> Record:
    """Return a description of pairs, which share crowns: no interval, no quartiles."""
    whole = _description(found)
    return {name: whole[name] for name in ("n", "missing", "mean", "sd", "minimum", "maximum")}


def _summary(summary: Summary) -> Record:
    return {**_description(summary.found), "values": summary.values}


def _precision_row(row: PrecisionRow) -> Record:
    return {
        "group": row.group,
        "area": row.area,
        "measure": row.measure,
        "superimposed": _pairs(row.superimposed),
        "design_frame": _pairs(row.design_frame),
        "dispersion": row.dispersion,
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
        "share": row.share.share,
        "share_low": row.share.ci_low,
        "share_high": row.share.ci_high,
        "next_crown_um": row.next_crown.limit,
        "content": row.next_crown.content,
        "confidence": row.next_crown.confidence,
        "meets": row.meets,
        "sentence": row.sentence,
        "reason": str(row.next_crown.reason),
    }


def _assumptions(row: AssumptionRow) -> Record:
    return {
        "area": row.area,
        "measure": row.measure,
        "normality": _normality(row.found),
        "brown_forsythe_f": row.found.spread.f,
        "brown_forsythe_p": row.found.spread.p,
        "reason": str(row.found.spread.reason),
    }


def _normality(found: Assumptions) -> tuple[Record, ...]:
    return tuple(
        {
            "group": group,
            "n": test.n,
            "statistic": test.w,
            "p_value": test.p,
            "reason": str(test.reason),
        }
        for group, test in found.normality.items()
    )


def _comparison(row: Comparison) -> Record:
    found = row.found
    return {
        **_groups(row),
        "n_first": found.n_b,
        "n_second": found.n_a,
        "mean_first": found.mean_b,
        "mean_second": found.mean_a,
        **_difference(row),
        "lead": row.lead,
        "p_value": row.p_value,
        "p_holm": row.corrected.p_holm,
        "family": row.corrected.family,
        "primary": row.primary,
        "welch": _welch(found),
        "ranks": _ranks(found),
        "effects": _effects(found),
        **_conclusion(row),
    }


def _precision_comparison(row: Precision) -> Record:
    found = row.found
    return {
        **_groups(row),
        "n_first": len(found.distances[row.first]),
        "n_second": len(found.distances[row.second]),
        "mean_first": found.dispersion[row.first],
        "mean_second": found.dispersion[row.second],
        **_difference(row),
        "p_value": row.p_value,
        "p_holm": row.corrected.p_holm,
        "family": row.corrected.family,
        "permutations": found.permutations,
        "exact": found.exact,
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


def _welch(found: TwoGroups) -> Record:
    test = found.welch
    return {
        "difference": test.difference,
        "low": test.ci_low,
        "high": test.ci_high,
        "t": test.t,
        "df": test.df,
        "p_value": test.p,
        "reason": str(test.reason),
    }


def _ranks(found: TwoGroups) -> Record:
    test, shift = found.mann_whitney, found.shift
    reasons = dict.fromkeys(str(reason) for reason in (test.reason, shift.reason) if reason)
    return {
        "u": test.u,
        "p_value": test.p,
        "method": test.method,
        "shift": shift.estimate,
        "low": shift.ci_low,
        "high": shift.ci_high,
        "reason": " ".join(reasons),
    }


def _effects(found: TwoGroups) -> Record:
    g, delta = found.hedges_g, found.cliff_delta
    return {
        "hedges_g": g.g,
        "hedges_low": g.ci_low,
        "hedges_high": g.ci_high,
        "cliff_delta": delta.delta,
        "cliff_low": delta.ci_low,
        "cliff_high": delta.ci_high,
    }


def _equivalence(row: EquivalenceRow) -> Record:
    return {
        "margin": row.margin,
        "low": row.low,
        "high": row.high,
        "level": row.level,
        "p_value": row.p_value,
        "p_holm": row.p_holm,
        "equivalent": row.equivalent,
        "reason": row.reason,
        "lead": row.lead,
    }


def _overall(row: OverallRow) -> Record:
    anova = None if row.found is None else row.found.welch_anova
    kruskal = None if row.found is None else row.found.kruskal_wallis
    leading = anova if row.lead == "welch" else kruskal
    return {
        "area": row.area,
        "measure": row.measure,
        "groups": () if row.found is None else tuple(row.found.n),
        "lead": row.lead,
        "p_value": np.nan if leading is None else leading.p,
        "p_holm": row.corrected.p_holm,
        "primary": row.primary,
        "welch_f": np.nan if anova is None else anova.f,
        "welch_df1": np.nan if anova is None else anova.df_between,
        "welch_df2": np.nan if anova is None else anova.df_within,
        "welch_p": np.nan if anova is None else anova.p,
        "kruskal_h": np.nan if kruskal is None else kruskal.h,
        "kruskal_df": np.nan if kruskal is None else kruskal.df,
        "kruskal_p": np.nan if kruskal is None else kruskal.p,
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
    return {
        "crown": row.crown,
        "group": row.group,
        "odd": row.odd,
        "score": row.score,
        "limit": row.limit,
        "reason": row.reason,
    }


def _kappa(row: KappaRow) -> Record:
    plain_kappa, weighted = row.plain, row.weighted
    return {
        "first": row.first,
        "second": row.second,
        "n": plain_kappa.n,
        "percent": plain_kappa.percent,
        "kappa": plain_kappa.kappa,
        "kappa_low": plain_kappa.ci_low,
        "kappa_high": plain_kappa.ci_high,
        "weighted": weighted.kappa,
        "weighted_low": weighted.ci_low,
        "weighted_high": weighted.ci_high,
        "words": row.words,
        "reason": str(plain_kappa.reason),
    }


def _agreement(row: AgreementRow) -> Record:
    fleiss = row.fleiss
    return {
        "item": row.item,
        "examiners": row.examiners,
        "n": row.n,
        "percent": row.percent,
        "pairs": row.pairs,
        "fleiss": np.nan if fleiss is None else fleiss.kappa,
        "fleiss_low": np.nan if fleiss is None else fleiss.ci_low,
        "fleiss_high": np.nan if fleiss is None else fleiss.ci_high,
        "sentence": row.sentence,
        "reason": "There is one examiner." if fleiss is None else str(fleiss.reason),
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
        "fisher_p": row.fisher_p,
        "fisher_p_holm": row.fisher_p_holm,
        "rank_statistic": ranks.u if isinstance(ranks, MannWhitney) else ranks.h,
        "rank_p": ranks.p,
        "rank_method": ranks.method if isinstance(ranks, MannWhitney) else CHI_SQUARED,
        "rank_p_holm": row.rank_p_holm,
        "sentence": row.sentence,
        "reason": str(ranks.reason),
    }


def _correlation(row: ScoreCorrelation) -> Record:
    return {
        "item": row.item,
        "area": row.area,
        "measure": row.measure,
        "n": row.found.n,
        "rho": row.found.rho,
        "low": row.found.ci_low,
        "high": row.found.ci_high,
        "p_value": row.found.p,
        "sentence": row.sentence,
        "reason": str(row.found.reason),
    }


def _scanner(row: ScannerRow) -> Record:
    found = row.found
    return {
        "area": row.area,
        "measure": row.measure,
        "crowns": 0 if found is None else found.parts,
        "operators": 0 if found is None else found.operators,
        "trials": 0 if found is None else found.trials,
        "repeatability": np.nan if found is None else found.repeatability,
        "reproducibility": np.nan if found is None else found.reproducibility,
        "gauge": np.nan if found is None else found.gauge,
        "crown_sd": np.nan if found is None else found.part,
        "study_share": np.nan if found is None else found.study_percent / 100,
        "categories": 0 if found is None else found.distinct_categories,
        "smallest_difference": row.smallest_difference,
        "clamped": () if found is None else found.clamped,
        "reason": row.reason,
    }


_WRITERS: dict[type, Callable[[Any], Mapping[str, Any]]] = {
    Summary: _summary,
    PrecisionRow: _precision_row,
    ToleranceRow: _tolerance,
    AssumptionRow: _assumptions,
    Comparison: _comparison,
    Precision: _precision_comparison,
    EquivalenceRow: _equivalence,
    OverallRow: _overall,
    OddCrown: _odd_crown,
    KappaRow: _kappa,
    AgreementRow: _agreement,
    ScoreGroupRow: _score_group,
    ScoreComparison: _score_comparison,
    ScoreCorrelation: _correlation,
    ScannerRow: _scanner,
}
WRITERS: Writers = MappingProxyType(_WRITERS)
"""What is written of each type of row, in ``study.json`` and in tables alike."""
