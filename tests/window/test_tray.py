"""A tray of six scans checked in a real window, by a script that works like a user.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about three minutes. The pictures are kept in ``build/window_tray`` to be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = (
    "tray_1_listed",
    "tray_2_running",
    "tray_3_table",
    "tray_4_by_verdict",
    "tray_5_by_margin",
    "tray_6_group",
)
LONGEST_TICK_S = 0.1
NAMES = ["Milled 1", "Milled 2", "Milled 3", "Printed 1", "Printed 2", "Printed 3"]


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("check_tray.py", "window_tray", PICTURES)


def test_esc_keeps_what_is_checked(facts: dict[str, Any]) -> None:
    assert facts["running"] is True
    assert facts["after_esc"]["running"] is False
    assert 2 <= facts["after_esc"]["checked"] < 5


def test_the_second_run_goes_on(facts: dict[str, Any]) -> None:
    """The one that cannot be checked says why; those that were checked are not measured again."""
    assert facts["states"] == ["CURRENT"] * 5 + ["NONE"]
    assert facts["problem"] == "It has no faces. Choose another object."
    assert facts["still"] == facts["kept"]
    assert facts["longest_tick_s"] <= LONGEST_TICK_S


def test_the_map_follows_the_table(facts: dict[str, Any]) -> None:
    assert (facts["coloured"], facts["coloured_then"]) == (["Printed 2"], ["Milled 1"])


def test_the_table_goes_out(facts: dict[str, Any]) -> None:
    assert [line.split("\t")[0] for line in facts["clipboard"]] == ["crown", *NAMES]
    named = [line.split(",")[0] for line in facts["csv"][1:]]
    assert list(dict.fromkeys(named)) == NAMES
