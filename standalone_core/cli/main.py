"""The command line: all commands together; ``areas``, ``inspect`` and ``demo`` are here."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import click

from ..length_units import UNIT
from ..readable import readable
from ..version import VERSION
from .base import (
    guarded,
    json_option,
    messages,
    options,
    path,
    picture_choice,
    pictures_option,
    say_written,
    screen,
    set_option,
)
from .check import causes, check, checked, write
from .console import ProgressBar
from .fit import fit, walls
from .setting_options import force_option, old_options, setting_option
from .settings import DESIGN_KEYS, design_settings
from .study import STUDY_COMMANDS
from .targets import refuse_folder, refuse_overwriting

LEAST_WIDTH = 80  # a narrower terminal wraps the lines itself, so that no column is lost


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, prog_name="cuspwise")
def main() -> None:
    """How far is a produced dental crown from its design, where, and is that good enough?

    Not a medical device: it supports, and never replaces, the judgement of a licensed
    professional and local rules. Patient names do not belong in file names.
    """
    # Matrices are small here: threads of linear algebra would mostly wait for one another. Before
    # numpy is loaded, and unless somebody said otherwise.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal without the sign ✓ shows ? instead
            stream.reconfigure(errors="replace")
    screen.width = max(screen.width, LEAST_WIDTH)
    # All matrix products here are small or thin: a BLAS library's own threads would only wait,
    # and waiting costs them processor time. Read when numpy is imported, which comes later.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


for command in (check, causes, fit, walls, *STUDY_COMMANDS):
    main.add_command(command)


@main.command()
@click.argument("design", type=path)
@click.option("--out", type=path, metavar="FILE", help="Save the areas here (JSON).")
@options(*(setting_option(key.setting) for key in DESIGN_KEYS if key.setting))
@set_option
@force_option
@old_options("--area-setting", "--drop-debris", "--unit")
@json_option
@guarded
def areas(design: Path, out: Path | None, as_json: bool, **given: Any) -> None:
    """Find the areas of DESIGN: margin line, intaglio, external, occlusal, axial, margin, …"""
    from ..areas.files import save_areas
    from ..checked_mesh import read_design
    from ..measure import area_steps
    from ..report.check.terminal import areas_document, areas_table

    if out is not None:
        refuse_overwriting(out, (design,))
    settings = design_settings(given)
    surface = read_design(design, settings)
    found = ProgressBar(messages).run(area_steps(surface, settings))
    if out is not None:
        save_areas(out, found)
    if as_json:
        click.echo(json.dumps(areas_document(found), indent=2, allow_nan=False))
        return
    screen.print(areas_table(found))
    for text in (*surface.repair.actions, *surface.notes):
        screen.print(f"  {text}", markup=False)
    if out is not None:
        screen.print(f"Areas saved to {readable(out)}", markup=False)


@main.command()
@click.argument("file", type=path)
@click.option(
    "--unit",
    default="auto",
    metavar=f"[{'|'.join(UNIT.words)}]",
    help="Unit of the file; auto guesses.  [default: auto]",
)
@json_option
@guarded
def inspect(file: Path, unit: str, as_json: bool) -> None:
    """Report the health of a mesh FILE: size, unit, pieces, borders, faulty faces, overlaps."""
    from ..mesh.files import read_mesh
    from ..mesh.intersections import self_intersections
    from ..mesh.repair import repair_mesh
    from ..report.check.terminal import health_document, health_table

    mesh_file = read_mesh(file, unit=unit)
    repair = repair_mesh(mesh_file.mesh)
    found = self_intersections(repair.mesh)
    if as_json:
        click.echo(json.dumps(health_document(mesh_file, repair, found), indent=2, allow_nan=False))
    else:
        screen.print(health_table(mesh_file, repair, found))


@main.command()
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
    from .study import measure_study

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
