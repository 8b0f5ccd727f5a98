"""How many crowns of each group go down on their dies: for page, terminal and figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ...fit.judged import SEAT
from ...statistics.describe import Description
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.crown_fit import CrownFit
from ...study.measuring.results import StudyRun
from ...words.text import count_words
from .sentences import crown_words, mean_and_sd, shown, titles_of

GAP = "marginal_gap_um"


@dataclass(frozen=True)
class FitCount:
    """One group's crowns on their dies.

    Attributes
    ----------
    group, title : str
    down : int
        Crowns that rest where they were meant to, within the plan's limit.
    held_up : tuple of str
        Names of those that cannot go on.
    unknown : int
        Those of which neither is known: no intended seat is, or none could be found.
    scanned : int
        Those that were scanned on their dies, and not seated by computing.
    not_fitted : int
        Crowns that were to be seated and could not be judged at all.
    """

    group: str
    title: str
    down: int
    held_up: tuple[str, ...]
    unknown: int
    scanned: int
    not_fitted: int

    @property
    def seated(self) -> int:
        """Crowns that were to be seated by computing, and judged."""
        return self.down + len(self.held_up) + self.unknown

    @property
    def n(self) -> int:
        """Crowns whose fit was judged."""
        return self.seated + self.scanned


def fit_counts(run: StudyRun, analysis: StudyAnalysis) -> tuple[FitCount, ...]:
    """Count every group that has a crown whose fit was asked for."""
    counts = (_count(run, group, title) for group, title in titles_of(analysis).items())
    return tuple(one for one in counts if one.n or one.not_fitted)


def fit_lines(run: StudyRun, analysis: StudyAnalysis) -> list[str]:
    """Say in a line per group how many crowns go down, and how wide their marginal gap is."""
    gaps = marginal_gaps(analysis)
    return [
        f"{one.title}: {'; '.join([*_seated(one), *_gap(one, gaps)])}."
        for one in fit_counts(run, analysis)
    ]


def marginal_gaps(analysis: StudyAnalysis) -> Mapping[str, Description]:
    """Return every group's mean marginal gaps, described over crowns, µm."""
    fit = analysis.findings.fit
    described = () if fit is None else fit.described
    return {
        row.group: row.summary.description
        for row in described
        if row.measure == GAP and row.summary.description.n
    }


def goes_down(fit: CrownFit) -> bool:
    """Return whether a crown rests where it was meant to; not so if that place is not known."""
    return fit.stop == "rests" and any(one.part == SEAT for one in fit.judged)


def _count(run: StudyRun, group: str, title: str) -> FitCount:
    crowns = run.crowns_of(group)
    fits = [(crown.name, crown.fit) for crown in crowns if crown.fit is not None]
    down = sum(goes_down(fit) for _, fit in fits)
    held_up = tuple(name for name, fit in fits if fit.stop == "cannot_go_on")
    scanned = sum(fit.by_triple_scan and not fit.stop for _, fit in fits)
    return FitCount(
        group=group,
        title=title,
        down=down,
        held_up=held_up,
        unknown=len(fits) - down - len(held_up) - scanned,
        scanned=scanned,
        not_fitted=sum(one.group == group for one in run.not_fitted),
    )


def _seated(one: FitCount) -> list[str]:
    """Say how many crowns go down, which are held up, and what is known of the others."""
    told = []
    if one.seated > one.unknown:
        told.append(f"{one.down} of {one.seated} {_go(one.seated)} down")
    if one.held_up:
        told.append(f"held up: {', '.join(crown_words(name) for name in one.held_up)}")
    if one.unknown:
        told.append(f"whether {one.unknown} {_go(one.unknown)} down is not known")
    if one.scanned:
        told.append(f"{one.scanned} scanned on the die")
    if one.not_fitted:
        told.append(f"{count_words(one.not_fitted, 'crown')} could not be judged")
    return told


def _go(count: int) -> str:
    return "goes" if count == 1 else "go"


def _gap(one: FitCount, gaps: Mapping[str, Description]) -> list[str]:
    """Say how wide the gap is; the median too where a crown that is held up widens the mean."""
    found = gaps.get(one.group)
    if found is None:
        return []
    middle = f" (median {shown(found.median, GAP)})" if one.held_up else ""
    return [f"marginal gap {mean_and_sd(found.mean, found.sd, GAP)} µm{middle}"]
