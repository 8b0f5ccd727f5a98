"""The command that plans a study: how many crowns are needed."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.table import Table

from ..check_settings import CheckSettings
from ..errors import SettingError
from ..setting import declared_in
from ..shares import share_words
from ..study.aim import Aim, Spread, aim_settings
from .base import guarded, messages, options, path, screen
from .setting_options import force_option, read_given, setting_option
from .targets import refuse_folder

if TYPE_CHECKING:
    from ..study.crowns_needed import SizeRow

_DIRECTION = replace(
    declared_in(CheckSettings)["direction"],
    default=None,
    meaning="Direction of the pilot's deviations.  [default: the one that it was judged in]",
)
_SD = declared_in(Spread)["sd_um"]
_SD2 = replace(_SD, name="sd2_um", meaning="The same of the second group.  [default: as --sd]")


@click.command()
@setting_option(_SD)
@setting_option(_SD2)
@click.option(
    "--from",
    "pilot",
    type=path,
    metavar="FILE",
    help="study.json of a pilot, or its folder, for the standard deviations of its groups.",
)
@click.option("--area", default="margin", show_default=True, help="Area of the pilot.")
@click.option("--measure", default="mean_abs_um", show_default=True, help="Its measure.")
@setting_option(_DIRECTION)
@options(*map(setting_option, aim_settings().values()))
@force_option
@click.option(
    "--out", type=path, metavar="DIR", help="Folder for the power curve: CSV, and SVG, PDF and PNG."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for scripts.")
@guarded
def plan(out: Path | None, as_json: bool, **given: Any) -> None:
    """Compute how many crowns per group are needed, for a difference or for equivalence.

    The spread between crowns comes from --sd, or from a pilot study with --from.
    """
    from ..study.crowns_needed import plan_sizes, size_sentences, sizes_document

    force: bool = given["force"]
    aim = Aim(force=force, **read_given(aim_settings(), given, force=force))
    if out is not None:
        refuse_folder(out, (given["pilot"],))
    rows = plan_sizes(_spreads(given), aim)
    written = () if out is None else _write(rows, aim, out)
    if as_json:
        click.echo(json.dumps(sizes_document(rows, aim), indent=2, allow_nan=False))
        return
    screen.print(_table(rows))
    for sentence in size_sentences(rows, aim):
        screen.print(sentence, markup=False)
    if out is not None:
        screen.print(f"Written to {out}: {', '.join(written)}", markup=False)


def _spreads(given: dict[str, Any]) -> tuple[Spread, ...]:
    from ..study.crowns_needed import ONE_GROUP, OTHER_GROUP
    from ..study.pilot import read_pilot

    told = read_given(
        {one.name: one for one in (_SD, _SD2, _DIRECTION)}, given, force=given["force"]
    )
    if (_SD.name in told) == (given["pilot"] is not None):
        raise SettingError(
            "The spread between crowns must come from one place.",
            subject="--sd",
            remedy="Give --sd (and --sd2), or --from with a pilot's study.json.",
        )
    if given["pilot"] is not None:
        return read_pilot(
            given["pilot"], given["area"], given["measure"], told.get(_DIRECTION.name)
        )
    sd = told[_SD.name]
    return Spread(ONE_GROUP, sd), Spread(OTHER_GROUP, told.get(_SD2.name, sd))


def _table(rows: tuple[SizeRow, ...]) -> Table:
    """Return a line per pair of groups and assumed spread."""
    table = Table(title=f"Crowns per group{_of(rows)}")
    table.add_column("Groups")
    table.add_column("Spread")
    for name in ("SD, µm", "Crowns per group", "Power"):
        table.add_column(name, justify="right")
    for row in rows:
        given = f"{row.first.group} and {row.second.group}"
        for name, size in row.sizes:
            table.add_row(
                given,
                name if row.first.n else "as given",
                f"{size.sd_a:.2f} and {size.sd_b:.2f}",
                str(size.n),
                share_words(size.power),
            )
            given = ""
    return table


def _of(rows: tuple[SizeRow, ...]) -> str:
    what = rows[0].first.what
    return f": {what}" if what else ""


def _write(rows: tuple[SizeRow, ...], aim: Aim, out: Path) -> tuple[str, ...]:
    """Write the power curve; as pictures only where matplotlib is installed."""
    from ..csv_text import BYTE_ORDER_MARK
    from ..report.drawing.matplotlib_figure import can_plot
    from ..report.study.power_figure import power_figure
    from ..staging import put_in_place, staging
    from ..study.crowns_needed import power_csv

    files = {"power.csv": (BYTE_ORDER_MARK + power_csv(rows)).encode()}
    if can_plot():
        for kind, content in power_figure(rows, aim).files.items():
            files[f"power.{kind}"] = content.encode() if isinstance(content, str) else content
    else:
        messages.print("Without matplotlib no picture is drawn: pip install matplotlib")
    with staging(out) as stage:
        for name, content in files.items():
            (stage / name).write_bytes(content)
        put_in_place(stage, out, files, ())
    return tuple(files)
