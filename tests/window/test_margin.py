"""The margin line and the results of a spoilt crown in a real window.

Needs the tool that shows an extension in a window, beside the checkout, and root; skips without.
Takes about 60 s. The pictures are kept in ``build/window_margin`` to be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = ("margin_1_line", "margin_2_results", "margin_3_judged", "margin_4_below")
LINES = {"Line: margin, by place", "Yellow rim: beyond its limits"}


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("show_margin.py", "window_margin", PICTURES)


def test_the_legend_explains_the_line_while_it_is_drawn(facts: dict[str, Any]) -> None:
    assert set(facts["legend"]) > LINES
    assert not LINES & set(facts["legend_before"])
    assert facts["legend_after"] == facts["legend_before"]
    assert facts["margin_with_areas"] is False


def test_other_limits_are_judged_while_the_window_goes_on(facts: dict[str, Any]) -> None:
    """Not in the same moment, which would hold the window up, but soon."""
    assert facts["before"] == ["outside", 15.0]
    assert facts["at_once"] == 15.0
    assert facts["after"] == ["within", 150.0]
