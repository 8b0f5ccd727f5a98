"""Every command line in the README and on the pages is one that the program takes."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest
from cuspwise.standalone_core.cli.fit_settings import FIT_TABLES, WALL_TABLES
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.cli.setting_options import OLD_OPTIONS
from cuspwise.standalone_core.cli.settings import CHECK_TABLES

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
OTHERS = {"--platform", "--python", "--blender", "--write"}
"""Options of tools/build_extension.py and of the benchmarks."""

FENCED = re.compile(r"^( *)```(\w*)\n(.*?)^\1```", re.DOTALL | re.MULTILINE)
SHELL = ("", "sh")


def blocks(page: Path) -> list[str]:
    return [
        block for _, language, block in FENCED.findall(page.read_text("utf-8")) if language in SHELL
    ]


def lines_of(block: str) -> list[list[str]]:
    """The words of each call of cuspwise in a block, without comments."""
    joined = block.replace("\\\n", " ")
    parts = [part for line in joined.splitlines() for part in line.split(" && ")]
    calls = [part for part in parts if re.match(r"\s*(?:\S*/)?cuspwise ", part)]
    return [shlex.split(call, comments=True)[1:] for call in calls]


def program() -> dict[str, click.Command]:
    """All commands by name."""
    context = click.Context(main)
    found = {name: main.get_command(context, name) for name in main.list_commands(context)}
    return {name: command for name, command in found.items() if command is not None}


PROGRAM = program()
COMMANDS = [
    pytest.param(words, id=f"{page.name}-{' '.join(words)}")
    for page in PAGES
    for block in blocks(page)
    for words in lines_of(block)
]


def settable(command: str) -> set[str]:
    """What --set takes, with its table before it or without."""
    tables = {"fit": FIT_TABLES, "walls": WALL_TABLES}.get(command, CHECK_TABLES)
    own = {(table.name, key.name) for table in tables for key in table.keys}
    return {name for _, name in own} | {f"{table}.{name}" for table, name in own}


@pytest.mark.parametrize("words", COMMANDS)
def test_a_documented_command_is_one_that_the_program_takes(words: list[str]) -> None:
    name, *arguments = words
    assert name in PROGRAM
    command = PROGRAM[name]
    context = command.make_context(name, list(arguments))  # a mistake is a click.UsageError
    old = {one.partition("=")[0] for one in arguments} & set(OLD_OPTIONS)
    assert old <= shown(command)
    given = [text.partition("=")[0] for text in context.params.get("set") or ()]
    assert set(given) <= settable(name)


def shown(command: click.Command) -> set[str]:
    """The options that help tells: none of an old name."""
    told = [param for param in command.params if not getattr(param, "hidden", False)]
    return {name for param in told for name in (*param.opts, *param.secondary_opts)}


OPTIONS = {"--help"}.union(*map(shown, PROGRAM.values()))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_option_that_a_page_names_is_there(page: Path) -> None:
    text = FENCED.sub("", page.read_text("utf-8"))
    coded = re.findall(r"`([^`\n]+)`", text)
    named = {option for code in coded for option in re.findall(r"(?<![\w-])--[a-z][\w-]*", code)}
    assert named - OPTIONS - OTHERS == set()


@pytest.mark.parametrize(
    "words",
    ["check design.stl scan.stl --no-such", "cehck a.stl b.stl", "study", "areas a.stl b.stl"],
)
def test_a_command_that_the_program_does_not_take_is_found(words: str) -> None:
    (call,) = lines_of(f"cuspwise {words}   # why\n")
    with pytest.raises((AssertionError, click.UsageError)):
        test_a_documented_command_is_one_that_the_program_takes(call)


def test_commands_are_found_where_pages_have_them() -> None:
    block = "python -m venv x && .venv/bin/cuspwise demo\n\ncuspwise fit a.stl \\\n  b.stl  # c\n"
    assert lines_of(block) == [["demo"], ["fit", "a.stl", "b.stl"]]
    assert len(COMMANDS) > 20
