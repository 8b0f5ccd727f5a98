"""All tables of a study file: what the study is about, its groups, and how they are compared."""

from __future__ import annotations

from dataclasses import replace

from ...allowed import Text
from ...causes.settings import ProductionFacts
from ..plan import AnalysisPlan, StudyPlan
from ..score_scale import ScoreScale
from .check_sections import (
    AREAS,
    CAUSES,
    FORCE,
    MARK,
    MARKS,
    MEASURING,
    SCANNER,
    SUPERIMPOSITION,
    TOLERANCES,
    VERDICTS,
)
from .fit_sections import DIES, FIT_SECTIONS, SEATED
from .keys import Key, Section, free_key, keys_of
from .value_types import Fact, File, Patterns, Words

__all__ = [
    "ANALYSIS",
    "CROWNS",
    "EQUIVALENCE",
    "EXAMINERS",
    "FACTS",
    "GROUP",
    "LISTED_GROUP",
    "MARK",
    "PRODUCTION",
    "REPEATS",
    "SETTINGS",
    "TOP",
]

TOP = Section(
    "",
    "What the study is about.",
    (
        Key("title", Text(filled=True), "title", "Title of the report."),
        Key("question", Text(), "question", "The question that the study is to answer."),
        Key("design", File(), "design", "The design that all crowns were made from.", True),
        Key(
            "earlier",
            File(),
            "earlier",
            "The study.json of an earlier study of the same design, to compare with.",
        ),
        FORCE,
    ),
)

PRODUCTION: tuple[Key, ...] = keys_of(ProductionFacts, None)
"""What a group's table tells the search for causes; a group without these keys is searched, too."""

GROUP = Section(
    "groups.NAME",
    "One table per group of crowns that were produced the same way.",
    (
        Key("title", Text(filled=True), "", "Name for readers; NAME itself if left out."),
        Key("scans", Patterns(), "", "The scans, one file per crown; * stands for any part.", True),
        DIES,
        SEATED,
        *PRODUCTION,
    ),
)
LISTED_GROUP = replace(GROUP, keys=tuple(replace(key, required=False) for key in GROUP.keys))
"""The same where a list tells the crowns of all groups."""

FACTS = Section(
    "groups.NAME.facts",
    "How the group was produced, in free words; any keys. They go into the report.",
    free=Key("fact", Fact(), "", "What is known of the production."),
)

CROWNS = Section(
    "crowns",
    "A list of the crowns, in place of the groups' scans: a CSV file with the columns crown (its\n"
    "name), group and file, and where crowns are seated die and seated. Further columns, such as\n"
    "date or material, are facts of the production. Groups may have a table above, or none.",
    (Key("file", File(), "crowns", "The CSV file; paths in it start from its own folder."),),
)

_FIRST = ("primary_area", "primary_measure", "secondary", "lead")
ANALYSIS = Section(
    "analysis",
    "How groups are compared. Choose before the crowns are measured, and leave it then.",
    (
        *keys_of(StudyPlan, "", "areas", "measures"),
        *keys_of(AnalysisPlan, "analysis", *_FIRST),
        *keys_of(
            AnalysisPlan,
            "analysis",
            but=(*_FIRST, "equivalence_um"),
        ),
    ),
)

EQUIVALENCE = Section(
    "equivalence_um",
    "Largest difference between groups that does not matter in the mouth, per area, µm;\n"
    "default stands for all areas not named. Without it equivalence is not tested. No\n"
    "source gives such a number for all uses: choose yours before the crowns are measured.",
    free=free_key(AnalysisPlan, "equivalence_um", "analysis"),
)

EXAMINERS = Section(
    "examiners",
    "Scores by examiners: a CSV file with the columns crown, examiner, gap, contact, seating.\n"
    "Scores are whole numbers, 0 for the best category, 1 for the next, and so on.",
    (
        Key("file", File(), "examiners", "The CSV file."),
        *keys_of(ScoreScale, "scores", "acceptable"),
        Key("gap", Words(), "scores.words.gap", "Marginal gap felt: words for 0, 1, 2, …"),
        Key("contact", Words(), "scores.words.contact", "Contacts: words for 0, 1, 2, …"),
        Key("seating", Words(), "scores.words.seating", "Seating: words for 0, 1, 2, …"),
    ),
)

REPEATS = Section(
    "repeats",
    "Repeated scans of the same crowns: a CSV file with the columns file, crown, operator,\n"
    "trial. They give the smallest difference that the scanner can show.",
    (Key("file", File(), "repeats", "The CSV file; paths in it start from its own folder."),),
)

SETTINGS: tuple[Section, ...] = (
    CROWNS,
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
    MARKS,
    CAUSES,
    *FIT_SECTIONS,
)
"""The sections after the groups, in the order in which a new file lists them."""
