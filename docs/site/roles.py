"""Show the references in docstrings as links: ``:func:`~cuspwise.check``` and its like."""

from __future__ import annotations

import re
from typing import Any

import griffe

_ROLE = re.compile(r":(?:attr|class|data|exc|func|meth|mod):`~?([\w.]+)`")


def linked(text: str) -> str:
    """Put a link to a public name, and its last part as code, in place of each reference."""
    return _ROLE.sub(_link, text)


def _link(role: re.Match[str]) -> str:
    target = role[1]
    shown = f"<code>{target.rpartition('.')[2]}</code>"
    if not target.startswith("cuspwise."):
        return shown
    return f'<autoref identifier="{target}" optional>{shown}</autoref>'


class Roles(griffe.Extension):
    """Changes the docstrings after they were read, before they are shown."""

    def on_object(self, *, obj: griffe.Object, **_: Any) -> None:
        """Link the references of one object's docstring."""
        if obj.docstring:
            obj.docstring.value = linked(obj.docstring.value)
