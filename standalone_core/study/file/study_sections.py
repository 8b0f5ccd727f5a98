"""All tables of a study file: what the study is about, its groups, and how they are compared."""

from __future__ import annotations

from typing import get_args

from ..plan import MEASURES, Lead
from .check_sections import (
    AREAS,
    MARK,
    MEASURING,
    SCANNER,
    SUPERIMPOSITION,
    TOLERANCES,
    VERDICTS,
)
from .keys import Key, Section
from .value_types import Choice, Fact, File, Names, Number, Patterns, Text, Words

__all__ = [
    "ANALYSIS",
    "EQUIVALENCE",
    "EXAMINERS",
    "FACTS",
    "GROUP",
    "MARK",
    "REPEATS",
    "SETTINGS",
    "TOP",
]

_BETWEEN = Number(0, 1, high_open=True)

TOP = Section(
    "",
    "What the study is about.",
    (
        Key("title", Text(filled=True), "title", "Title of the report."),
        Key("question", Text(), "question", "The question that the study is to answer."),
        Key("design", File(), "design", "The design that all crowns were made from.", True),
    ),
)

GROUP = Section(
    "groups.NAME",
    "One table per group of crowns that were produced the same way.",
    (
        Key("title", Text(filled=True), "", "Name for readers; NAME itself if left out."),
        Key("scans", Patterns(), "", "The scans, one file per crown; * stands for any part.", True),
    ),
)
FACTS = Section(
    "groups.NAME.facts",
    "How the group was produced, in free words; any keys. They go into the report.",
    free=Fact(),
)

ANALYSIS = Section(
    "analysis",
    "How groups are compared. Choose before the crowns are measured, and leave it then.",
    (
        Key(
            "areas",
            Names(thing="area"),
            "areas",
            "Areas to report and compare; an empty list means all that are found.",
        ),
        Key(
            "measures",
            Names(MEASURES, empty=False, thing="measure"),
            "measures",
            "What is compared.",
        ),
        Key(
            "primary_area",
            Text(filled=True),
            "analysis.primary_area",
            "Area of the one comparison that the study was made for.",
        ),
        Key(
            "primary_measure",
            Choice(MEASURES),
            "analysis.primary_measure",
            "Measure of that comparison, which is not corrected; all others are (Holm).",
        ),
        Key(
            "lead",
            Choice(get_args(Lead)),
            "analysis.lead",
            "Which test decides, on difference and equivalence: of means (welch) or of ranks. Both "
            "are shown. Choose by what is known beforehand: a choice by the data spoils alpha.",
        ),
        Key("alpha", _BETWEEN, "analysis.alpha", "Chance of calling equal groups different."),
        Key("confidence", _BETWEEN, "analysis.confidence", "Level of all intervals."),
        Key(
            "next_crown_content",
            _BETWEEN,
            "analysis.next_crown_content",
            "Share of future crowns that the tolerance interval is to hold.",
        ),
        Key(
            "resamples",
            Number(100, 10_000_000, low_open=False, whole=True),
            "analysis.resamples",
            "Permutations and bootstrap samples, where not all can be tried.",
        ),
        Key(
            "seed",
            Number(0, 2**32 - 1, low_open=False, whole=True),
            "analysis.seed",
            "Start of all random numbers.",
        ),
        Key(
            "odd_false_alarm",
            _BETWEEN,
            "analysis.odd_false_alarm",
            "Chance of flagging a crown of a group without an odd one.",
        ),
    ),
)

EQUIVALENCE = Section(
    "equivalence_um",
    "Largest difference between groups that does not matter in the mouth, per area, µm;\n"
    "default stands for all areas not named. Without it equivalence is not tested. No\n"
    "source gives such a number for all uses: choose yours before the crowns are measured.",
    free=Number(),
    target="analysis.equivalence_um",
)

EXAMINERS = Section(
    "examiners",
    "Scores by examiners: a CSV file with the columns crown, examiner, gap, contact, seating.\n"
    "Scores are whole numbers, 0 for the best category, 1 for the next, and so on.",
    (
        Key("file", File(), "examiners", "The CSV file."),
        Key(
            "acceptable",
            Number(0, low_open=False, whole=True),
            "scores.acceptable",
            "The worst score with which a crown can still be placed.",
        ),
        Key("gap", Words(), "scores.words.gap", "Marginal gap felt: words for 0, 1, 2, …"),
        Key("contact", Words(), "scores.words.contact", "Contacts: words for 0, 1, 2, …"),
        Key("seating", Words(), "scores.words.seating", "Seating: words for 0, 1, 2, …"),
    ),
)

REPEATS = Section(
    "repeats",
    "Repeated scans of the same crowns: a CSV file with the columns file, crown, operator,\n"
    "trial. They tell the smallest difference that the scanner can show.",
    (Key("file", File(), "repeats", "The CSV file; paths in it start from its own folder."),),
)

SETTINGS: tuple[Section, ...] = (
    TOLERANCES,
    ANALYSIS,
    EQUIVALENCE,
    EXAMINERS,
    REPEATS,
    AREAS,
    MEASURING,
    SUPERIMPOSITION,
    SCANNER,
    VERDICTS,
)
"""The sections after the groups, in the order in which a new file lists them."""
