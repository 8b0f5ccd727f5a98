"""The extension in a real window, by a script that works like a user and takes pictures.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about 80 s, the first time two minutes more. The pictures are kept in ``build/window`` to be
looked at: no test sees a label that is cut off.
"""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOOL = ROOT.parent / "shared" / "tools" / "window.sh"
pytestmark = pytest.mark.timeout(600)
PICTURES = ("1_imported", "2_running", "3_checked", "4_reading", "5_table", "6_stale")


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    if not TOOL.is_file():
        pytest.skip(f"{TOOL} is absent")
    if os.geteuid() != 0:
        pytest.skip("showing a window needs root")
    given = os.environ.get("CUSPWISE_ZIP")
    if not given and not importlib.util.find_spec("bpy"):
        pytest.skip("no bpy to pack the extension with, and CUSPWISE_ZIP is not set")
    built = Path(given) if given else _build(tmp_path_factory.mktemp("zip"))
    out = ROOT / "build" / "window"
    out.mkdir(parents=True, exist_ok=True)
    for old in out.iterdir():
        old.unlink()
    settings = {"GUI_TAB": "Cuspwise", "GUI_SIZE": "1400x1000", "GUI_WAIT": "done"}
    subprocess.run(
        ["bash", str(TOOL), str(built), str(Path(__file__).with_name("look.py")), out / "last.png"],
        env={**os.environ, **settings, "GUI_TIMEOUT": "280"},
        check=True,
    )
    noted: dict[str, Any] = json.loads((out / "facts.json").read_text(encoding="utf-8"))
    assert "error" not in noted, noted["error"]
    for name in PICTURES:
        assert (out / f"{name}.png").stat().st_size > 50_000
    return noted


def _build(out: Path) -> Path:
    command = [sys.executable, str(ROOT / "tools" / "build_extension.py"), "--out", str(out)]
    subprocess.run([*command, "--platform", "linux-x64"], check=True)
    return next(out.glob("*.zip"))


def test_import_shows_size_and_unit(facts: dict[str, Any]) -> None:
    assert "10.91 mm (file in mm, guessed)" in facts["imported"]


def test_clicks_pick_landmarks(facts: dict[str, Any]) -> None:
    assert facts["landmarks"] == ["Design 1", "printed 1"]


def test_a_click_starts_and_esc_cancels(facts: dict[str, Any]) -> None:
    assert facts["running"] is True
    assert facts["after_esc"] == {"running": False, "state": "NONE", "groups": 0}


def test_check_runs_to_its_end(facts: dict[str, Any]) -> None:
    assert facts["checked"] == {"state": "CURRENT", "limit_um": 50.0}


def test_a_click_leaves_a_label(facts: dict[str, Any]) -> None:
    (label,) = facts["labels"]
    assert " µm" in label
    assert "occlusal" in label


def test_moving_is_noticed(facts: dict[str, Any]) -> None:
    assert facts["stale"] == {"state": "STALE", "reason": "Scan or design was moved."}


def test_views_and_materials_come_back(facts: dict[str, Any]) -> None:
    assert facts["removed"] == {"slots": 0, "view_transform": "AgX"}
