"""What the command line loads, and that it knows its commands without loading them."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from cuspwise.standalone_core import cli
from cuspwise.standalone_core.cli.main import COMMANDS, main
from cuspwise.standalone_core.mesh.write import write_mesh
from made.crowns import demo_crown

CLI = cli.__name__
HEAVY = {"numpy", "scipy", "rich", "jinja2", "matplotlib", "trimesh"}


def loaded_by(*arguments: str, folder: Path | None = None) -> set[str]:
    """The modules that a process of its own has when it has answered."""
    code = f"""
import atexit, sys
from {CLI}.main import main
atexit.register(lambda: print("loaded:", *sys.modules))
main({list(arguments)!r})
"""
    command = [sys.executable, "-c", code]
    ran = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert ran.returncode == (0 if arguments else 2), ran.stderr
    return set(ran.stdout.rpartition("loaded:")[2].split())


def all_commands() -> dict[str, click.Command]:
    """Every command that any module of the command line makes."""
    modules = [
        importlib.import_module(f"{CLI}.{m.name}") for m in pkgutil.iter_modules(cli.__path__)
    ]
    found = [value for module in modules for value in vars(module).values()]
    return {c.name: c for c in found if isinstance(c, click.Command) and c is not main}


def test_all_commands_are_known_and_called_by_their_names():
    context = click.Context(main)
    assert {name: main.get_command(context, name) for name in COMMANDS} == all_commands()
    assert main.get_command(context, "chekc") is None


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_what_is_known_of_a_command_is_what_it_says_itself(name: str):
    paragraph = inspect.getdoc(all_commands()[name].callback).partition("\n\n")[0]
    assert COMMANDS[name].words == " ".join(paragraph.split())


def test_help_is_the_same_as_that_of_commands_at_hand():
    """As click writes it of a group whose commands are all imported."""
    eager = click.Group(
        "main",
        all_commands(),
        help=main.help,
        params=[p for p in main.params if p.name == "version"],
        context_settings=main.context_settings,
    )
    for width in (40, 80, 100):
        told, expected = (
            CliRunner().invoke(group, ["--help"], prog_name="cuspwise", terminal_width=width).output
            for group in (main, eager)
        )
        assert told == expected
        assert "  walls " in told


@pytest.mark.parametrize("arguments", [(), ("--help",), ("--version",)])
def test_help_loads_no_command_and_no_library_but_click(arguments: tuple[str, ...]):
    modules = loaded_by(*arguments)
    assert "click" in modules
    assert not modules & HEAVY
    assert not modules & {f"{CLI}.{told.module}" for told in COMMANDS.values()}


def test_the_help_of_a_command_loads_no_other_and_no_numbers():
    modules = loaded_by("tidy", "--help")
    assert f"{CLI}.study" in modules
    assert not modules & {"numpy", "scipy", f"{CLI}.check", f"{CLI}.fit", f"{CLI}.plan"}


def test_a_check_loads_nothing_that_only_causes_pictures_or_studies_need(tmp_path: Path):
    """A crown against its own design: all files but pictures."""
    write_mesh(tmp_path / "design.stl", demo_crown(0.5).mesh)
    options = ("--no-causes", "--no-pictures", "--spacing", "0.5", "--out", "found")
    modules = loaded_by("check", "design.stl", "design.stl", *options, folder=tmp_path)
    assert (tmp_path / "found" / "check.html").exists()
    assert "scipy.spatial" in modules
    not_needed = {"scipy.stats", "scipy.optimize", "scipy.ndimage", "matplotlib", "trimesh"}
    assert not modules & not_needed
    core = CLI.rpartition(".")[0]
    causes = {name.rpartition(".")[2] for name in modules if name.startswith(f"{core}.causes.")}
    assert causes == {"document", "result", "settings", "words"}
    assert not {name for name in modules if name.startswith(f"{core}.study.measuring")}
