"""How a script is run in a real Blender window, for all tests in this folder."""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from zips import zip_for

ROOT = Path(__file__).resolve().parents[2]
TOOL = ROOT.parent / "shared" / "tools" / "window.sh"

PYTHON = "3.13"  # of the Blender that the tool shows

Facts = dict[str, Any]


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The packed extension; skips where no window can be shown."""
    if not TOOL.is_file():
        pytest.skip(f"{TOOL} is absent")
    if os.geteuid() != 0:
        pytest.skip("showing a window needs root")
    return zip_for(PYTHON, tmp_path_factory)


@pytest.fixture(scope="session")
def show(built: Path) -> Callable[[str, str, Sequence[str]], Facts]:
    """Run a script of this folder in a window; return what it noted.

    Its pictures, of which the named ones must be there, are kept in a folder of ``build``.
    """

    def run(script: str, folder: str, pictures: Sequence[str]) -> Facts:
        out = ROOT / "build" / folder
        out.mkdir(parents=True, exist_ok=True)
        for old in out.iterdir():
            old.unlink()
        settings = {"GUI_TAB": "Cuspwise", "GUI_SIZE": "1400x1000", "GUI_WAIT": "done"}
        path = Path(__file__).with_name(script)
        subprocess.run(
            ["bash", str(TOOL), str(built), str(path), out / "last.png"],
            env={**os.environ, **settings, "GUI_TIMEOUT": "500"},
            check=True,
        )
        noted: Facts = json.loads((out / "facts.json").read_text(encoding="utf-8"))
        assert "error" not in noted, noted["error"]
        for name in pictures:
            assert (out / f"{name}.png").stat().st_size > 50_000
        return noted

    return run
