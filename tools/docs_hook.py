"""A hook of MkDocs: links for the references in docstrings, such as :class:`~cuspwise.Tolerances`.

MkDocs shows docstrings as Markdown, which does not know these roles. A public name becomes a link
to its place on the page of the Python reference, any other name becomes code.
"""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
ROLE = re.compile(r":(?:class|func|meth|mod|attr|data|exc):<code>(~?)([\w.]+)</code>")


def on_page_content(html: str, **_: object) -> str:
    """Put links where a rendered page has roles."""
    return ROLE.sub(_link, html)


def _link(role: re.Match[str]) -> str:
    parts = role[2].removeprefix("cuspwise.").split(".")
    shown = parts[-1] if role[1] or not parts[0] else role[2]
    public = next((number for number, part in enumerate(parts) if part in public_names()), None)
    if public is None:
        return f"<code>{shown}</code>"
    target = ".".join(("cuspwise", *parts[public:]))
    return f'<autoref identifier="{target}" optional><code>{shown}</code></autoref>'


@cache
def public_names() -> frozenset[str]:
    """Return the names that ``import cuspwise`` offers."""
    stub = ast.parse((ROOT / "__init__.pyi").read_text(encoding="utf-8"))
    lines = [line for line in stub.body if isinstance(line, ast.ImportFrom)]
    return frozenset(alias.name for line in lines for alias in line.names)
