"""Groups compared by examiners' scores: ranks of the crowns' medians, and acceptable or not.

One family of claims: the tests of ranks of every two groups on every item, by Holm at the plan's
level. Fisher's exact test, and that of all groups at once, stand beside them and make none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import stats

from ...arrays import FloatArray
from ...shares import short_share
from ...statistics.many_groups import kruskal_wallis
from ...statistics.multiplicity import holm
from ...statistics.rank_sum import MannWhitney, mann_whitney
from ...words.names import item_words
from ...words.text import count_words, listed
from .cohort import Cohort
from .results.scores import ScoreComparison, ScoreOutcome
from .sentences import p_words

Medians = Mapping[str, Mapping[str, FloatArray]]
"""The crowns' median scores by item and group."""

_OUTCOME_WORDS: Mapping[ScoreOutcome, str] = {
    "worse": "the scores of {second} are worse than those of {first}",
    "better": "the scores of {second} are better than those of {first}",
    "not_shown": "that the scores of {second} and {first} differ is not shown",
    "not_computed": "{second} and {first} cannot be compared",
}


@dataclass(frozen=True)
class _Pair:
    """Two groups on one item, with the test of ranks corrected over its family."""

    item: str
    groups: tuple[str, str]
    ranks: MannWhitney
    p_adjusted: float
    family: int
    outcome: ScoreOutcome


def score_comparisons(
    cohort: Cohort, medians: Medians, complete: Medians
) -> tuple[ScoreComparison, ...]:
    """Compare every pair of groups per item, and describe three or more groups at once.

    Mann–Whitney's test of the crowns' median scores, exact also with the many ties of scores,
    makes the claims: Holm over items × pairs of groups. Fisher's exact test of "acceptable or not"
    and, of all groups, that of Kruskal and Wallis stand beside it, exploratory.

    Parameters
    ----------
    cohort : Cohort
    medians : mapping of item to mapping of group to (n,) float
        Of all crowns that any examiner scored.
    complete : mapping of item to mapping of group to (n,) float
        Of those that all scored: the same is done with them, to see what rests on the others.
    """
    pairs, again = score_pairs(cohort, medians), score_pairs(cohort, complete)
    rows = [
        _row(cohort, pair, twin.outcome, medians[pair.item])
        for pair, twin in zip(pairs, again, strict=True)
    ]
    return (*_overall(cohort, medians), *rows)


def score_pairs(cohort: Cohort, medians: Medians) -> list[_Pair]:
    """Test every two groups on every item by ranks, as one family."""
    places = list(product(medians, cohort.group_pairs))
    tests = [mann_whitney(medians[i][second], medians[i][first]) for i, (first, second) in places]
    adjusted = holm([test.p for test in tests])
    family = int(np.count_nonzero(~np.isnan(adjusted)))
    alpha = cohort.plan.analysis.alpha
    return [
        _Pair(item, pair, test, float(p), family, _outcome(test, float(p), alpha))
        for (item, pair), test, p in zip(places, tests, adjusted, strict=True)
    ]


def _outcome(test: MannWhitney, p: float, alpha: float) -> ScoreOutcome:
    if np.isnan(p):
        return "not_computed"
    if p > alpha:
        return "not_shown"
    return "worse" if test.u > test.n_a * test.n_b / 2 else "better"


def _row(
    cohort: Cohort, pair: _Pair, complete: ScoreOutcome, medians: Mapping[str, FloatArray]
) -> ScoreComparison:
    counts, fisher = _acceptable(cohort, pair, medians)
    return ScoreComparison(
        item=pair.item,
        groups=pair.groups,
        ranks=pair.ranks,
        rank_p_adjusted=pair.p_adjusted,
        family=pair.family,
        outcome=pair.outcome,
        fisher_p=fisher,
        complete=complete,
        sentence=_sentence(cohort, pair, counts),
    )


def _acceptable(
    cohort: Cohort, pair: _Pair, medians: Mapping[str, FloatArray]
) -> tuple[str, float]:
    """Return how many crowns of either group are acceptable, in words, and Fisher's p."""
    table = []
    for group in pair.groups:
        good = int((medians[group] <= cohort.plan.scores.acceptable).sum())
        table.append((good, len(medians[group]) - good))
    if not all(map(sum, table)):
        return "", np.nan
    p = float(stats.fisher_exact(np.array(table))[1])
    first, second = (f"{good} of {good + bad}" for good, bad in table)
    test = f"Fisher's exact test, {p_words(p)} unadjusted"
    return f"acceptable {second} and {first} ({test})", p


def _sentence(cohort: Cohort, pair: _Pair, counts: str) -> str:
    first, second = (cohort.title(group) for group in pair.groups)
    name = item_words(pair.item)
    if pair.outcome == "not_computed":
        return f"{name}: {second} and {first} were not compared. {pair.ranks.reason}"
    adjusted = (
        f", after correction for {pair.family} comparisons {p_words(pair.p_adjusted)}"
        if pair.family > 1
        else ""
    )
    said = _OUTCOME_WORDS[pair.outcome].format(first=first, second=second)
    return f"{name}: {said} (Mann–Whitney test, {p_words(pair.ranks.p)}{adjusted}); {counts}."


def _overall(cohort: Cohort, medians: Medians) -> list[ScoreComparison]:
    if len(cohort.groups) < 3:
        return []
    names, rows = listed([cohort.title(group) for group in cohort.groups]), []
    for item, groups in medians.items():
        test = kruskal_wallis(groups)
        words = f"Kruskal–Wallis test, {p_words(test.p)}, unadjusted and exploratory."
        said = f"not compared. {test.reason}" if test.reason else words
        rows.append(
            ScoreComparison(
                item=item,
                groups=cohort.groups,
                ranks=test,
                rank_p_adjusted=np.nan,
                family=0,
                outcome="described",
                fisher_p=np.nan,
                complete="described",
                sentence=f"{item_words(item)}, {names} at once: {said}",
            )
        )
    return rows


def score_doubts(cohort: Cohort, rows: Sequence[ScoreComparison]) -> tuple[str, ...]:
    """Return which conclusions rest on crowns that not all examiners scored."""
    doubts = []
    for row in rows:
        if row.complete != row.outcome:
            first, second = (cohort.title(group) for group in row.groups)
            with_all, without = (
                _OUTCOME_WORDS[outcome].format(first=first, second=second)
                for outcome in (row.outcome, row.complete)
            )
            doubts.append(
                f"{item_words(row.item)}: {with_all}; with only the crowns that all examiners "
                f"scored, {without}."
            )
    return tuple(doubts)


def doubts_told(doubts: Sequence[str]) -> list[str]:
    """Return what the answer itself says of conclusions that rest on crowns with gaps."""
    if not doubts:
        return []
    begin = "Examiners' scores are missing, and what is said of groups rests on that."
    if len(doubts) == 1:
        return [f"{begin} {doubts[0]}"]
    return [
        f"{begin} With only the crowns that all examiners scored, {len(doubts)} conclusions about "
        f"scores would be others; the report names them."
    ]


def level_words(cohort: Cohort, rows: Sequence[ScoreComparison], correlations: int) -> list[str]:
    """Say which tests of scores make claims, as what family and at what level."""
    alpha, words = short_share(cohort.plan.analysis.alpha), []
    family = max((row.family for row in rows), default=0)
    if family:
        pairs = len(cohort.group_pairs)
        items = len({row.item for row in rows})
        corrected = (
            f"corrected by Holm's method over {count_words(items, 'item')} × "
            f"{count_words(pairs, 'pair')} of groups"
            f"{'' if family == items * pairs else f', {family} of which could be tested'}"
            if family > 1
            else "one comparison, so not corrected"
        )
        several = " and the Kruskal–Wallis test of all groups at once" * (pairs > 1)
        words += [
            f"Claims about scores are a family of their own: Mann–Whitney tests of the crowns' "
            f"median scores, {corrected}. The chance of any false claim among them is at most "
            f"{alpha}.",
            f"Fisher's exact test of acceptable or not{several} "
            f"{'are' if several else 'is'} exploratory: not adjusted, and nothing is claimed of "
            f"{'them' if several else 'it'}.",
        ]
    if correlations:
        words.append(
            f"{count_words(correlations, 'rank correlation')} (Spearman's) of scores with what was "
            f"measured {'is' if correlations == 1 else 'are'} exploratory too. Crowns of all "
            f"groups are in them: groups that differ in both make a correlation large."
        )
    return words
