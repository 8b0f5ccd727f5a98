"""Support marks marked in a real window, by a script that works like a user.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about 70 s. The pictures are kept in ``build/window_marks`` to be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = ("marks_1_marking", "marks_2_panel", "marks_3_chosen")


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("mark_supports.py", "window_marks", PICTURES)


def test_clicks_on_the_coloured_scan_mark_the_hidden_design(facts: dict[str, Any]) -> None:
    assert facts["state"] == "CURRENT"
    assert facts["design_hidden"] is True
    assert facts["groups"] == ["Area: support: 1", "Area: support: 2"]


def test_the_wheel_and_typing_set_the_radius(facts: dict[str, Any]) -> None:
    """Two notches of a tenth from 0.5 mm, then 0.7 typed."""
    assert facts["radii_mm"] == {"support: 1": 0.605, "support: 2": 0.7}
    assert facts["typed_mm"] == pytest.approx(0.7)


def test_esc_keeps_what_was_clicked_and_measures_it(facts: dict[str, Any]) -> None:
    """Stubs of 110 and 85 µm, on meshes of 0.2 mm edges that cut their tops off."""
    assert [verdict for verdict, _ in facts["rows"].values()] == ["stub", "stub"]
    assert 85.0 < facts["rows"]["support: 1"][1] < 118.0
    assert 60.0 < facts["rows"]["support: 2"][1] < 93.0


def test_one_undo_takes_the_clicks_back_and_one_redo_brings_them(facts: dict[str, Any]) -> None:
    assert facts["undone"] == []
    assert facts["redone"] == facts["groups"]
    assert facts["redone_rows"] == facts["rows"]


def test_a_click_on_a_row_goes_to_the_peak(facts: dict[str, Any]) -> None:
    assert facts["cursor"] == pytest.approx(facts["peak"], abs=1e-4)
