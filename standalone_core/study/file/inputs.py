"""A study with all the tables that belong to it, checked before anything is measured."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from ...errors import SettingError
from ...readable import readable
from ...words.text import some_of
from ..fit_plan import FIT_MEASURES
from ..plan import StudyPlan
from .earlier_study import EarlierStudy, read_earlier_study
from .examiner_scores import ExaminerScores, read_scores
from .groups import meshes_in
from .mistakes import Mistake, StudyFileError
from .read import read_study_file
from .repeated_scans import RepeatScans, read_repeats

T = TypeVar("T")


@dataclass(frozen=True)
class StudyInputs:
    """All that a study starts from.

    Attributes
    ----------
    plan : StudyPlan
    scores : ExaminerScores or None
    repeats : RepeatScans or None
    earlier : EarlierStudy or None
        A study to compare with.
    """

    plan: StudyPlan
    scores: ExaminerScores | None = None
    repeats: RepeatScans | None = None
    earlier: EarlierStudy | None = None

    @property
    def notes(self) -> tuple[str, ...]:
        """What the reader should know about the plan and its tables."""
        tables = (self.scores, self.repeats)
        return self.plan.notes + tuple(n for t in tables if t is not None for n in t.notes)

    def with_earlier(self, path: str | Path) -> StudyInputs:
        """Return the same study with an earlier one to compare with.

        Raises
        ------
        StudyFileError
            As of :func:`~cuspwise.read_earlier_study`.
        """
        earlier = read_earlier_study(path)
        return replace(self, plan=replace(self.plan, earlier=earlier.path), earlier=earlier)

    def without_fit(self) -> StudyInputs:
        """Return the same study without seating any crown.

        Raises
        ------
        SettingError
            The comparison that it was made for is one of fit.
        """
        primary = self.plan.analysis.primary_measure
        if self.plan.fit is not None and primary in FIT_MEASURES:
            raise SettingError(
                f"The study's primary comparison is one of fit: {primary}.",
                subject="no_fit",
                remedy="Seat the crowns, or choose another primary_measure in the study file.",
            )
        return replace(self, plan=replace(self.plan, fit=None))


def read_study(path: str | Path) -> StudyInputs:
    """Read a study file and all that belongs to it, checked.

    That is its tables of crowns, scores and repeated scans, and an earlier study to compare with.

    Parameters
    ----------
    path : str or pathlib.Path
        The study file, TOML, or a folder with a ``study.toml``; paths in it start from its folder.
        docs/study.md lists its keys, and :func:`~cuspwise.new_study` writes one.

    Returns
    -------
    StudyInputs
        With all scans found; no mesh has been read.

    Raises
    ------
    StudyFileError
        With every mistake of the study file and of all tables that belong to it.

    Examples
    --------
    >>> import cuspwise
    >>> study = cuspwise.read_study(cuspwise.demo_study("trial"))
    >>> [(group.name, len(group.scans)) for group in study.plan.groups]
    [('milled', 2), ('printed', 2)]
    """
    found = read_study_file(path)
    mistakes = list(found.mistakes)
    score_reader = partial(read_scores, doubtful=found.doubtful)
    scores = _read(score_reader, found.known.examiners, found.known, mistakes)
    repeats = _read(read_repeats, found.known.repeats, found.known, mistakes)
    earlier = _read(_read_earlier, found.known.earlier, found.known, mistakes)
    if found.plan is None or mistakes:
        raise StudyFileError(mistakes)
    plan = replace(found.plan, notes=(*found.plan.notes, *_unlisted(found.plan, repeats)))
    return StudyInputs(plan, scores, repeats, earlier)


def _read_earlier(path: Path, _plan: StudyPlan) -> EarlierStudy:
    return read_earlier_study(path)


def _unlisted(plan: StudyPlan, repeats: RepeatScans | None) -> Iterator[str]:
    """Say which meshes lie beside the listed scans and stand for nothing in the study."""
    if plan.crowns is None:
        return
    used = [plan.design, *(file for g in plan.groups for file in (*g.scans, *g.dies, *g.seated))]
    if plan.fit is not None:
        used += [f for f in (plan.fit.die, *plan.fit.neighbours, plan.fit.antagonist) if f]
    used += [row.file for row in repeats.rows] if repeats is not None else []
    known = {os.path.realpath(file) for file in used}
    folders = dict.fromkeys(scan.parent for scan in plan.scans)
    others = [
        f for folder in folders for f in meshes_in(folder) if os.path.realpath(f) not in known
    ]
    if others:
        names = some_of([readable(f"{file.parent.name}/{file.name}") for file in others])
        yield f"Beside the scans of {plan.crowns.name}, but in no row of it: {names}."


def _read(
    reader: Callable[[Path, StudyPlan], T],
    path: Path | None,
    known: StudyPlan,
    mistakes: list[Mistake],
) -> T | None:
    """Read a table if there is one; gather its mistakes."""
    if path is None:
        return None
    try:
        return reader(path, known)
    except StudyFileError as error:
        mistakes.extend(error.mistakes)
        return None
