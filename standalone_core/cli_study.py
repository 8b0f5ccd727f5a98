"""The commands of the command line that are about studies."""

from __future__ import annotations

from pathlib import Path

import click

from .cli_base import guarded, path, screen


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
    from .study.new import new_study

    written = new_study(folder, design=design, out=out, force=force)
    plan = written.plan
    screen.print(f"Design: {plan.design}", markup=False)
    for group in plan.groups:
        number = len(group.scans)
        crowns = "one crown" if number == 1 else f"{number} crowns"
        screen.print(f"Group {group.name}: {crowns}", markup=False)
    for found, words in ((plan.examiners, "Examiners' scores"), (plan.repeats, "Repeated scans")):
        if found is not None:
            screen.print(f"{words}: {found}", markup=False)
    for note in plan.notes:
        screen.print(f"Note: {note}", markup=False)
    for file in written.left_out:
        screen.print(f"In no group: {file}", markup=False)
    screen.print(
        f"Written to {written.path}. Before the crowns are measured, write down the question, "
        "the tolerances and the margins of equivalence there.",
        markup=False,
    )


STUDY_COMMANDS: tuple[click.Command, ...] = (new,)
"""All commands of this file, which ``cli.py`` adds to the command line."""
