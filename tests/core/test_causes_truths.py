"""Crowns with known causes, by formula: what is found, named, and how large; and nothing else.

4 µm of smooth form error and scanner noise where not said otherwise, on designs of 0.2 mm edges.
Longer forms: ``tests/benchmarks/bench_causes.py``.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from made.caused_kinds import KINDS
from made.caused_trials import Kind, Tally, tally
from made.tiers import slow

CROWNS = 12
"""Of a kind in the slow tier; the benchmark tries 50."""

SOUND_CROWNS = 20

OWN_FORM = (
    "iso",
    "axial",
    "axial tilted",
    "opened",
    "oval",
    "fossae",
    "bur inside",
    "mixed",
)
OTHER_FORM = (
    "opened, reach 1.5",
    "opened, reach 4",
    "oval, reach 1.5",
    "oval, reach 4",
    "fossae, ball 0.6",
    "fossae, ball 1.4",
    "fossae, smoothed",
    "iso, rough",
    "oval, bumpy",
    "iso, premolar",
    "oval, premolar",
    "iso, open rim",
    "oval, open rim",
)


def kind_of(name: str) -> Kind:
    # What a bur leaves is sharper than a mesh of 0.2 mm edges knows.
    return replace(KINDS[name], edge_mm=0.1 if "bur" in name else 0.2)


def tried(name: str, crowns: int) -> Tally:
    return tally(kind_of(name), range(crowns))


def few_or_all(names: tuple[str, ...], quick: tuple[str, ...], most: int) -> list[object]:
    """Two crowns of some kinds, and more of all kinds in the slow tier."""
    return [*((name, 2) for name in quick), *(slow(name, most) for name in names)]


@pytest.mark.parametrize(("name", "crowns"), few_or_all(OWN_FORM, ("mixed",), most=CROWNS))
def test_a_cause_is_found_named_and_its_interval_holds_the_truth(name: str, crowns: int):
    found = tried(name, crowns)
    assert not found.false
    assert set(found.named.values()) == {crowns}
    for cause in found.found:
        assert found.covered(cause) >= crowns - 1  # 92 % of 12


@pytest.mark.parametrize(("name", "crowns"), few_or_all(OTHER_FORM, ("opened, reach 4",), most=8))
def test_a_cause_of_another_form_than_the_columns_is_found(name: str, crowns: int):
    assert set(tried(name, crowns).named.values()) == {crowns}


@pytest.mark.parametrize(
    "name", [slow("iso, 1 µm"), slow("oval, 1 µm"), slow("fossae, 1 µm"), slow("mixed, 1 µm")]
)
def test_sizes_are_close_where_form_error_is_small(name: str):
    found = tried(name, CROWNS)
    for cause in found.found:
        assert found.close(cause) >= CROWNS - 1


@pytest.mark.parametrize(
    ("name", "crowns", "most"),
    [
        ("none", 3, 0),
        slow("none", SOUND_CROWNS, 0),
        slow("none, bumpy", SOUND_CROWNS, 1),
        slow("none, rough", SOUND_CROWNS, 1),  # of 100 at most 8
        slow("none, premolar", 8, 0),
        slow("none, open rim", 8, 0),
        slow("stubs", 8, 0),
    ],
)
def test_nothing_is_stated_of_a_crown_without_a_cause(name: str, crowns: int, most: int):
    assert sum(tried(name, crowns).false.values()) <= most


@pytest.mark.parametrize(("name", "crowns"), [("outside", 1), slow("outside", CROWNS)])
def test_growth_of_the_outside_is_found(name: str, crowns: int):
    assert tried(name, crowns).found["growth_outside"] >= 0.76 * crowns


@pytest.mark.slow
@pytest.mark.parametrize("name", ["iso", "axial"])
def test_scale_is_never_named_where_the_outside_alone_was_scanned(name: str):
    kind = replace(kind_of(name), outside_only=True)
    assert not +tally(kind, range(CROWNS)).named


@pytest.mark.slow
@pytest.mark.parametrize("name", ["mixed, whole scans", "none, whole scans"])
def test_whole_scans_from_any_pose_bear_the_same(name: str):
    found = tally(KINDS[name], range(4))
    assert not found.false
    for cause in found.found:
        assert found.named[cause] == 4
        assert found.covered(cause) >= 3
