"""The commands of the command line that hold one scan against one design."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..study.file.check_sections import PRODUCTION
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
from .setting_options import OLD_OPTIONS, force_option, old_options, setting_option
from .settings import CAUSES_KEYS, CHECK_KEYS, FIT_KEYS, PALETTES, check_settings
from .targets import refuse_folder
from .tray import check_all, is_tray

if TYPE_CHECKING:
    from ..check_result import CheckResult
    from ..check_settings import CheckSettings

_surfaces = options(click.argument("design", type=path), click.argument("scan", type=path))
_production_options = options(*(setting_option(key.setting) for key in PRODUCTION if key.setting))
_MEASURING_KEYS = [key for key in CHECK_KEYS if key not in (*FIT_KEYS, *CAUSES_KEYS, *PRODUCTION)]
_measuring_options = options(
    click.option(
        "--areas", "areas_file", type=path, metavar="FILE", help="Areas saved by 'areas'."
    ),
    *(setting_option(key.setting) for key in FIT_KEYS if key.setting),
    click.option(
        "--landmarks",
        type=path,
        metavar="CSV",
        help="Paired points for '--start landmarks', in mm; columns "
        "design_x,design_y,design_z,scan_x,scan_y,scan_z.",
    ),
    *(setting_option(key.setting) for key in _MEASURING_KEYS if key.setting),
    click.option(
        "--tolerance",
        multiple=True,
        metavar="AREA=UM",
        help="Largest acceptable mean absolute deviation; repeatable; 'AREA=none' takes it away.",
    ),
    click.option(
        "--scanner",
        "scanner_um",
        multiple=True,
        metavar="[AREA=]UM",
        help="Standard uncertainty of a mean absolute deviation that comes from the scanner, of "
        "one area or of all; repeatable.",
    ),
    click.option(
        "--support-mark",
        multiple=True,
        metavar="NAME=X,Y,Z,RADIUS[,KIND]",
        help="Where a support touched the crown, mm; KIND is support, or sprue for a sprue or "
        "holding bar; repeatable.",
    ),
)


@click.command()
@options(click.argument("design", type=path), click.argument("scans", type=path, nargs=-1))
@click.option(
    "--out",
    type=path,
    metavar="DIR",
    help="Folder for the results.  [default: SCAN_check; of several scans tray_check]",
)
@_measuring_options
@options(*(setting_option(key.setting) for key in CAUSES_KEYS if key.setting))
@_production_options
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
@click.option(
    "--workers",
    type=int,
    metavar="N",
    help="Processes that check several scans.  [default: one per three scans, at most one per "
    "processor]",
)
@json_option
@guarded
def check(**given: Any) -> None:
    """Measure how far the scan of a produced crown is from DESIGN, and why.

    Prints a verdict per area, the causes and the measures, and writes check.html,
    measures.csv, patches.csv, causes.csv, marks.csv (with support marks), README.csv
    (what their columns mean), check.json and coloured PLY meshes to a folder.

    Of several SCANS, of a folder of them, or of a table alone in place of DESIGN (CSV
    with the columns design,scan and perhaps name), it prints one table of crowns and
    areas, writes tray.html, tray.csv and tray.json, and each crown's files to a folder
    of its own. The exit code is then 1 unless every crown is within its tolerances.
    """
    drawing = {"pictures": picture_choice(given["pictures"]), "palette": given["palette"]}
    design, scans = given["design"], given["scans"]
    if is_tray(design, scans):
        check_all(given, drawing)
    else:
        _check_one(design, scans[0], given, drawing)


def _check_one(
    design: Path, scan: Path, given: Mapping[str, Any], drawing: Mapping[str, Any]
) -> None:
    from ..report.check.output import check_document

    as_json = bool(given["as_json"])
    out: Path | None = given["out"]
    if out is None and not as_json:
        out = Path(f"{scan.stem}_check")
    settings = check_settings(given)
    if out is not None:
        refuse_folder(out, (design, scan, given["areas_file"], given["landmarks"]))
    result, problem = checked(design, scan, settings, silent=as_json)
    if out is not None:
        written = write(result, out, **drawing)
        if not as_json:
            say_written(written, out)
    if as_json:
        click.echo(json.dumps(check_document(result), indent=2, allow_nan=False))
    if problem is not None:
        raise problem


@click.command()
@_surfaces
@_production_options
@_measuring_options
@set_option
@force_option
@old_options(*OLD_OPTIONS)
@json_option
@guarded
def causes(design: Path, scan: Path, as_json: bool, **given: Any) -> None:
    """Say why SCAN, the scan of a produced crown, deviates from DESIGN, and what to change.

    A cause is told only where the deviations hold it, with its size and a 95 %
    interval; where they cannot tell, that is said. Nothing is written to files.
    'cuspwise check' tells the same beside its verdict.

    The scanner's own scale, by a calibrated part, is given as
    '--set scanner_scale_permille=0.1' and its uncertainty as
    '--set scanner_scale_uncertainty_permille=0.05'.
    """
    from ..causes.document import causes_document
    from ..check import check_steps
    from ..explain import explain_steps
    from ..report.check.causes_view import causes_view

    settings = check_settings({**given, "find_causes": True})
    result = ProgressBar(messages).run(check_steps(design, scan, settings))
    found = ProgressBar(messages).run(explain_steps(result))
    if as_json:
        click.echo(json.dumps(causes_document(found), indent=2, allow_nan=False))
    else:
        screen.print(causes_view(found))


def checked(
    design: Path, scan: Path, settings: CheckSettings, *, silent: bool = False
) -> tuple[CheckResult, BaseException | None]:
    """Check a scan and show what comes out, the verdict before causes are looked for.

    Parameters
    ----------
    design, scan : pathlib.Path
    settings : CheckSettings
    silent : bool
        Show nothing but progress.

    Returns
    -------
    result : CheckResult
    problem : BaseException or None
        What stopped the search for causes, Ctrl-C too: to be raised once the check, which is
        whole without them, is written.
    """
    from ..check import check_steps
    from ..report.check.terminal import details_view, verdict_view

    result = ProgressBar(messages).run(check_steps(design, scan, settings))
    if not silent:
        screen.print(verdict_view(result))
    result, problem = _explained(result)
    if not silent:
        screen.print(details_view(result))
    return result, problem


def _explained(result: CheckResult) -> tuple[CheckResult, BaseException | None]:
    from ..explain import explained_steps

    if not result.settings.causes.find_causes:
        return result, None
    try:
        return ProgressBar(messages).run(explained_steps(result)), None
    except BaseException as problem:
        stopped = isinstance(problem, KeyboardInterrupt)
        messages.print(
            "Stopped looking for causes." if stopped else "The causes could not be found.",
            "The check is whole without them and goes on.",
        )
        return result, problem


def write(result: CheckResult, out: Path, **drawing: Any) -> Iterable[Path]:
    """Write a check's files to a folder and return them."""
    from ..report.check.output import write_check_steps

    return ProgressBar(messages).run(write_check_steps(result, out, **drawing))
