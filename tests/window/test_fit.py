"""A fit in a real window: seated while it goes on, run down, seen as map and polar plot.

Pictures of the panel, the map and the plot are kept in ``build/window_fit``; look at them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = (
    "fit_1_before",
    "fit_2_lifted",
    "fit_3_seated",
    "fit_4_gap",
    "fit_5_polar",
    "fit_6_seat",
)


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("show_fit.py", "window_fit", PICTURES)


def test_it_is_seated_while_the_window_goes_on(facts: dict[str, Any]) -> None:
    assert facts["lies"]
    assert facts["answer"] == ["RUNNING_MODAL"]
    assert facts["stop"] == "rests"
    assert facts["is_on_die"]


def test_the_gap_map_has_the_crown_to_itself(facts: dict[str, Any]) -> None:
    assert "Gap inside, µm" in facts["legend"]
    assert "overlap" in facts["legend"]
    assert "not measured" in facts["legend"]
    assert (facts["hidden"], facts["hidden_after"]) == (True, False)
    assert facts["spots_on"] == "Design"


def test_the_polar_plot_names_its_directions(facts: dict[str, Any]) -> None:
    for words in ("mesial", "distobuccal", "lingual", "marginal gap", "limit 120 µm"):
        assert words in facts["polar"]
