"""The areas overlay in a real window, by a script that works like a user.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about 60 s. The pictures are kept in ``build/window_areas`` to be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = ("areas_1_scan", "areas_2_edited", "areas_3_weights", "areas_4_light", "areas_5_off")
KEY = [
    *("intaglio", "occlusal", "axial walls", "margin", "fossae"),
    *("margin line", "support marks"),
]


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("show_areas.py", "window_areas", PICTURES)


def test_the_key_is_there_while_it_is_on(facts: dict[str, Any]) -> None:
    assert facts["key_before"] == []
    assert facts["key"] == KEY
    assert facts["key_off"] == []


def test_a_hidden_area_leaves_the_key(facts: dict[str, Any]) -> None:
    """Below the axial walls lies the external surface."""
    assert "axial walls" not in facts["key_without_axial"]
    assert facts["key_without_axial"][0] == "external"


def test_an_edited_group_is_read_anew(facts: dict[str, Any]) -> None:
    assert 0 < facts["occlusal_after"] < 0.8 * facts["occlusal_before"]
    assert facts["occlusal_cleaned"] == 0


def test_drawing_reads_nothing(facts: dict[str, Any]) -> None:
    assert facts["drawn"] >= 20
    assert facts["read"] == 0
