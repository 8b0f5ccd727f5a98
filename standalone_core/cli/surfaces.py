"""The commands of the command line that look at one surface alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from ..length_units import UNIT
from ..readable import readable
from .base import guarded, json_option, messages, options, path, screen, set_option
from .console import ProgressBar
from .setting_options import force_option, old_options, setting_option
from .settings import DESIGN_KEYS, design_settings
from .targets import refuse_overwriting


@click.command()
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


@click.command()
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
