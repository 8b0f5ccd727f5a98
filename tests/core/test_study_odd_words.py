"""What is said of an odd crown."""

from __future__ import annotations

import math

from cuspwise.standalone_core.statistics.odd import OddUnit, Sign
from cuspwise.standalone_core.study.analysis.odd_crowns import odd_reason, sign_words


def unit(*signs: Sign) -> OddUnit:
    return OddUnit("a/1", True, 9.0, 3.0, signs[0], signs)


def test_a_sign_is_said_with_what_is_usual():
    value = Sign("rms_um margin", 61.04, 14.0, 12.9, 15.1)
    assert sign_words(value) == (
        "root mean square deviation (margin) 61 µm, against a median of 14 µm (12.9 to 15.1)"
    )
    surface = Sign("whole", 123.4, 9.876, 5.0, 12.0, of_map=True)
    assert sign_words(surface) == (
        "whole crown: its surface lies 123 µm from the others' mean, against a median of 9.88 µm "
        "(5 to 12)"
    )


def test_three_areas_are_named_and_the_rest_counted():
    signs = [Sign(area, 61.0, 14.0, 12.9, 15.1, True) for area in "abcde"]
    text = odd_reason(unit(*signs))
    assert text.startswith("A: its surface lies 61 µm from the others' mean")
    assert text.count("against a median") == 3
    assert text.endswith("; and 2 more.")
    assert odd_reason(unit(signs[0])).endswith("(12.9 to 15.1).")


def test_a_crown_that_could_not_be_judged_is_said_so():
    nothing = OddUnit("a/1", False, math.nan, math.nan, None, ())
    assert odd_reason(nothing).startswith("Not judged: fewer than 3 units")
    fine = OddUnit("a/1", False, 0.5, 3.0, Sign("margin", 14.0, 14.0, 13.0, 15.0), ())
    assert odd_reason(fine) == ""
