"""The page of the Python reference holds every public name once, and links to names that exist."""

from __future__ import annotations

import re
from pathlib import Path

import cuspwise
import pytest
from docs_hook import on_page_content

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^::: (\S+)$", PAGE, re.MULTILINE)


def test_every_public_name_is_on_the_page_once() -> None:
    assert sorted(BLOCKS) == sorted(f"cuspwise.{name}" for name in cuspwise.__all__)


def test_the_other_pages_link_to_names_that_are_there() -> None:
    pages = [ROOT / "README.md", *(ROOT / "docs").rglob("*.md")]
    text = "".join(page.read_text(encoding="utf-8") for page in pages)
    linked = set(re.findall(r"#(cuspwise\.\w+)", text))
    assert linked
    assert linked <= set(BLOCKS)


@pytest.mark.parametrize(
    ("role", "link"),
    [
        (
            ":class:<code>~cuspwise.Tolerances</code>",
            '<autoref identifier="cuspwise.Tolerances" optional><code>Tolerances</code></autoref>',
        ),
        (
            ":func:<code>check</code>",
            '<autoref identifier="cuspwise.check" optional><code>check</code></autoref>',
        ),
        (
            ":meth:<code>~cuspwise.CheckResult.measures_of</code>",
            '<autoref identifier="cuspwise.CheckResult.measures_of" optional>'
            "<code>measures_of</code></autoref>",
        ),
        (":mod:<code>cuspwise.standalone_core</code>", "<code>cuspwise.standalone_core</code>"),
        (":func:<code>~.fit_tables</code>", "<code>fit_tables</code>"),
        ("<code>check</code>", "<code>check</code>"),
    ],
)
def test_references_in_docstrings_become_links_to_public_names(role: str, link: str) -> None:
    assert on_page_content(f"<p>See {role}.</p>") == f"<p>See {link}.</p>"


def test_the_python_of_the_page_is_that_of_the_readme_which_runs() -> None:
    """A slow test runs the README's: every line of the page is one of it."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    runs, shown = (
        set(
            "".join(re.findall(r"^```python\n(.*?)^```", text, re.DOTALL | re.MULTILINE)).split(
                "\n"
            )
        )
        for text in (readme, PAGE)
    )
    assert len(shown) > 10
    assert shown <= runs
