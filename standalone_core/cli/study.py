"""The commands of the command line that are about studies."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..errors import FileError
from ..progress import Steps, scaled
from ..readable import readable, size_words
from .base import (
    INTERRUPTED,
    guarded,
    messages,
    path,
    picture_choice,
    pictures_option,
    say_written,
    screen,
)
from .console import ProgressBar

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from ..report.check.output import PictureChoice
    from ..study.analysis.results.analysis import StudyAnalysis
    from ..study.file.inputs import StudyInputs
    from ..study.measuring.results import StudyRun
    from ..study.plan import StudyPlan

_MEASURED, _ANALYSED = 0.85, 0.87
"""How much of a study is done once it is measured, and once it is analysed."""


@click.command()
@click.argument("folder", type=path)
@click.option(
    "--design",
    type=path,
    metavar="FILE",
    help="The design.  [default: the mesh file in FOLDER named design*]",
)
@click.option(
    "--out", type=path, metavar="FILE", help="The study file.  [default: FOLDER/study.toml]"
)
@click.option(
    "--list",
    "list_crowns",
    is_flag=True,
    help="List the crowns in crowns.csv too, to name them and to add dates, materials, …",
)
@click.option("--force", is_flag=True, help="Replace files that are there.")
@guarded
def new(
    folder: Path, design: Path | None, out: Path | None, list_crowns: bool, force: bool
) -> None:
    """Write a study file for FOLDER, whose subfolders hold the scans of one group each.

    The file holds every setting with its meaning and its default, to be changed there. A CSV file
    in FOLDER with the columns crown, group and file tells the crowns instead of subfolders.
    """
    from ..study.file.new import new_study

    written = new_study(folder, design=design, out=out, list_crowns=list_crowns, force=force)
    plan = written.plan
    screen.print(f"Design: {plan.design}", markup=False)
    for group in plan.groups:
        number = len(group.scans)
        crowns = "one crown" if number == 1 else f"{number} crowns"
        screen.print(f"Group {group.name}: {crowns}", markup=False)
    for found, words in _tables_and_teeth(plan, listed=list_crowns):
        screen.print(f"{words}: {readable(found)}", markup=False)
    for note in plan.notes:
        screen.print(f"Note: {note}", markup=False)
    for file in written.left_out:
        screen.print(f"In no group: {readable(file)}", markup=False)
    screen.print(
        f"Written to {readable(written.path)}. Before the crowns are measured, write down the "
        "question, the tolerances and the equivalence limits there.",
        markup=False,
    )
    if list_crowns:
        screen.print(
            f"The crowns are listed in {readable(plan.crowns or '')}. Name them there; fill in, "
            "rename, add or delete the columns after file.",
            markup=False,
        )


def _tables_and_teeth(plan: StudyPlan, *, listed: bool) -> Iterator[tuple[Path, str]]:
    """What else a new study names, and what it is; not the list that was written just now."""
    found: list[tuple[Path | None, str]] = [
        (None if listed else plan.crowns, "List of the crowns"),
        (plan.examiners, "Examiners' scores"),
        (plan.repeats, "Repeated scans"),
    ]
    if plan.fit is not None:
        found.append((plan.fit.die, "Die, for the fit of all crowns, in the design's frame"))
        found += [(file, "Neighbour") for file in plan.fit.neighbours]
        found.append((plan.fit.antagonist, "Antagonist"))
    yield from ((file, words) for file, words in found if file is not None)


@click.command()
@click.argument("study_file", metavar="STUDY", type=path)
@click.option(
    "--out", type=path, metavar="DIR", help="Folder for the results.  [default: STUDY_results]"
)
@click.option(
    "--workers",
    type=int,
    metavar="N",
    help="Processes that measure.  [default: one per processor]",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Measure on the Dask cluster of this scheduler; its workers must see the same files.",
)
@click.option(
    "--keep/--no-keep",
    default=True,
    help="Keep what was measured for the next run, or drop it once the results are written.",
)
@click.option(
    "--earlier",
    type=path,
    metavar="FILE",
    help="Compare with an earlier study of the same design: its study.json.",
)
@click.option("--no-fit", is_flag=True, help="Leave out how crowns fit on their dies.")
@pictures_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON for scripts.")
@guarded
def study(study_file: Path, out: Path | None, **given: Any) -> None:
    """Measure every crown of the study file STUDY against the design and against its group.

    STUDY may be a folder with a study.toml. Answers in words and writes report.html, study.json
    with all statistics, tables, figures and coloured surfaces. What is measured is kept beside
    them, up to 7 MB a crown, so that a run that was stopped goes on, and a second one does only
    what changed; 'cuspwise tidy' drops it.
    """
    from ..study.file.read import study_file_of

    file = study_file_of(study_file)
    folder = out or file.with_name(f"{file.stem}_results")
    if measure_study(file, folder, **given):
        sys.exit(1)


def measure_study(
    study_file: Path,
    folder: Path,
    workers: int | None = None,
    scheduler: str | None = None,
    pictures: bool | None = None,
    *,
    keep: bool = True,
    earlier: Path | None = None,
    no_fit: bool = False,
    as_json: bool = False,
) -> int:
    """Run a study, write and show its results; return how many scans were left out."""
    from ..report.study.tables import study_document
    from ..report.study.terminal import study_view
    from ..study.file.inputs import read_study
    from ..study.measuring.executors import executor_of
    from ..study.measuring.result_store import KEPT, drop_kept

    inputs = read_study(study_file)
    inputs = inputs.without_fit() if no_fit else inputs
    if not as_json:
        _say_changes(inputs.plan, folder)
    inputs = inputs if earlier is None else inputs.with_earlier(earlier)
    stage = ProgressBar(messages)
    try:
        with executor_of(workers, scheduler) as executor:
            # A cluster need not have matplotlib.
            drawing = executor if scheduler is None else None
            steps = _study_steps(inputs, folder, executor, drawing, picture_choice(pictures))
            run, analysis, written = stage.run(steps)
    except KeyboardInterrupt:
        _say_stopped(folder, stage.latest)
        sys.exit(INTERRUPTED)
    if not keep:
        drop_kept(folder / KEPT)
    if as_json:
        click.echo(json.dumps(study_document(run, analysis), indent=2, allow_nan=False))
    else:
        screen.print(study_view(run, analysis))
        for note in inputs.notes:
            screen.print(f"  {note}", markup=False)
        say_written(written, folder)
        say_no_workbook(written)
        _say_kept(folder)
    return len(run.left_out)


def _say_changes(plan: StudyPlan, folder: Path) -> None:
    """Say what became of the crowns since the last run, if there was one."""
    from ..study.measuring.run_changes import changes_since

    changes = changes_since(folder, plan)
    if changes is not None:
        screen.print(changes.sentence, markup=False)


def _study_steps(
    inputs: StudyInputs,
    folder: Path,
    executor: Executor | None,
    drawing: Executor | None,
    pictures: PictureChoice,
) -> Steps[tuple[StudyRun, StudyAnalysis, tuple[Path, ...]]]:
    """Measure, analyse and write a study."""
    from ..report.study.output import write_study_steps
    from ..study.analysis.analyse import analyse_study_steps
    from ..study.measuring.run import run_study_steps

    run = yield from scaled(run_study_steps(inputs, folder, executor=executor), 0.0, _MEASURED)
    analysis = yield from scaled(analyse_study_steps(run), _MEASURED, _ANALYSED)
    writing = write_study_steps(run, analysis, folder, pictures=pictures, executor=drawing)
    written = yield from scaled(writing, _ANALYSED, 1.0)
    return run, analysis, written


def say_no_workbook(written: tuple[Path, ...]) -> None:
    """Say how to get the tables as a workbook, where they could not be written as one."""
    from ..report.study.output import WORKBOOK

    if WORKBOOK not in {file.name for file in written}:
        screen.print(f"Without openpyxl no {WORKBOOK} is written: pip install openpyxl")


def _say_kept(folder: Path) -> None:
    """Say where what was measured is kept, and how much room it takes."""
    from ..study.measuring.result_store import KEPT, kept_bytes

    size = kept_bytes(folder / KEPT)
    if size:
        screen.print(
            f"Kept for the next run in {readable(folder / KEPT)}: {size_words(size)}. "
            f"'cuspwise tidy {readable(folder)}' drops it.",
            markup=False,
            soft_wrap=True,  # so that no path is broken in two
        )


def _say_stopped(folder: Path, latest: str) -> None:
    """Say what is kept of a study that was stopped, and how to go on."""
    from ..study.measuring.result_store import KEPT, kept_bytes

    messages.print(f"Stopped{f' at: {latest}' if latest else ''}.", markup=False)
    if any((folder / KEPT).glob("scan-*")):
        size = size_words(kept_bytes(folder / KEPT))
        messages.print(
            f"What was measured before is kept in {readable(folder / KEPT)} ({size}): the same "
            f"command goes on from there. 'cuspwise tidy {readable(folder)}' drops it.",
            markup=False,
            soft_wrap=True,
        )
    else:
        messages.print("No scan had been measured yet; nothing half-written is left behind.")


@click.command()
@click.argument("folder", type=path)
@guarded
def tidy(folder: Path) -> None:
    """Drop what a study keeps for its next run; its report, tables and figures stay.

    FOLDER is the study's folder or that of its results. What was dropped is measured anew when
    the study runs again.
    """
    from ..study.measuring.result_store import drop_kept, kept_folders

    found = kept_folders(folder)
    if not found:
        raise FileError(
            "Nothing that a study keeps lies there.",
            subject=folder,
            remedy="Name the folder of a study or of its results.",
        )
    for kept in found:
        screen.print(f"Dropped {size_words(drop_kept(kept))}: {readable(kept)}", markup=False)
