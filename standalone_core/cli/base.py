"""What all commands of the command line share: where they write, and how they fail."""

from __future__ import annotations

import sys
import textwrap
from collections import Counter
from collections.abc import Callable, Iterable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from rich.console import Console

from ..errors import CuspwiseError
from ..readable import readable
from ..study.file.mistakes import StudyFileError

if TYPE_CHECKING:
    from ..report.check.output import PictureChoice

INTERRUPTED = 130  # what a shell reports for a program stopped by Ctrl-C

screen = Console(highlight=False)
messages = Console(stderr=True, highlight=False)

_INDENT, _NARROWEST = "  ", 40

path = click.Path(path_type=Path)

Command = TypeVar("Command", bound=Callable[..., Any])


def guarded(command: Callable[..., None]) -> Callable[..., None]:
    """Turn expected errors into one readable message and exit code 1, Ctrl-C into 130."""

    @wraps(command)
    def wrapper(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except CuspwiseError as error:
            say_error(error)
            sys.exit(1)
        except KeyboardInterrupt:
            messages.print("Stopped. No half-written file is left behind.")
            sys.exit(INTERRUPTED)

    return wrapper


def say_error(error: CuspwiseError) -> None:
    """Say what went wrong; of a study's files, every mistake on a line of its own."""
    messages.print("[bold red]Error:[/]", end=" ")
    if isinstance(error, StudyFileError):
        wrapped = messages.is_terminal
        messages.print(f"{error.subject}: {error.reason}", markup=False, soft_wrap=not wrapped)
        for line in error.lines:
            messages.print(_below(line), markup=False, soft_wrap=True)
        return
    own = _own_options()
    given = [own[name] for name in error.arguments if name in own]
    about = own.get(error.subject, error.subject)
    words = [
        f"{about}: {error.reason} {error.remedy}",
        *([f"({', '.join(given)})"] if given else []),
    ]
    messages.print(*words, markup=False, soft_wrap=True)


def _below(text: str) -> str:
    """Indent a mistake; on a terminal its lines too, though no line that is to be pasted."""
    words, *pasted = text.split("\n")
    width = messages.width - 1 if messages.is_terminal else len(words) + len(_INDENT)
    lines = textwrap.wrap(
        words,
        max(width, _NARROWEST),
        initial_indent=_INDENT,
        subsequent_indent=2 * _INDENT,
        expand_tabs=False,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return "\n".join([*lines, *(f"{2 * _INDENT}{line}" for line in pasted)])


def _own_options() -> dict[str, str]:
    """Return the options of the running command by the names of what they set."""
    context = click.get_current_context(silent=True)
    if context is None:
        return {}
    params = [param for param in context.command.params if isinstance(param, click.Option)]
    return {param.name: param.opts[0] for param in params if param.name is not None}


def options(*decorators: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Join several click decorators into one."""

    def join(command: Command) -> Command:
        for decorator in reversed(decorators):
            command = decorator(command)
        return command

    return join


json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for scripts.")
set_option = click.option(
    "--set",
    "set",
    multiple=True,
    metavar="NAME=VALUE",
    help="Any other setting; repeatable; docs/settings.md lists them.",
)
pictures_option = click.option(
    "--pictures/--no-pictures",
    default=None,
    help="Whether to draw pictures; they are drawn by default.",
)


def picture_choice(pictures: bool | None) -> PictureChoice:
    """Return what ``--pictures`` and ``--no-pictures`` ask for."""
    if pictures is None:
        return "auto"
    return "yes" if pictures else "no"


def say_written(files: Iterable[Path], folder: Path) -> None:
    """Say which files lie in a folder now, and how many in its subfolders."""
    found = tuple(files)
    names = [readable(file.name) for file in found if file.parent == folder]
    inside = Counter(file.parent.name for file in found if file.parent != folder)
    names += [f"{count} in {readable(name)}" for name, count in inside.items()]
    screen.print(f"Written to {readable(folder)}: {', '.join(names)}", markup=False)
