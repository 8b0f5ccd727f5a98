"""The command line: ``cuspwise demo``, ``check``, ``areas`` and ``inspect``."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from .console import Stage
from .errors import CuspwiseError, SettingError

UNITS = ("auto", "mm", "cm", "m", "inch", "um")
STARTS = {"auto": "auto", "landmarks": "landmarks", "in-place": "in_place"}
LOSSES = {"least-squares": "least_squares", "trimmed": "trimmed", "robust": "robust"}
INTERRUPTED = 130  # the shell's own code for a program stopped by Ctrl-C

screen = Console(highlight=False)
errors = Console(stderr=True, highlight=False)


def guarded(command: Callable[..., None]) -> Callable[..., None]:
    """Turn expected errors into one readable message and exit code 1, Ctrl-C into 130."""

    @wraps(command)
    def wrapper(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except CuspwiseError as error:
            errors.print("[bold red]Error:[/]", end=" ")
            errors.print(str(error), markup=False, soft_wrap=True)
            sys.exit(1)
        except KeyboardInterrupt:
            errors.print("Stopped. No half-written file was left behind.")
            sys.exit(INTERRUPTED)

    return wrapper


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="cuspwise", prog_name="cuspwise")
def main() -> None:
    """How far is a produced dental crown from its design, where, and is that good enough?

    Not a medical device: it supports, and never replaces, the judgement of a licensed
    professional and local rules. Keep patient names out of file names.
    """


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--unit",
    type=click.Choice(UNITS),
    default="auto",
    show_default=True,
    help="Unit of the file's coordinates.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for scripts.")
@guarded
def inspect(file: Path, unit: str, as_json: bool) -> None:
    """Report the health of a mesh FILE: size, unit, pieces, open borders, faulty faces."""
    from .mesh.files import read_mesh
    from .mesh.repair import repair_mesh
    from .report.terminal import health_json, health_table

    mesh_file = read_mesh(file, unit=unit)
    repair = repair_mesh(mesh_file.mesh)
    if as_json:
        click.echo(json.dumps(health_json(mesh_file, repair), indent=2))
    else:
        screen.print(health_table(mesh_file, repair))
