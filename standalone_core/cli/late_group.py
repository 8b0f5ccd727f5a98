"""A group of commands, each imported when it is called: help lists them without."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any, NamedTuple

import click


class Told(NamedTuple):
    """What is known of a command that has not been imported.

    Attributes
    ----------
    module : str
        The module beside this one that holds it, under its own name.
    words : str
        The first paragraph of its help.
    """

    module: str
    words: str


class LateGroup(click.Group):
    """Commands that are imported when they are called.

    Parameters
    ----------
    told : mapping of str to Told
        What is known of each command, by name.
    """

    def __init__(self, *args: Any, told: Mapping[str, Told], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.told = told

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands' names, sorted."""
        return sorted(self.told)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, imported; None if there is none of that name."""
        if cmd_name not in self.told:
            return None
        module = import_module(f".{self.told[cmd_name].module}", __package__)
        command: click.Command = getattr(module, cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write a line per command, as click does of commands that it has at hand."""
        room = formatter.width - 6 - max(map(len, self.told))
        with formatter.section("Commands"):
            formatter.write_dl(
                [
                    (name, click.Command(name, help=self.told[name].words).get_short_help_str(room))
                    for name in self.list_commands(ctx)
                ]
            )
