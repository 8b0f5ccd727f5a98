"""Files dropped into a real window: Blender's own way there, our question, and what is there then.

The pictures are kept in ``build/window_drop``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

pytestmark = pytest.mark.timeout(600)
PICTURES = ("1_which_way", "2_which_design", "3_dropped", "4_one_broken")


@pytest.fixture(scope="module")
def facts(show: Callable[[str, str, Sequence[str]], dict[str, Any]]) -> dict[str, Any]:
    return show("drop_files.py", "window_drop", PICTURES)


def test_dropped_files_come_in_with_their_design(facts: dict[str, Any]) -> None:
    assert facts["dropped"] == {
        "design": "design",
        "scans": ["crown 1", "crown 2"],
        "row": 0,
        "in_view": [True, True, True],
    }


def test_a_broken_one_does_not_keep_others_out(facts: dict[str, Any]) -> None:
    found = facts["one broken"]
    assert found["scans"] == ["crown 1", "crown 2", "crown 3"]
    assert found["row"] == 2
    assert found["in_view"][-1]


def test_esc_leaves_nothing_half_imported(facts: dict[str, Any]) -> None:
    assert facts["started"]
    assert not facts["running"]
    assert facts["after_esc"] == facts["before"]
