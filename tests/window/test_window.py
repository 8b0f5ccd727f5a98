"""The extension in a real window, by a script that works like a user and takes pictures.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about 80 s, the first time two minutes more. The pictures are kept in ``build/window`` to be
looked at: no test sees a label that is cut off.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = ("1_imported", "2_running", "3_checked", "4_reading", "5_table", "6_out_of_date")


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("look.py", "window", PICTURES)


def test_import_shows_size_and_unit(facts: dict[str, Any]) -> None:
    assert "10.91 mm (file in mm, guessed)" in facts["imported"]


def test_clicks_pick_landmarks(facts: dict[str, Any]) -> None:
    """Before the check, after it with the design hidden below the scan, and taken back by Esc."""
    one, two = ["Design 1", "printed 1"], ["Design 1", "Design 2", "printed 1", "printed 2"]
    assert facts["landmarks"] == [one, two, two]
    assert facts["apart"] > 100  # pixels
    assert facts["hidden"] == facts["hidden_then"] == [False, True, True]
    assert facts["lies"] == facts["lay"]
    assert facts["state_then"] == "CURRENT"


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
    assert facts["out_of_date"] == {"state": "OUT_OF_DATE", "reason": "Scan or design was moved."}


def test_views_and_materials_come_back(facts: dict[str, Any]) -> None:
    assert facts["removed"] == {"slots": 0, "view_transform": "AgX"}
