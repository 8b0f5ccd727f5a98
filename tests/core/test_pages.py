"""The pages for users: links lead somewhere, pictures are shown, the front door stays short."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from cuspwise.standalone_core.mesh import formats
from cuspwise.standalone_core.mesh.files import MAX_SIZE_MM
from cuspwise.standalone_core.mesh.threemf import MAX_NESTING

ROOT = Path(__file__).resolve().parents[2]
LINK = re.compile(r"\]\((?!#)([^)#\s]+)(?:#[^)]*)?\)")
README_LINES = 140


@cache
def pages() -> dict[str, str]:
    files = (*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md"))
    return {
        file.relative_to(ROOT).as_posix(): file.read_text(encoding="utf-8")
        for file in sorted(files)
    }


def test_every_link_leads_to_a_file() -> None:
    """Places inside pages are looked for by the site's own build."""
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


def test_the_readme_stays_short() -> None:
    assert pages()["README.md"].count("\n") <= README_LINES


def test_the_readme_holds_the_commands_that_are_run_from_it() -> None:
    for name in ("demo", "test"):
        assert f"<!-- {name} command -->\n```sh\n" in pages()["README.md"]


def test_the_promises_about_hostile_files_are_those_of_the_code() -> None:
    told = pages()["docs/limits.md"]
    lines = formats.MAX_TEXT_LINES
    assert lines["obj"] == lines["stl_ascii"]
    assert lines["off"] == lines["ply"]
    million = 1_000_000
    for promise in (
        f"above {formats.MAX_TRIANGLES / million:g} million triangles, "
        f"{formats.MAX_BINARY_BYTES / million:g} MB, "
        f"{formats.MAX_TEXT_BYTES / million:g} MB of text, "
        f"or {lines['obj'] / million:g} million lines "
        f"({lines['ply'] / million:g} million of OFF and PLY)",
        f"above {formats.MAX_3MF_BYTES / million:g} MB unpacked",
        f"above {formats.MAX_PARTS} parts placed, or {MAX_NESTING} levels",
    ):
        assert promise in told
    assert MAX_SIZE_MM == 10_000.0
    assert "above ten metres" in told
