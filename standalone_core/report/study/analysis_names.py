"""What columns are called where ``study.json`` has a name that needs its place to be understood.

In the document a number belongs to what stands around it; a column's name has to say by itself
what it means, and in every table the same.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..tables.column import OF_ROW, unit_of
from ..tables.dictionary import COLUMNS
from ..tables.table import Names, Row, Table, table_of

_SHARES: Names = {
    "n": "n_judged",
    "within": "n_within",
    "undecided": "n_undecided",
    "share": "within_share",
    "share_low": "within_share_low",
    "share_high": "within_share_high",
}
_DIFFERENCE: Names = {"low": "difference_low", "high": "difference_high"}
_COMPARED: Names = {
    **_DIFFERENCE,
    "family": "family_size",
    "equivalence_equivalent": "equivalent",
    "effects_hedges_g": "hedges_g",
    "effects_hedges_low": "hedges_low",
    "effects_hedges_high": "hedges_high",
    "effects_cliff_delta": "cliff_delta",
    "effects_cliff_low": "cliff_low",
    "effects_cliff_high": "cliff_high",
}
_DESCRIBED: Names = {
    "crowns": None,  # their names, which other tables have
    "summary_n": "n_crowns",
    "summary_missing": "n_missing",
    **{
        f"summary_{name}": name
        for name in (
            *("mean", "sd", "mean_low", "mean_high", "median"),
            *("q1", "q3", "minimum", "maximum"),
        )
    },
}
_ASSUMED: Names = {
    "normality_group": "group",
    "normality_n": "n_crowns",
    "normality_statistic": "shapiro_w",
    "normality_p_value": "shapiro_p",
    "normality_reason": "shapiro_reason",
}
_OVERALL: Names = {
    "welch_f": "anova_f",
    "welch_df1": "anova_df1",
    "welch_df2": "anova_df2",
    "welch_p": "anova_p",
    "post_hoc": None,  # a table of its own
}
_MARKS: Names = {
    "kind": "mark_kind",
    "n": "n_crowns",
    **{name: f"n_{name}" for name in ("not_measured", "stubs", "gouges", "clean")},
}
_PROFILE = ("mean", "sd", "low", "high", "min", "max")

NAMES: dict[str, Names] = {
    "verdict": {"kind": "topic"},
    "odd_crowns": {"score": "odd_score", "limit": "odd_limit", "reason": "odd_reason"},
    "odd_effects": {"with_odd": "outcome_all", "without_odd": "outcome_without_odd"},
    "difference_shares": {
        "tested": "tested_share",
        "differing": "differing_share",
        "mean_um": "differing_mean_um",
    },
    "scanner": {"crowns": "n_crowns", "operators": "n_operators", "trials": "n_trials"},
    "mark_groups": _MARKS,
    "repeats": {"coverage": "coverage_share"},
    "fit_limits": {**_SHARES, "limit": "limit_words"},
    "descriptions": _DESCRIBED,
    "precision_descriptions": _DESCRIBED,
    "pair_descriptions": {
        "n": "n_pairs",
        "missing": "n_pairs_missing",
        **{name: f"pairs_{name}" for name in ("mean", "sd", "minimum", "maximum")},
    },
    "margin_profile": {
        "direction": "place_words",
        "crowns": "n_crowns",
        "n": "n_counted",
        **{f"{name}_um": f"profile_{name}_um" for name in _PROFILE},
    },
    "earlier_study": {
        **_DIFFERENCE,
        "confidence": "difference_confidence",
        "t": "welch_t",
        "df": "welch_df",
    },
    "earlier_tolerances": {
        f"{name}_{when}": f"n_{name}_{when}"
        for name in ("within", "outside", "undecided")
        for when in ("earlier", "now")
    },
    "tolerances": {
        **_SHARES,
        "source": "tolerance_source",
        "outside": "outside_crowns",
        "content": "content_share",
    },
    "assumptions": _ASSUMED,
    "comparisons": _COMPARED,
    "precision_comparisons": _COMPARED,
    "overall": _OVERALL,
    "post_hoc": _DIFFERENCE,
    "fit_groups": _DESCRIBED,
    "fit_assumptions": _ASSUMED,
    "fit_comparisons": _COMPARED,
    "fit_overall": _OVERALL,
    "fit_post_hoc": _DIFFERENCE,
    "examiners": {"median": "median_score", "measured": "measured_value"},
    "examiner_agreement": {
        "value": "agreement",
        "low": "agreement_low",
        "high": "agreement_high",
        "confidence": "agreement_confidence",
        "crowns": "n_crowns",
        "scores": "n_scores",
        "words": "kappa_words",
    },
    "examiner_comparisons": {"family": "family_size"},
    "examiner_groups": {
        "n": "n_crowns",
        "counts": "score_counts",
        "acceptable": "n_acceptable",
        "share": "acceptable_share",
        "share_low": "acceptable_share_low",
        "share_high": "acceptable_share_high",
    },
    "examiner_correlations": {
        "n": "n_crowns",
        "low": "rho_low",
        "high": "rho_high",
        "p_value": "rho_p",
    },
    "cause_comparisons": {**_COMPARED, "family": "family"},
}
"""By table: what its columns are called that the document calls otherwise; None leaves one out."""


def named_table(name: str, rows: Sequence[Row]) -> Table:
    """Return a table by the names of its columns, its measures' unit beside them where needed."""
    names = NAMES.get(name, {})
    columns = {names.get(own, own) or "" for row in rows for own in row}
    in_units = any(COLUMNS[one].unit == OF_ROW for one in columns & COLUMNS.keys())
    if in_units and all("measure" in row for row in rows):
        rows = [_with_unit(row) for row in rows]
    return table_of(rows, names)


def _with_unit(row: Row) -> Row:
    """Return a row with the unit of its measure after the measure."""
    told: dict[str, object] = {}
    for name, value in row.items():
        told[name] = value
        if name == "measure":
            told["unit"] = unit_of(str(value))
    return told
