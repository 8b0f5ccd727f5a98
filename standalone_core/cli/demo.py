"""The command that shows all that Cuspwise does, on invented crowns."""

from __future__ import annotations

from pathlib import Path

import click

from ..readable import readable
from .base import guarded, messages, path, picture_choice, pictures_option, say_written, screen
from .check import checked, write
from .console import ProgressBar
from .study import measure_study
from .targets import refuse_folder


@click.command()
@click.option(
    "--out",
    type=path,
    default=Path("cuspwise_demo"),
    show_default=True,
    metavar="DIR",
    help="Folder for the demo's meshes and results.",
)
@click.option(
    "--checks",
    is_flag=True,
    help="No study: two produced crowns only, each checked by itself; quicker.",
)
@click.option(
    "--fit",
    type=click.Choice(["three", "all", "none"]),
    default="three",
    show_default=True,
    help="Which crowns are seated on their die: one of each way, all (slow), or none.",
)
@pictures_option
@guarded
def demo(out: Path, checks: bool, fit: str, pictures: bool | None) -> None:
    """Make an invented crown three ways with known errors, and study 24 produced crowns.

    Takes two or three minutes: all is made up by formula, scanned, measured, seated on its die,
    compared and reported.
    """
    from ..demo.study_files import write_study_case_steps

    refuse_folder(out, ())
    if checks:
        _demo_checks(out, pictures)
        return
    files = ProgressBar(messages).run(write_study_case_steps(out, fit=fit))
    screen.print(files.text)
    measure_study(files.study, out / "study_results", pictures=pictures)


def _demo_checks(out: Path, pictures: bool | None) -> None:
    """Check two produced crowns, printed and milled, against their design."""
    from ..areas.settings import AreaSettings
    from ..check_settings import CheckSettings
    from ..demo.crown import DIRECTIONS
    from ..demo.scenario import write_demo_steps

    scenario = ProgressBar(messages).run(write_demo_steps(out))
    screen.print(scenario.text)
    areas = AreaSettings(mesial_direction=tuple(DIRECTIONS.mesial))
    for scan in scenario.scans:
        screen.rule(readable(scan.stem))
        settings = CheckSettings(areas=areas, production=scenario.production[scan.stem])
        result, problem = checked(scenario.design, scan, settings)
        folder = out / f"{scan.stem}_check"
        say_written(write(result, folder, pictures=picture_choice(pictures)), folder)
        if problem is not None:
            raise problem
