"""A study with all the tables that belong to it, checked before anything is measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from ...errors import SettingError
from ..fit_plan import FIT_MEASURES
from ..plan import StudyPlan
from .earlier_study import EarlierStudy, read_earlier_study
from .examiner_scores import ExaminerScores, read_scores
from .mistakes import Mistake, StudyFileError
from .read import read_plan
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

    That is examiners' scores, a list of repeated scans, and an earlier study to compare with.

    Parameters
    ----------
    path : str or pathlib.Path
        The study file, TOML, or a folder with a ``study.toml``; paths in it start from its folder.
        The README lists its keys, and :func:`~cuspwise.new_study` writes one.

    Returns
    -------
    StudyInputs
        With all scans found; no mesh has been read.

    Raises
    ------
    StudyFileError
        With every mistake of the study file; or, if there is none, with those of all tables.

    Examples
    --------
    >>> import cuspwise
    >>> study = cuspwise.read_study(cuspwise.demo_study("trial"))
    >>> [(group.name, len(group.scans)) for group in study.plan.groups]
    [('milled', 2), ('printed', 2)]
    """
    plan = read_plan(path)
    mistakes: list[Mistake] = []
    scores = _read(read_scores, plan.examiners, plan, mistakes)
    repeats = _read(read_repeats, plan.repeats, plan, mistakes)
    earlier = _read(_read_earlier, plan.earlier, plan, mistakes)
    if mistakes:
        raise StudyFileError(mistakes)
    return StudyInputs(plan, scores, repeats, earlier)


def _read_earlier(path: Path, _plan: StudyPlan) -> EarlierStudy:
    return read_earlier_study(path)


def _read(
    reader: Callable[[Path, StudyPlan], T],
    path: Path | None,
    plan: StudyPlan,
    mistakes: list[Mistake],
) -> T | None:
    """Read a table if there is one; gather its mistakes."""
    if path is None:
        return None
    try:
        return reader(path, plan)
    except StudyFileError as error:
        mistakes.extend(error.mistakes)
        return None
