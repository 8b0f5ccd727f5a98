"""The command line: ``cuspwise demo``, ``check``, ``areas`` and ``inspect``."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..length_units import UNIT
from ..readable import readable
from ..version import VERSION
from .base import (
    guarded,
    messages,
    options,
    path,
    picture_choice,
    pictures_option,
    say_written,
    screen,
)
from .console import ProgressBar
from .setting_options import OLD_OPTIONS, force_option, old_options, setting_option
from .settings import (
    CHECK_KEYS,
    DESIGN_KEYS,
    FIT_KEYS,
    PALETTES,
    check_settings,
    design_settings,
)
from .study import STUDY_COMMANDS
from .targets import refuse_folder, refuse_overwriting

if TYPE_CHECKING:
    from ..check_result import CheckResult

LEAST_WIDTH = 80  # a narrower terminal wraps the lines itself, so that no column is lost

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for scripts.")
set_option = click.option(
    "--set",
    "set",
    multiple=True,
    metavar="NAME=VALUE",
    help="Any other setting; repeatable; docs/settings.md lists them.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, prog_name="cuspwise")
def main() -> None:
    """How far is a produced dental crown from its design, where, and is that good enough?

    Not a medical device: it supports, and never replaces, the judgement of a licensed
    professional and local rules. Patient names do not belong in file names.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal without the sign ✓ shows ? instead
            stream.reconfigure(errors="replace")
    screen.width = max(screen.width, LEAST_WIDTH)
    # All matrix products here are small or thin: a BLAS library's own threads would only wait,
    # and waiting costs them processor time. Read when numpy is imported, which comes later.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


for study_command in STUDY_COMMANDS:
    main.add_command(study_command)


@main.command()
@click.argument("design", type=path)
@click.argument("scan", type=path)
@click.option(
    "--out", type=path, metavar="DIR", help="Folder for the results.  [default: SCAN_check]"
)
@click.option("--areas", "areas_file", type=path, metavar="FILE", help="Areas saved by 'areas'.")
@options(*(setting_option(key.setting) for key in FIT_KEYS if key.setting))
@click.option(
    "--landmarks",
    type=path,
    metavar="CSV",
    help="Paired points for '--start landmarks', in mm; README names the columns.",
)
@options(*(setting_option(key.setting) for key in CHECK_KEYS[len(FIT_KEYS) :] if key.setting))
@click.option(
    "--tolerance",
    multiple=True,
    metavar="AREA=UM",
    help="Largest acceptable mean absolute deviation; repeatable; 'AREA=none' takes it away.",
)
@click.option(
    "--scanner",
    "scanner_um",
    multiple=True,
    metavar="[AREA=]UM",
    help="Standard uncertainty of a mean absolute deviation that comes from the scanner, of one "
    "area or of all; repeatable.",
)
@click.option(
    "--support-mark",
    multiple=True,
    metavar="NAME=X,Y,Z,RADIUS[,KIND]",
    help="Where a support touched the crown, mm; KIND is support, or sprue for a sprue or holding "
    "bar; repeatable.",
)
@set_option
@force_option
@old_options(*OLD_OPTIONS)
@click.option(
    "--palette",
    type=click.Choice(PALETTES),
    default="standard",
    show_default=True,
    help="Colours of the maps: strong for bright rooms, grey for printing without colour.",
)
@pictures_option
@json_option
@guarded
def check(**given: Any) -> None:
    """Measure how far SCAN, the scan of a produced crown, is from DESIGN.

    Prints the measures and a verdict per area and writes check.html, measures.csv,
    patches.csv, marks.csv (with support marks), check.json and coloured PLY meshes
    to a folder.
    """
    from ..check import check_steps
    from ..report.check.output import check_document, write_check_steps

    out: Path | None = given["out"]
    if out is None and not given["as_json"]:
        out = Path(f"{given['scan'].stem}_check")
    settings = check_settings(given)
    if out is not None:
        inputs = (given[name] for name in ("design", "scan", "areas_file", "landmarks"))
        refuse_folder(out, inputs)
    result = ProgressBar(messages).run(check_steps(given["design"], given["scan"], settings))
    written: Iterable[Path] = ()
    if out is not None:
        drawing = picture_choice(given["pictures"])
        steps = write_check_steps(result, out, pictures=drawing, palette=given["palette"])
        written = ProgressBar(messages).run(steps)
    if given["as_json"]:
        click.echo(json.dumps(check_document(result), indent=2, allow_nan=False))
    elif out is not None:
        _show(result)
        say_written(written, out)


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
    from ..measure import area_steps, read_design
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
@pictures_option
@guarded
def demo(out: Path, checks: bool, pictures: bool | None) -> None:
    """Make an invented crown three ways with known errors, and study 24 produced crowns.

    Takes a minute or two: all is made up by formula, scanned, measured, compared and reported.
    """
    from ..demo.study_files import write_study_case_steps
    from .study import measure_study

    refuse_folder(out, ())
    if checks:
        _demo_checks(out, pictures)
        return
    files = ProgressBar(messages).run(write_study_case_steps(out))
    screen.print(files.text)
    measure_study(files.study, out / "study_results", pictures=pictures)


def _demo_checks(out: Path, pictures: bool | None) -> None:
    """Check two produced crowns, printed and milled, against their design."""
    from ..areas.settings import AreaSettings
    from ..check import CheckSettings, check_steps
    from ..demo.crown import DIRECTIONS
    from ..demo.scenario import write_demo_steps
    from ..report.check.output import write_check_steps

    scenario = ProgressBar(messages).run(write_demo_steps(out))
    screen.print(scenario.text)
    settings = CheckSettings(areas=AreaSettings(mesial_direction=tuple(DIRECTIONS.mesial)))
    for scan in scenario.scans:
        screen.rule(readable(scan.stem))
        result = ProgressBar(messages).run(check_steps(scenario.design, scan, settings))
        folder = out / f"{scan.stem}_check"
        steps = write_check_steps(result, folder, pictures=picture_choice(pictures))
        written = ProgressBar(messages).run(steps)
        _show(result)
        say_written(written, folder)


def _show(result: CheckResult) -> None:
    from ..report.check.terminal import check_view

    screen.print(check_view(result))
