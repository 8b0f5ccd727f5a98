"""A technician's whole day in a real window: six scans dropped, checked, marked, compared.


Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about a minute. The pictures are kept in ``build/window_technician`` to be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = ("technician_1_dropped", "technician_2_checked", "technician_3_studied")
LONGEST_TICK_S = 0.1
NAMES = [f"{way} {number}" for way in ("Milled", "Printed") for number in (1, 2, 3)]


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("follow_technician.py", "window_technician", PICTURES)


def test_what_was_dropped_is_there(facts: dict[str, Any]) -> None:
    assert facts["listed"] == ["design", *NAMES]


def test_all_are_checked_and_stay_so(facts: dict[str, Any]) -> None:
    assert facts["states"] == ["CURRENT"] * 6
    assert facts["states_then"] == ["CURRENT"] * 6


def test_a_mark_counts_for_every_crown(facts: dict[str, Any]) -> None:
    assert facts["marks"] == dict.fromkeys(NAMES, "1")


def test_study_and_report_are_written(facts: dict[str, Any]) -> None:
    assert "report.html" in facts["study"]
    assert {"check.html", "measures.csv", "marks.csv", "check.json"} <= set(facts["report"])
    assert len([name for name in facts["report"] if name.startswith("pictures/")]) == 6


def test_no_tick_holds_the_window_up(facts: dict[str, Any]) -> None:
    """On coarse crowns; a tenth of a second is what people hardly notice."""
    assert facts["longest_tick_s"] <= LONGEST_TICK_S
