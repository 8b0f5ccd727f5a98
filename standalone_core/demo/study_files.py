"""Write the demo study to a folder: design, scans, study file, scores, list of repeated scans."""

from __future__ import annotations

import json
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from ..atomic import atomic_write
from ..csv_text import csv_text
from ..errors import FileError
from ..mesh.write import write_mesh
from ..progress import Progress, Steps, scaled
from ..records import fields_of
from .crown import DIRECTIONS
from .rolling_ball import ball_tables
from .study_groups import GROUPS, DemoGroup
from .study_scenario import (
    CEMENT_UM,
    EDGE_MM,
    FITTED,
    MARGIN_UM,
    REPEATED,
    SEED,
    DemoScan,
    StudyCase,
    study_case,
)

FIT_CHOICES = ("three", "all", "none")
"""Which crowns are seated on the die: one of each way, all, or none."""

MOST_ABOVE_UM = 150.0
"""From this height above its intended seat on the lab does not place a crown; invented."""

LEAST_OCCLUSAL_MM = 0.6
"""What the lab requires of the occlusal wall of its materials; invented."""

DIE, NEIGHBOURS = "die.stl", ("neighbour_mesial.stl", "neighbour_distal.stl")

MOST_AT_ONCE = 8
"""Crowns made at a time: each takes some 100 MB meanwhile."""

SPACING_MM = 0.15
"""Longest edge that is not split for evaluation points: the demo's meshes are finer already."""

TEXT = (
    "An invented study: no patient, no tooth, no lab stands behind it; every number is made up.\n"
    "A small lab wants to know which of three ways of making crowns is true enough, above all at "
    "the margin. A crown for a lower left first molar was designed once and made eight times by "
    "each way: milled, printed upright, printed tilted. Every crown was scanned once, with 2 µm "
    "of scanner noise and in whatever pose it lay. Two examiners tried all crowns on the die and "
    "scored marginal gap, contacts and seating. One milled crown was scanned five times by each "
    "of two operators, to learn what the scanner itself adds.\n"
    "One crown was spoiled when its supports were torn off. Which one? Does it change the answer? "
    "And does it go down on its die?"
)

_INTRODUCTION = """\
# The demo's study file. Everything in it is invented: crowns, groups, scores, machines.
# Not a medical device: it supports, and never replaces, the judgement of a licensed professional
# and local rules. Patient names do not belong in files or their names.
# Tolerances and equivalence limits stand here before any crown is measured.
"""


@dataclass(frozen=True)
class StudyFiles:
    """Where the demo study lies.

    Attributes
    ----------
    text : str
        What the invented case is about.
    study, design : pathlib.Path
        The study file and the design.
    scans : tuple of pathlib.Path
        One per crown, group by group.
    """

    text: str
    study: Path
    design: Path
    scans: tuple[Path, ...]


def write_study_case_steps(
    out: str | Path, *, edge_mm: float = EDGE_MM, seed: int = SEED, fit: str = "three"
) -> Steps[StudyFiles]:
    """Make up the demo study and write all of it, step by step.

    Parameters
    ----------
    out : str or pathlib.Path
        Folder; made if it is not there.
    edge_mm, seed
        See :func:`~.study_scenario.study_case`.
    fit : str
        Which crowns are seated on the die, of :data:`FIT_CHOICES`; for none, no die is written.

    Raises
    ------
    FileError
        A folder or file cannot be made.
    """
    folder = Path(out)
    for name in ("", *(group.name for group in GROUPS), "repeats"):
        make_folder(folder / name)
    yield Progress("Designing the demo crown", 0.0)
    case = study_case(edge_mm, seed)
    design = write_mesh(folder / "design.stl", case.design.mesh)
    if fit != "none":
        write_mesh(folder / DIE, case.die().mesh)
        for name, tooth in zip(NEIGHBOURS, case.neighbours(), strict=True):
            write_mesh(folder / name, tooth.mesh)
    yield from scaled(_write_scans_steps(case, folder), 0.05, 1.0)
    atomic_write(folder / "repeats.csv", repeats_text(case))
    study = atomic_write(folder / "study.toml", study_text(fit))
    return StudyFiles(TEXT, study, design, tuple(folder / scan.file for scan in case.scans))


def _write_scans_steps(case: StudyCase, folder: Path) -> Steps[None]:
    """Produce, scan and examine all crowns, several at once: most of it is work of numpy."""

    def write_scan(scan: DemoScan) -> None:
        write_mesh(folder / scan.file, case.produced(scan).mesh)

    scans = [*case.scans, *case.repeats]
    fills = {(fill.radius_mm, fill.side) for scan in scans for fill in scan.errors.fills}
    with ThreadPoolExecutor(min(os.cpu_count() or 1, MOST_AT_ONCE)) as pool:
        try:
            yield Progress("Finding where tools do not reach", 0.0)
            # Crowns share them: found first, so that no two threads look for the same.
            list(pool.map(partial(ball_tables, case.design.shape), *zip(*fills, strict=True)))
            scores = pool.submit(scores_text, case)
            written = [pool.submit(write_scan, scan) for scan in scans]
            for done, (scan, waited_for) in enumerate(zip(scans, written, strict=True)):
                yield Progress(f"Producing and scanning {scan.file}", 0.1 + 0.9 * done / len(scans))
                waited_for.result()
            atomic_write(folder / "examiners.csv", scores.result())
        finally:
            pool.shutdown(cancel_futures=True)


def scores_text(case: StudyCase) -> str:
    """Return the examiners' scores as CSV."""
    rows = [
        (score.crown, score.examiner, score.gap, score.contact, score.seating)
        for score in case.scores
    ]
    return csv_text((("crown", "examiner", "gap", "contact", "seating"), *rows))


def repeats_text(case: StudyCase) -> str:
    """Return the list of repeated scans as CSV."""
    rows = [(scan.file, scan.crown, scan.operator, scan.trial) for scan in case.repeats]
    return csv_text((("file", "crown", "operator", "trial"), *rows))


def study_text(fit: str = "three") -> str:
    """Return the demo's study file; ``fit`` as of :func:`write_study_case_steps`."""
    top = [
        'title = "Three ways of making a molar crown (invented)"',
        'question = "Which of the three ways is true enough, above all at the margin?"',
        'design = "design.stl"',
    ]
    settings = [
        "[tolerances_um]",
        "whole = 25",
        "occlusal = 20",
        "margin = 15",
        "",
        "[analysis]",
        'primary_area = "margin"',
        'primary_measure = "mean_abs_um"',
        f"seed = {SEED}",
        "",
        "[equivalence_um]",
        "default = 5",
        "fossae = 10",
        "",
        "[areas]",
        f"insertion = {json.dumps(DIRECTIONS.insertion.tolist())}",
        f"mesial_direction = {json.dumps(DIRECTIONS.mesial.tolist())}",
        "",
        "[measuring]",
        f"spacing_mm = {SPACING_MM}",
        "",
        "[examiners]",
        'file = "examiners.csv"',
        "",
        f"# {REPEATED} again and again.",
        "[repeats]",
        'file = "repeats.csv"',
        *_fit_lines(fit),
    ]
    groups = [line for group in GROUPS for line in _group_lines(group)]
    return "\n".join([_INTRODUCTION, *top, "", *groups, *settings]) + "\n"


def _fit_lines(fit: str) -> list[str]:
    if fit == "none":
        return []
    chosen = [
        "# One crown of each way; an empty list means all.",
        f"crowns = {json.dumps(FITTED)}",
    ]
    return [
        "",
        "[fit]",
        f"die = {_quoted(DIE)}",
        f"neighbours = {json.dumps(NEIGHBOURS)}",
        *(chosen if fit == "three" else []),
        "",
        "# Decided before any crown was measured: one that stays higher up is not placed.",
        "[fit_seat]",
        f"most_above_um = {MOST_ABOVE_UM:g}",
        "",
        "[fit_gap]",
        f"cement_space_um = {CEMENT_UM:g}",
        f"margin_space_um = {MARGIN_UM:g}",
        "",
        "# What these materials need, by the lab.",
        "[fit_walls]",
        f"least_occlusal_mm = {LEAST_OCCLUSAL_MM:g}",
    ]


def _group_lines(group: DemoGroup) -> list[str]:
    facts = [f"{key} = {_quoted(value)}" for key, value in group.facts.items()]
    known = fields_of(group.production).items()
    production = [f"{key} = {json.dumps(value)}" for key, value in known if value is not None]
    return [
        f"[groups.{group.name}]",
        f"title = {_quoted(group.title)}",
        f'scans = ["{group.name}/*.stl"]',
        *production,
        f"[groups.{group.name}.facts]",
        *facts,
        "",
    ]


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def make_folder(folder: Path) -> None:
    """Make a folder if it is not there; raises :class:`FileError` where that cannot be done."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise FileError(
            f"The folder cannot be made: {problem.strerror}.",
            subject=folder,
            remedy="Choose another folder.",
            arguments=("out",),
        ) from problem
