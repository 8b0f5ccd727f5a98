"""Walls, contacts and the section plane in a real window.

Pictures of maps, panels and sections are kept in ``build/window_fit_parts``; look at them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = (
    "fit_parts_1_walls",
    "fit_parts_2_walls_panel",
    "fit_parts_3_contacts",
    "fit_parts_4_section",
    "fit_parts_5_followed",
)


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("show_fit_parts.py", "window_fit_parts", PICTURES)


def test_the_walls_are_shown_with_their_thinnest_places(facts: dict[str, Any]) -> None:
    assert facts["walls"] == ["RUNNING_MODAL"]
    assert "Wall thickness, mm" in facts["walls_legend"]
    assert "Thinner than required" in facts["walls_legend"]
    assert facts["rings"] == ["Design", 5]
    assert set(facts["walls_hidden"]) == {"Scan", "Mesial", "Distal", "Antagonist"}


def test_the_contacts_are_shown(facts: dict[str, Any]) -> None:
    """The scan was shifted by 35 µm away from the mesial tooth."""
    assert facts["contacts"] == ["RUNNING_MODAL"]
    assert "Mesial contact 35 µm lighter than designed." in facts["sentences"]
    assert "touching" in facts["contacts_legend"]


def test_the_section_shows_what_is_seen_with_a_scale(facts: dict[str, Any]) -> None:
    found = facts["section"]
    assert set(found["names"]) == {"Design", "Scan", "Mesial", "Distal", "Antagonist"}
    assert found["normal"] == pytest.approx([0.0, -1.0, 0.0])
    assert any(words.endswith(("mm", "µm")) for words in found["words"])
    assert found["held"]  # nothing moved: nothing is cut again


def test_the_plane_follows_the_view_and_then_stays(facts: dict[str, Any]) -> None:
    followed = facts["followed"]
    assert followed["normal"] == pytest.approx(followed["eye"], abs=1e-6)
    assert followed["normal"] != pytest.approx(facts["section"]["normal"], abs=0.1)
    assert facts["stays"] == pytest.approx(facts["eye_then"], abs=1e-6)
    assert facts["stays_drawn"] == pytest.approx(facts["stays"], abs=1e-6)
    assert facts["stays"] != pytest.approx(followed["eye"], abs=0.1)
