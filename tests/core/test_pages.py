"""The pages for users: links lead somewhere, commands exist, pictures are shown."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import click
import pytest
from cuspwise.standalone_core.cli.main import main

ROOT = Path(__file__).resolve().parents[2]
LINK = re.compile(r"\]\((?!#)([^)#\s]+)(?:#[^)]*)?\)")
BLOCK = re.compile(r"^```(?:sh)?\n(.*?)^```", re.DOTALL | re.MULTILINE)
IN_LINE = re.compile(r"`(cuspwise [^`]+)`")
OPTION = re.compile(r"(?<!\S)--?[a-z][a-z-]*")
COUNTED = {"README.md": 140}
"""Pages that are to stay short, and their lines."""


@cache
def pages() -> dict[str, str]:
    files = (*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md"))
    return {
        file.relative_to(ROOT).as_posix(): file.read_text(encoding="utf-8")
        for file in sorted(files)
    }


def commands(text: str) -> list[str]:
    """The lines of a page that run cuspwise, without their remarks."""
    lines = [line for block in BLOCK.findall(text) for line in block.splitlines()]
    runs = [line for line in lines if line.startswith("cuspwise ")] + IN_LINE.findall(text)
    return [line.split(" #")[0] for line in runs]


def unknown(line: str) -> list[str]:
    """What a line asks for that there is not."""
    name, *rest = line.split()[1:]
    context = click.Context(main)
    command = main.get_command(context, name)
    if command is None:
        return [] if name == "COMMAND" else [name]
    known = {opt for param in command.params for opt in (*param.opts, *param.secondary_opts)}
    known |= set(command.get_help_option_names(context)) | {"-h", "--help"}
    return [option for option in OPTION.findall(" ".join(rest)) if option not in known]


def test_every_link_leads_to_a_file() -> None:
    lost = [
        f"{name}: {target}"
        for name, text in pages().items()
        for target in LINK.findall(text)
        if not (ROOT / name).parent.joinpath(target).exists()
    ]
    assert not lost, "\n".join(lost)


def test_every_picture_is_shown_on_a_page() -> None:
    shown = {Path(target).name for text in pages().values() for target in LINK.findall(text)}
    assert {file.name for file in (ROOT / "docs" / "pictures").iterdir()} <= shown


def test_commands_and_options_exist() -> None:
    runs = [
        (name, line)
        for name, text in pages().items()
        if name != "CHANGELOG.md"  # it tells of what is gone
        for line in commands(text)
    ]
    assert len(runs) > 30
    wrong = [f"{name}: {line}: {unknown(line)}" for name, line in runs if unknown(line)]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("line", "there_is_not"),
    [
        ("cuspwise chek design.stl", ["chek"]),
        ("cuspwise check design.stl scan.stl --tolerence margin=12", ["--tolerence"]),
        ("cuspwise check design.stl scan.stl --mesial -1,0,0 --no-refine", []),
    ],
)
def test_what_does_not_exist_is_seen(line: str, there_is_not: list[str]) -> None:
    assert unknown(line) == there_is_not


@pytest.mark.parametrize("name", COUNTED)
def test_the_front_door_stays_short(name: str) -> None:
    assert pages()[name].count("\n") <= COUNTED[name]


def test_the_readme_holds_the_commands_that_are_run_from_it() -> None:
    for name in ("demo", "test"):
        assert f"<!-- {name} command -->\n```sh\n" in pages()["README.md"]
