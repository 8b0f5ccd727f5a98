"""Maps seen alone, places looked at and circles that stay, in a real window, by a script.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about two minutes. The pictures are kept in ``build/window_places`` to be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = tuple(
    f"places_{name}"
    for name in ("1_alone", "2_patch", "3_inside", "6_mark", "7_other_scan", "8_edited")
)


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("show_places.py", "window_places", PICTURES)


def test_of_two_scans_in_one_place_one_is_seen(facts: dict[str, Any]) -> None:
    assert facts["second"] == ["Scan 2"]
    assert facts["first"] == ["Scan 1"]
    assert facts["removed"] == ["Design", "Scan 1", "Scan 2"]


def test_the_legend_goes_with_the_map(facts: dict[str, Any]) -> None:
    assert "Deviation, µm" in facts["legend"]
    assert facts["legend_removed"] == []


@pytest.mark.parametrize("name", ["2_patch", "3_inside", "6_mark"])
def test_the_middle_of_the_view_shows_the_place(facts: dict[str, Any], name: str) -> None:
    """The first surface that a ray from the view meets, and nothing else is seen."""
    met, away, *seen = facts[name]
    assert met == "Scan 1"
    assert away < 0.01
    assert seen == ["Scan 1"]


def test_the_view_goes_back(facts: dict[str, Any]) -> None:
    assert facts["distance_after"] == pytest.approx(facts["distance_before"], rel=1e-5)


def test_circles_stay(facts: dict[str, Any]) -> None:
    """Over either map, without one, and while the design is edited."""
    for name in ("map", "other", "removed", "edited"):
        assert facts[f"circles_{name}"] == 2, name
    assert "support marks" in facts["key_edited"]


def test_an_edit_is_read_once_and_then_no_more(facts: dict[str, Any]) -> None:
    """Selecting and moving may each be one, on a machine so slow that a pause is between them."""
    assert facts["waited"], "what is drawn is read anew for ever"
    assert 1 <= facts["reads_after"] - facts["reads_before"] <= 2


def test_the_external_surface_is_in_the_key(facts: dict[str, Any]) -> None:
    assert "external" in facts["key_external"]
