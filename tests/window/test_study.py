"""A study run in a real window, by a script that works like a user and takes pictures.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about two minutes. The pictures are kept in ``build/window_study`` to be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = (
    "study_1_listed",
    "study_2_open",
    "study_3_running",
    "study_4_answer",
    "study_5_table",
    "study_6_mean",
    "study_7_share",
    "study_8_difference",
    "study_9_out_of_date",
)


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("run_study.py", "window_study", PICTURES)


def test_a_click_starts_and_esc_keeps_what_is_measured(facts: dict[str, Any]) -> None:
    assert facts["running"] is True
    assert facts["after_esc"] == {"running": False, "study": None, "measured": True}
    assert 2 <= facts["before"] < 9


def test_the_second_run_goes_to_its_end(facts: dict[str, Any]) -> None:
    assert facts["groups"] == {"Milled": 3, "Printed upright": 3, "Printed tilted": 3}
    assert facts["out_of_date"] == ""
    assert facts["report"] is True


def test_maps_hide_the_scans_and_bring_them_back(facts: dict[str, Any]) -> None:
    assert all(facts["shown"]["hidden"])
    assert facts["shown"]["limit_um"] >= 50.0
    assert facts["removed"] == {"hidden": 0, "attributes": []}


def test_another_group_is_noticed(facts: dict[str, Any]) -> None:
    assert facts["changed"] == "milled 1 is in another group now."
