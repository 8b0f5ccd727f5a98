"""Groups compared by examiners' scores: ranks of the crowns' medians, and acceptable or not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import stats

from ...arrays import FloatArray
from ...statistics.many_groups import kruskal_wallis
from ...statistics.multiplicity import holm
from ...statistics.rank_sum import MannWhitney, mann_whitney
from ...words.names import item_words
from ...words.text import listed
from .cohort import Cohort
from .results.scores import ScoreComparison
from .sentences import p_words

Medians = Mapping[str, Mapping[str, FloatArray]]


@dataclass(frozen=True)
class _Draft:
    item: str
    groups: tuple[str, str]
    acceptable: tuple[tuple[int, int], tuple[int, int]]
    ranks: MannWhitney
    fisher_p: float


def score_comparisons(cohort: Cohort, medians: Medians) -> tuple[ScoreComparison, ...]:
    """Compare every pair of groups, and three or more at once, per item.

    Mann–Whitney's test of the crowns' median scores leads, exact also with the many ties of
    scores; Fisher's exact test of "acceptable or not" stands beside it. Holm over items × pairs.

    Parameters
    ----------
    cohort : Cohort
    medians : mapping of item to mapping of group to (n,) float
    """
    drafts = [
        _draft(cohort, item, pair, medians[item])
        for item, pair in product(medians, cohort.group_pairs)
    ]
    ranks = holm([draft.ranks.p for draft in drafts])
    fisher = holm([draft.fisher_p for draft in drafts])
    return (
        *_overall(cohort, medians),
        *(
            _pair(cohort, draft, float(p), float(q))
            for draft, p, q in zip(drafts, ranks, fisher, strict=True)
        ),
    )


def _draft(
    cohort: Cohort, item: str, pair: tuple[str, str], medians: Mapping[str, FloatArray]
) -> _Draft:
    first, second = (medians[group] for group in pair)
    limit = cohort.plan.scores.acceptable
    good = int((first <= limit).sum()), int((second <= limit).sum())
    table = (good[0], len(first) - good[0]), (good[1], len(second) - good[1])
    enough = len(first) and len(second)
    fisher = float(stats.fisher_exact(np.array(table))[1]) if enough else np.nan
    return _Draft(item, pair, table, mann_whitney(second, first), fisher)


def _pair(cohort: Cohort, draft: _Draft, p_holm: float, fisher_p_holm: float) -> ScoreComparison:
    return ScoreComparison(
        item=draft.item,
        groups=draft.groups,
        fisher_p=draft.fisher_p,
        fisher_p_holm=fisher_p_holm,
        ranks=draft.ranks,
        rank_p_holm=p_holm,
        sentence=_pair_sentence(cohort, draft, p_holm, fisher_p_holm),
    )


def _pair_sentence(cohort: Cohort, draft: _Draft, p_holm: float, fisher_p_holm: float) -> str:
    name = item_words(draft.item)
    first, second = (cohort.title(group) for group in draft.groups)
    if np.isnan(p_holm):
        return f"{name}: {second} and {first} were not compared. {draft.ranks.reason}"
    (good_1, bad_1), (good_2, bad_2) = draft.acceptable
    counts = (
        f"acceptable {good_2} of {good_2 + bad_2} and {good_1} of {good_1 + bad_1} "
        f"(Fisher's exact test, {p_words(fisher_p_holm)})"
    )
    test = f"Mann–Whitney test, {p_words(p_holm)}"
    pairs = (good_1 + bad_1) * (good_2 + bad_2)
    if p_holm > cohort.plan.analysis.alpha:
        return (
            f"{name}: that the scores of {second} and {first} differ is not shown ({test}); "
            f"{counts}."
        )
    way = "worse" if draft.ranks.u > pairs / 2 else "better"
    return f"{name}: the scores of {second} are {way} than those of {first} ({test}); {counts}."


def _overall(cohort: Cohort, medians: Medians) -> list[ScoreComparison]:
    if len(cohort.groups) < 3:
        return []
    found = {item: kruskal_wallis(groups) for item, groups in medians.items()}
    corrected = holm([test.p for test in found.values()])
    names = listed([cohort.title(group) for group in cohort.groups])
    rows = []
    for (item, test), p_holm in zip(found.items(), corrected, strict=True):
        name = item_words(item)
        words = f"(Kruskal–Wallis test, {p_words(float(p_holm))})"
        if test.reason:
            sentence = f"{name}: {names} were not compared at once. {test.reason}"
        elif p_holm <= cohort.plan.analysis.alpha:
            sentence = f"{name}: the scores of at least one of {names} differ {words}."
        else:
            sentence = f"{name}: that the scores of {names} differ is not shown {words}."
        rows.append(
            ScoreComparison(
                item=item,
                groups=cohort.groups,
                fisher_p=np.nan,
                fisher_p_holm=np.nan,
                ranks=test,
                rank_p_holm=float(p_holm),
                sentence=sentence,
            )
        )
    return rows
