"""The commands of the command line that seat a crown on its die and measure its walls."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

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
from .console import ProgressBar
from .fit_settings import FIT_OPTIONS, WALL_OPTIONS, fit_settings, wall_settings
from .setting_options import force_option, setting_option
from .targets import FIT_RESULTS, WALL_RESULTS, refuse_folder

_FILES = ("crown", "die", "design", "seated", "finish_line", "antagonist")

_design_option = click.option(
    "--design",
    type=path,
    metavar="FILE",
    help="The crown's design, in the die's frame: where the crown was meant to sit.",
)
_walls_design_option = click.option(
    "--design", type=path, metavar="FILE", help="The crown's design, for what was lost against it."
)


@click.command()
@click.argument("crown", type=path)
@click.argument("die", type=path)
@_design_option
@click.option(
    "--seated",
    type=path,
    metavar="SCAN",
    help="A scan of the crown seated on the die: gap and margin are then measured as it shows.",
)
@click.option(
    "--finish-line",
    type=path,
    metavar="FILE",
    help="The finish line on the die; without it, and without a design, no margin is measured.",
)
@click.option(
    "--neighbours",
    type=path,
    multiple=True,
    metavar="FILE",
    help="A tooth beside the crown, in the die's frame; repeatable.",
)
@click.option(
    "--antagonist", type=path, metavar="FILE", help="The tooth against it, in the die's frame."
)
@options(*(setting_option(key.setting) for key in FIT_OPTIONS if key.setting))
@click.option(
    "--hard",
    is_flag=True,
    help="No point of the crown may cut into the die; by default only for a design, since noise "
    "would hold a scan up.",
)
@click.option(
    "--out", type=path, metavar="DIR", help="Folder for the results.  [default: CROWN_fit]"
)
@set_option
@force_option
@pictures_option
@json_option
@guarded
def fit(**given: Any) -> None:
    """Seat CROWN, a scan or a design, on DIE, and measure how it fits.

    Says whether it goes down or what holds it up, how wide the gap is inside and at the
    margin, how thin the walls are, and how it touches other teeth. Writes fit.html, fit.json,
    fit.csv, marginal_gap.csv, seat_spots.csv, walls.csv, proximal_contacts.csv, README.csv (what
    their columns mean) and coloured PLY meshes to a folder. What cannot be measured is told with
    its remedy, and the rest is done.

    A virtual seat has no cement, no friction and no elasticity; a wide gap or a thin wall is
    for a licensed professional to judge.
    """
    settings = fit_settings(given)
    as_json, neighbours = bool(given["as_json"]), tuple(given["neighbours"])
    files = {name: given[name] for name in _FILES}
    inputs = (*files.values(), *neighbours)
    out = _folder(given["out"], given["crown"], "fit", as_json, inputs, FIT_RESULTS)
    from ..fit.check_fit import check_fit_steps
    from ..fit.inputs import FitFiles
    from ..report.fit.document import fit_document
    from ..report.fit.output import write_fit_steps
    from ..report.fit.terminal import fit_view

    request = FitFiles(**files, neighbours=neighbours)
    result = ProgressBar(messages).run(check_fit_steps(request, settings))
    if not as_json:
        screen.print(fit_view(result))
    if out is not None:
        steps = write_fit_steps(result, out, pictures=picture_choice(given["pictures"]))
        written = ProgressBar(messages).run(steps)
        if not as_json:
            say_written(written, out)
    if as_json:
        click.echo(json.dumps(fit_document(result), indent=2, allow_nan=False))


@click.command()
@click.argument("crown", type=path)
@_walls_design_option
@options(*(setting_option(key.setting) for key in WALL_OPTIONS if key.setting))
@click.option(
    "--out", type=path, metavar="DIR", help="Folder for the results.  [default: CROWN_walls]"
)
@set_option
@force_option
@json_option
@guarded
def walls(**given: Any) -> None:
    """Measure how thick the walls of CROWN are, a design or a scan.

    The thinnest places are listed, and each part is held against a minimum: '--set
    least_axial_mm=0.5' and '--set least_occlusal_mm=1.0'. Writes walls.html, walls.json,
    walls.csv and a coloured PLY mesh to a folder.
    """
    settings = wall_settings(given)
    as_json, crown, design = bool(given["as_json"]), given["crown"], given["design"]
    out = _folder(given["out"], crown, "walls", as_json, (crown, design), WALL_RESULTS)
    from ..fit.walls_alone import walls_alone_steps
    from ..report.fit.document import walls_document
    from ..report.fit.output import write_walls
    from ..report.fit.terminal import walls_view

    found = ProgressBar(messages).run(walls_alone_steps(crown, settings, design=design))
    if not as_json:
        screen.print(walls_view(found.walls))
    if out is not None:
        written = write_walls(found.crown, found.walls, out)
        if not as_json:
            say_written(written, out)
    if as_json:
        document = walls_document(found.crown, found.walls)
        click.echo(json.dumps(document, indent=2, allow_nan=False))


def _folder(
    out: Path | None,
    crown: Path,
    what: str,
    as_json: bool,
    inputs: tuple[Path | None, ...],
    results: tuple[str, ...],
) -> Path | None:
    """Return where results go; None where they are only printed as JSON."""
    if out is None and not as_json:
        out = Path(f"{crown.stem}_{what}")
    if out is not None:
        refuse_folder(out, inputs, results)
    return out
