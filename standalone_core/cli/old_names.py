"""Options of earlier versions: refused with what they are called now."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import click

NEW_OPTIONS: Mapping[str, str] = MappingProxyType({"--contact": "--mark"})
"""Options by what they were called."""


class Command(click.Command):
    """A command that says what an option of earlier versions is called now."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the options, as click does."""
        try:
            return super().parse_args(ctx, args)
        except click.NoSuchOption as problem:
            new = NEW_OPTIONS.get(problem.option_name)
            if new is None:
                raise
            message = f"{problem.option_name} is called {new} now."
            raise click.NoSuchOption(problem.option_name, message, ctx=ctx) from None
