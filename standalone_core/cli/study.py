"""The commands of the command line that are about studies."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from ..readable import readable
from .base import guarded, messages, path, picture_choice, pictures_option, say_written, screen
from .console import ProgressBar
from .plan import plan as plan_command


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
@click.option("--force", is_flag=True, help="Replace a study file that is there.")
@guarded
def new(folder: Path, design: Path | None, out: Path | None, force: bool) -> None:
    """Write a study file for FOLDER, whose subfolders hold the scans of one group each.

    The file holds every setting with its meaning and its default, to be changed there.
    """
    from ..study.file.new import new_study

    written = new_study(folder, design=design, out=out, force=force)
    plan = written.plan
    screen.print(f"Design: {plan.design}", markup=False)
    for group in plan.groups:
        number = len(group.scans)
        crowns = "one crown" if number == 1 else f"{number} crowns"
        screen.print(f"Group {group.name}: {crowns}", markup=False)
    for found, words in ((plan.examiners, "Examiners' scores"), (plan.repeats, "Repeated scans")):
        if found is not None:
            screen.print(f"{words}: {readable(found)}", markup=False)
    for note in plan.notes:
        screen.print(f"Note: {note}", markup=False)
    for file in written.left_out:
        screen.print(f"In no group: {readable(file)}", markup=False)
    screen.print(
        f"Written to {readable(written.path)}. Before the crowns are measured, write down the "
        "question, the tolerances and the margins of equivalence there.",
        markup=False,
    )


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
@pictures_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON for scripts.")
@guarded
def study(
    study_file: Path,
    out: Path | None,
    workers: int | None,
    scheduler: str | None,
    pictures: bool | None,
    as_json: bool,
) -> None:
    """Measure every crown of the study file STUDY against the design and against its group.

    Answers in words and writes report.html, study.json with all statistics, tables, figures and
    coloured surfaces. What is measured is kept beside them, so that a run that was stopped goes
    on, and a second one does only what changed.
    """
    folder = out or study_file.with_name(f"{study_file.stem}_results")
    left_out = measure_study(study_file, folder, workers, scheduler, pictures, as_json=as_json)
    if left_out:
        sys.exit(1)


def measure_study(
    study_file: Path,
    folder: Path,
    workers: int | None = None,
    scheduler: str | None = None,
    pictures: bool | None = None,
    *,
    as_json: bool = False,
) -> int:
    """Run a study, write and show its results; return how many scans were left out."""
    from ..report.study.output import write_study_steps
    from ..report.study.tables import study_document
    from ..report.study.terminal import study_view
    from ..study.analysis.analyse import analyse_study_steps
    from ..study.file.inputs import read_study
    from ..study.measuring.executors import executor_of
    from ..study.measuring.run import run_study_steps

    inputs = read_study(study_file)
    with executor_of(workers, scheduler) as executor:
        run = ProgressBar(messages).run(run_study_steps(inputs, folder, executor=executor))
        analysis = ProgressBar(messages).run(analyse_study_steps(run))
        writing = write_study_steps(
            run,
            analysis,
            folder,
            pictures=picture_choice(pictures),
            executor=executor if scheduler is None else None,  # a cluster need not have matplotlib
        )
        written = ProgressBar(messages).run(writing)
    if as_json:
        click.echo(json.dumps(study_document(run, analysis), indent=2, allow_nan=False))
    else:
        screen.print(study_view(run, analysis))
        for note in inputs.notes:
            screen.print(f"  {note}", markup=False)
        say_written(written, folder)
    return len(run.left_out)


STUDY_COMMANDS: tuple[click.Command, ...] = (new, study, plan_command)
"""All commands of this file, which ``cli.py`` adds to the command line."""
