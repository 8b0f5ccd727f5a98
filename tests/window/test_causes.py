"""Causes in a real window: found while it goes on, read in the sidebar, seen on the design.

Pictures of the panel and of the maps are kept in ``build/window_causes``; look at them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = (
    "causes_1_before",
    "causes_2_lower",
    "causes_3_upper",
    "causes_4_left",
    "causes_5_one",
    "causes_6_marks",
)


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("show_causes.py", "window_causes", PICTURES)


def test_they_are_found_while_the_window_goes_on(facts: dict[str, Any]) -> None:
    """The demo's printed crown has filled fossae."""
    assert facts["answer"] == ["RUNNING_MODAL"]
    assert "filled_fossae" in facts["stated"]
    assert facts["maps"][-2:] == ["all", "left"]


def test_the_legend_says_which_map_is_shown(facts: dict[str, Any]) -> None:
    assert "Deviation left, µm" in facts["legend_left"]
    assert "Deviation, µm, made by" in facts["legend_one"]
    assert "Deviation, µm" not in facts["legend_left"]


def test_the_scan_is_out_of_the_way_meanwhile(facts: dict[str, Any]) -> None:
    """Hidden are the design and the scan."""
    assert facts["hidden"] == [False, True]
    assert facts["hidden_after"] == [True, False]


def test_the_build_direction_is_drawn(facts: dict[str, Any]) -> None:
    """Platform, shaft and head."""
    assert facts["lines"] == 4


def test_a_found_mark_becomes_one_of_the_design(facts: dict[str, Any]) -> None:
    """Accepted with a click, it is measured while the window goes on."""
    assert facts["found"][0] == "stub"
    assert facts["marked"] == ["support: 1"]
    assert facts["measured"] == ["stub"]
