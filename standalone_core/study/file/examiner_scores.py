"""Scores that examiners gave the crowns of a study, from a CSV file."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

import numpy as np

from ...allowed import shown
from ...arrays import FloatArray
from ...readable import readable
from ...suggestion import suggestion
from ...words.text import capital, listed, some_of
from ..crown_names import own_names
from ..plan import StudyPlan
from ..score_scale import SCORES, ScoreScale
from .csv_rows import CsvFile, Row, read_csv, refuse_empty, refuse_repeated, whole_number
from .new_text import toml_text
from .study_sections import EXAMINERS

_NO_SCORE = ("", "nan", "na", "n/a", "-", "–")
_MOST_CATEGORIES = 11  # 0 to 10; what is beyond is a slip rather than a scale


@dataclass(frozen=True)
class CrownScore:
    """What one examiner gave one crown.

    Attributes
    ----------
    scan : pathlib.Path
        The crown's scan, as in the plan.
    crown, group, examiner : str
        The crown's name as in ``StudyPlan.crown_names``.
    values : mapping of item to int or None
        None where no score was given.
    """

    scan: Path
    crown: str
    group: str
    examiner: str
    values: Mapping[str, int | None]

    def __post_init__(self) -> None:
        """Keep the scores from change."""
        object.__setattr__(self, "values", MappingProxyType(dict(self.values)))

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the scores, since a read-only mapping cannot be."""
        return type(self), (self.scan, self.crown, self.group, self.examiner, dict(self.values))


@dataclass(frozen=True, eq=False)
class ScoreTable:
    """The scores of one item.

    Attributes
    ----------
    item : str
    crowns, groups : tuple of str
        Name and group of each row.
    examiners : tuple of str
        Of each column.
    scores : (n, k) float
        NaN where no score was given.
    words : tuple of str
        What 0, 1, 2, … mean.
    """

    item: str
    crowns: tuple[str, ...]
    groups: tuple[str, ...]
    examiners: tuple[str, ...]
    scores: FloatArray
    words: tuple[str, ...]


@dataclass(frozen=True)
class ExaminerScores:
    """All scores of a study.

    Attributes
    ----------
    path : pathlib.Path
    items : tuple of str
        What was scored, of the plan's ``scores.words``.
    examiners : tuple of str
        In alphabetical order, so that no result depends on the order of rows.
    rows : tuple of CrownScore
        In the plan's order of crowns, then by examiner.
    scale : ScoreScale
        What the numbers mean.
    notes : tuple of str
        What is missing or was not used, in sentences.
    """

    path: Path
    items: tuple[str, ...]
    examiners: tuple[str, ...]
    rows: tuple[CrownScore, ...]
    scale: ScoreScale
    notes: tuple[str, ...] = field(default=())

    def table(self, item: str) -> ScoreTable:
        """Return the scores of one item as a table of crowns by examiners.

        Raises
        ------
        KeyError
            The item was not scored.
        """
        crowns = dict.fromkeys((row.scan, row.crown, row.group) for row in self.rows)
        scores = np.full((len(crowns), len(self.examiners)), np.nan)
        places = {scan: number for number, (scan, _, _) in enumerate(crowns)}
        for row in self.rows:
            value = row.values[item]
            if value is not None:
                scores[places[row.scan], self.examiners.index(row.examiner)] = value
        return ScoreTable(
            item=item,
            crowns=tuple(crown for _, crown, _ in crowns),
            groups=tuple(group for _, _, group in crowns),
            examiners=self.examiners,
            scores=scores,
            words=self.scale.words[item],
        )


def read_scores(
    path: str | Path, plan: StudyPlan, doubtful: Collection[str] = ()
) -> ExaminerScores:
    """Read examiners' scores.

    Parameters
    ----------
    path : str or pathlib.Path
        A CSV file with one row per crown and examiner. Columns: ``crown`` (its name in the list of
        crowns or, without one, the stem of its scan's file name, or the file name; with ``group/``
        before it where two crowns share it),
        ``examiner``, and at least one of ``gap``, ``contact`` and ``seating``: the marginal gap
        that a probe feels, the contacts to the neighbours, and how the crown seats. Scores are
        whole numbers of ordered categories, 0 the best; the plan's ``scores`` hold their words.
        An empty cell, NaN or NA is a missing score; what numbers do about these:
        :mod:`~cuspwise.standalone_core.study.analysis.examiner_agreement`. Other columns are not
        used.
    plan : StudyPlan
    doubtful : collection of str
        Columns that cannot be checked against the plan, since it is known in part only.

    Returns
    -------
    ExaminerScores

    Raises
    ------
    StudyFileError
        With every mistake: unknown crowns, rows that are there twice, scores outside the scale.
    """
    words = plan.scores.words
    file = read_csv(path, ("crown", "examiner"), ("crown", "examiner", *words))
    items = tuple(item for item in words if item in file.columns)
    if not items and not file.mistakes:
        file.wrong(1, "", "Nothing is scored.", f"Add a column {listed(tuple(words), 'or')}.")
    crowns = _CrownNames(plan, known="crown" not in doubtful)
    seen: dict[object, int] = {}
    found: list[CrownScore] = []
    for row in file.rows:
        score = _score(file, row, crowns, items, plan)
        if score is None:
            continue
        what = f"Examiner {score.examiner} scored crown {score.crown}"
        if not refuse_repeated(file, row, seen, (score.scan, score.examiner), what):
            found.append(score)
    for item in items:
        if item not in doubtful:
            _refuse_beyond_words(file, item, words[item])
    file.refuse_mistakes()
    order = {scan: number for number, scan in enumerate(plan.scans)}
    rows = tuple(sorted(found, key=lambda score: (order[score.scan], score.examiner)))
    examiners = tuple(sorted({row.examiner for row in rows}))
    notes = _notes(rows, items, examiners, plan)
    return ExaminerScores(file.path, items, examiners, rows, plan.scores, notes)


def _score(
    file: CsvFile, row: Row, crowns: _CrownNames, items: Sequence[str], plan: StudyPlan
) -> CrownScore | None:
    """Read one row; note its mistakes, and return None if the crown is not known."""
    values = {item: _value(file, row, item, plan.scores.words[item]) for item in items}
    if refuse_empty(file, row, ("crown", "examiner")):
        return None
    scan = crowns.find(file, row)
    if scan is None:
        return None
    return CrownScore(scan, crowns.names[scan], crowns.groups[scan], row.cells["examiner"], values)


def _value(file: CsvFile, row: Row, item: str, words: Sequence[str]) -> int | None:
    text = row.cells[item]
    if text.casefold() in _NO_SCORE:
        return None
    value = whole_number(text)
    if value is not None and _beyond(value, words):
        return None  # noted once for all rows
    if value is None or not 0 <= value < len(words):
        scale = ", ".join(f"{number} ({word})" for number, word in enumerate(words))
        file.wrong(row.line, item, f"{shown(text)} is not a score.", f"Give one of {scale}.")
        return None
    return value


def _beyond(value: int, words: Sequence[str]) -> bool:
    """Whether a score may be one of a scale with more categories than there are words."""
    return len(words) <= value < _MOST_CATEGORIES


def _refuse_beyond_words(file: CsvFile, item: str, words: Sequence[str]) -> None:
    """Note scores beyond the last word, once for an item, with the lines that add words."""
    rows = [(row.line, whole_number(row.cells[item])) for row in file.rows]
    beyond = [(line, value) for line, value in rows if value is not None and _beyond(value, words)]
    if not beyond:
        return
    worst = max(value for _, value in beyond)
    added = [f"words for {number}" for number in range(len(words), worst + 1)]
    instead = f", in place of {item} there" if words != SCORES[item] else ""
    more = f"; nor is that {_lines([line for line, _ in beyond[1:]])}" if len(beyond) > 1 else ""
    file.wrong(
        beyond[0][0],
        item,
        f"{beyond[0][1]} is not a score: there are words for 0 to {len(words) - 1} only{more}.",
        f"Correct it; or if your scale goes on, paste this below [{EXAMINERS.name}] of the study "
        f"file{instead}, with your own words:\n{item} = {toml_text([*words, *added])}",
    )


def _lines(lines: Sequence[int]) -> str:
    """Name lines of a file, if they are not too many."""
    return f"on line{'s' if len(lines) > 1 else ''} {some_of([str(line) for line in lines])}"


class _CrownNames:
    """Finds crowns by the names that a table may call them, if all of them are known."""

    def __init__(self, plan: StudyPlan, *, known: bool) -> None:
        self.names = plan.crown_names()
        self._known = known
        self.groups = {scan: group.name for group in plan.groups for scan in group.scans}
        self._scans: dict[str, list[Path]] = {}
        for group in plan.groups:
            for scan, own in zip(group.scans, own_names(group), strict=True):
                called = {own} if group.crowns else {own, readable(scan.name)}
                called |= {f"{group.name}/{name}" for name in called} | {self.names[scan]}
                for name in called:
                    self._scans.setdefault(_key(name), []).append(scan)

    def find(self, file: CsvFile, row: Row) -> Path | None:
        """Return the scan of a row's crown; note if there is none, or several."""
        name = row.cells["crown"]
        scans = self._scans.get(_key(name), [])
        if len(scans) == 1:
            return scans[0]
        if scans:
            names = [self.names[scan] for scan in scans]
            file.wrong(
                row.line,
                "crown",
                f"{len(scans)} crowns are called {shown(name)}.",
                f"Give {listed(names, 'or')}.",
            )
        elif self._known:
            known = tuple(self.names.values())
            remedy = suggestion(name, known) or f"Crowns are called {some_of(known)}."
            file.wrong(row.line, "crown", f"There is no crown called {shown(name)}.", remedy)
        return None


def _key(name: str) -> str:
    return name.replace("\\", "/").casefold()


def _notes(
    rows: Sequence[CrownScore], items: Sequence[str], examiners: Sequence[str], plan: StudyPlan
) -> tuple[str, ...]:
    notes = [f"{capital(item)} was not scored." for item in plan.scores.words if item not in items]
    if len(examiners) == 1:
        notes.append("There is one examiner: no agreement can be computed.")
    names = plan.crown_names()
    for examiner in examiners:
        scored = {row.scan for row in rows if row.examiner == examiner}
        absent = [name for scan, name in names.items() if scan not in scored]
        if absent:
            notes.append(f"Examiner {examiner} did not score {some_of(absent)}.")
    for item in items:
        none = [f"{row.crown} by {row.examiner}" for row in rows if row.values[item] is None]
        if none:
            notes.append(f"The score of {item} is missing for {some_of(none)}.")
    return tuple(notes)
