"""Rows of a study's statistics: what each key means, as the column of that name says it."""

from __future__ import annotations

from collections.abc import Mapping

from cuspwise.standalone_core.report.tables.column import COUNT as COUNTED
from cuspwise.standalone_core.report.tables.column import TEXT as WORDS
from cuspwise.standalone_core.report.tables.column import TRUTH
from cuspwise.standalone_core.report.tables.dictionary import THEMES
from schema_of_types import NUMBER_OR_NULL, TEXT, Schema, described, record

_COLUMNS = {one.name: one for columns in THEMES.values() for one in columns}
_OF_UNITS: Mapping[str, Schema] = {
    WORDS: TEXT,
    COUNTED: {"type": ["integer", "null"]},
    TRUTH: {"type": ["boolean", "null"]},
}
_COUNTS = "n n_first n_second n_earlier n_now missing within undecided crowns operators trials"
_MORE: Mapping[str, str] = {
    "n": "How many values it is of.",
    "missing": "Values that are missing.",
    "source": "Where the tolerance comes from.",
    "within": "Crowns within the limit.",
    "undecided": "Crowns that were not decidable.",
    "outside": "Crowns outside, by name, with semicolons between them.",
    "share": "Share of crowns within the limit, 0 to 1.",
    "share_low": "Lower end of its interval.",
    "share_high": "Upper end of its interval.",
    "content": "Share of future crowns that the limit is to hold.",
    "t": "Statistic of the test.",
    "df": "Degrees of freedom.",
    "u": "U of the Mann–Whitney test.",
    "method": "How its p was found: exact or approximate.",
    "shift": "Hodges–Lehmann shift, second less first.",
    "level": "Level of the interval.",
    "welch_f": "F of Welch's analysis of variance.",
    "welch_df1": "Degrees of freedom between groups.",
    "welch_df2": "Degrees of freedom within groups.",
    "welch_p": "p of Welch's analysis of variance.",
    "acceptable": "Crowns with an acceptable score.",
    "crowns": "How many crowns it is of.",
    "scores": "How many scores it is of.",
    "operators": "How many operators scanned.",
    "trials": "How often each of them scanned a crown.",
    "words": "What the number means, in words.",
    "title": "What it is called for readers.",
    "part": "Part of the fit: seat, margin or walls.",
    "unit": "Unit of the cause's size.",
    "family_size": "How many claims share the level.",
    "without_odd": "The cause's size without odd crowns.",
    "without_odd_low": "Lower end of its interval.",
    "without_odd_high": "Upper end of its interval.",
    "confidence": "Level of the interval.",
    "p_unadjusted": "p of Welch's test, for which nothing was corrected.",
    "shared_um": "Root mean square of what else the crowns share, µm.",
    "total_um": "Root mean square of all deviations of all crowns, µm.",
    "causes_um": "Root mean square of what the stated causes make in all crowns alike, µm.",
    "between_um": "Root mean square of the standard deviation between crowns, µm.",
    "share_together": "Share of the mean square that all stated causes explain together.",
}
_TEXTS = "source outside method words title part unit"


def key(name: str) -> Schema:
    """Return a value by the column that bears its name, or by what is said here."""
    if name in _MORE:
        kind: Schema = NUMBER_OR_NULL
        if name in _TEXTS.split():
            kind = TEXT
        elif name in _COUNTS.split():
            kind = {"type": ["integer", "null"]}
        return described(kind, _MORE[name])
    column = _COLUMNS[name]
    return described(_OF_UNITS.get(column.unit, NUMBER_OR_NULL), column.meaning)


def row(names: str, **others: Schema) -> Schema:
    """Return the schema of a row: names of columns, and what has parts of its own."""
    return record({name: key(name) for name in names.split()} | others)
