"""How the page writes numbers of agreement."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from ...shares import share_words
from ...study.analysis.examiner_agreement import coefficient
from ...study.analysis.results.scores import AgreementRow, AgreementStatistic
from ...words.text import NO_VALUE

AGREEMENT_WORDS: Mapping[AgreementStatistic, str] = MappingProxyType(
    {
        "same_score": "same score of all",
        "cohen_kappa": "Cohen's kappa",
        "weighted_kappa": "Cohen's kappa, quadratic weights",
        "fleiss_kappa": "Fleiss' kappa",
        "gwet_ac2": "Gwet's AC2, quadratic weights",
        "icc_a1": "ICC(A,1), absolute agreement",
    }
)


def agreement_value(row: AgreementRow, value: float) -> str:
    """Write a number of agreement: shares in per cent, coefficients with two digits."""
    if not math.isfinite(value):
        return NO_VALUE
    return share_words(value) if row.statistic == "same_score" else coefficient(value)


def agreement_interval(row: AgreementRow) -> str:
    """Write its interval."""
    low, high = row.result.ci_low, row.result.ci_high
    if not math.isfinite(low):
        return NO_VALUE
    return f"{agreement_value(row, low)} to {agreement_value(row, high)}"
