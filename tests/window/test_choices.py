"""Directions, areas of one's own and lists of choices in a real window.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about 90 s. The pictures are kept in ``build/window_choices`` to be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = (
    "choices_1_areas",
    "choices_2_thresholds",
    "choices_3_fit",
    "choices_4_tolerances",
    "choices_5_rules",
    "choices_6_question",
    "choices_7_analysis",
)


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("show_choices.py", "window_choices", PICTURES)


def test_what_lies_to_the_right_of_the_view_is_mesial(facts: dict[str, Any]) -> None:
    """Seen from occlusal; the margin's places are called after it, and an arrow shows it."""
    assert facts["mesial"] == pytest.approx([1.0, 0.0, 0.0], abs=1e-6)
    assert facts["words"] == "mesial"
    assert facts["arrows"] == 2
    assert facts["state"] == "CURRENT"


def test_squares_of_colour_differ(facts: dict[str, Any]) -> None:
    """Icons are made with a window alone."""
    assert facts["icons"] == 3
