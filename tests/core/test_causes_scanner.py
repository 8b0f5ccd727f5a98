"""The scanner is not the process; and what the outside alone can and cannot show."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cuspwise.standalone_core.causes.design_fields import CauseFields, cause_fields
from cuspwise.standalone_core.causes.find import CrownToExplain, find_causes
from cuspwise.standalone_core.causes.result import CausesResult
from cuspwise.standalone_core.causes.settings import CausesSettings, ProductionFacts
from cuspwise.standalone_core.causes.words import SCANNER_CLAUSE
from made.caused import first_order
from made.caused_form import form_error
from made.caused_shapes import CausedDesign, caused_design
from made.caused_truths import Part, scaled, stretched
from made.tiers import slow

FACTS = ProductionFacts(enlargement=1.25)
UP = (0.0, 0.0, 1.0)


@cache
def plain_fields(edge_mm: float) -> CauseFields:
    ready = caused_design("molar", edge_mm).ready
    return cause_fields(ready.area_set, ready.prepared.index)


def fields_of(edge_mm: float, settings: CausesSettings) -> CauseFields:
    """Fields do not hang on the scanner: only what is said does."""
    return replace(plain_fields(edge_mm), settings=settings)


def deviation_of(design: CausedDesign, seed: int, *parts: Part, form_um: float = 1.0) -> np.ndarray:
    rng = np.random.default_rng([7, seed])
    flaws = [part.make(design) for part in parts]
    return first_order(design, *flaws, form_error(rng, form_um), rng=rng)


def told(deviation: np.ndarray, facts=FACTS, edge_mm: float = 0.3, **settings) -> CausesResult:
    fields = fields_of(edge_mm, CausesSettings(**settings))
    return find_causes(fields, CrownToExplain(deviation, facts=facts))


@pytest.fixture(scope="module")
def molar() -> CausedDesign:
    return caused_design("molar", 0.3)


def test_a_known_scale_of_the_scanner_is_taken_off(molar):
    """2 ‰ seen by a scanner that is 0.8 ‰ too large: 1.2 ‰ of the crown's own."""
    deviation = deviation_of(molar, 1, scaled(2.0))
    plain = told(deviation).of_family("scale")
    known = told(deviation, scanner_scale_permille=0.8)
    scale = known.of_family("scale")
    assert scale.estimate == pytest.approx(plain.estimate - 0.8, abs=0.01)
    assert scale.high - scale.low == pytest.approx(plain.high - plain.low, rel=0.05)
    assert known.corrections[0].factor_next == pytest.approx(1.25 / (1.0 + 1e-3 * scale.estimate))


@pytest.mark.parametrize("uncertainty", [0.2, 0.5])
def test_its_uncertainty_widens_the_interval_in_quadrature(molar, uncertainty):
    """√(sd² + u²), of the size and of the next factor alike."""
    deviation = deviation_of(molar, 1, scaled(3.0))
    known = told(deviation, scanner_scale_permille=0.0)
    wide = told(
        deviation, scanner_scale_permille=0.0, scanner_scale_uncertainty_permille=uncertainty
    )
    halves = [
        (one.of_family("scale").high - one.of_family("scale").low) / 2 for one in (known, wide)
    ]
    assert halves[1] == pytest.approx(math.hypot(halves[0], 1.959964 * uncertainty), rel=1e-6)
    estimate, low = wide.of_family("scale").estimate, wide.of_family("scale").low
    (factor,) = wide.corrections
    assert estimate == pytest.approx(known.of_family("scale").estimate, rel=1e-9)
    assert factor.high == pytest.approx(1.25 / (1.0 + 1e-3 * low))


def test_across_and_along_a_direction_are_widened_too(molar):
    """Of the strain along and across; not of how much they differ: a scale is alike in both."""
    deviation = deviation_of(molar, 2, scaled(3.0), stretched(8.0, UP))
    facts = ProductionFacts(enlargement=1.25, build_direction=UP)
    known = told(deviation, facts, scanner_scale_permille=0.0)
    wide = told(
        deviation, facts, scanner_scale_permille=0.0, scanner_scale_uncertainty_permille=0.5
    )
    for one, other in zip(known.corrections, wide.corrections, strict=True):
        assert other.high - other.low > one.high - one.low
    causes = [{row.cause: row.high - row.low for row in found.stated} for found in (known, wide)]
    assert set(causes[0]) == set(causes[1]) == {"scale", "scale_along_build"}
    assert causes[1]["scale_along_build"] == pytest.approx(causes[0]["scale_along_build"])
    assert causes[1]["scale"] > causes[0]["scale"] + 0.3


@pytest.mark.parametrize(
    ("parts", "facts"),
    [
        ((scaled(2.0),), FACTS),
        ((scaled(2.0),), ProductionFacts()),
        ((stretched(8.0, UP),), FACTS),
        ((stretched(8.0, UP), scaled(2.0)), ProductionFacts(enlargement=1.25, build_direction=UP)),
        ((stretched(9.0, UP), stretched(-8.0, (1.0, 0.0, 0.0))), FACTS),
    ],
)
def test_while_it_is_unknown_every_scale_carries_the_clause(molar, parts, facts):
    found = told(deviation_of(molar, 3, *parts), facts)
    rows = [row for row in found.stated if row.family == "scale"]
    assert rows
    for row in rows:
        assert row.sentence.endswith(f", {SCANNER_CLAUSE}.")
    assert bool(found.corrections) == (facts.enlargement is not None)
    assert all(one.condition == SCANNER_CLAUSE for one in found.corrections)
    known = told(deviation_of(molar, 3, *parts), facts, scanner_scale_permille=0.0)
    assert not any(SCANNER_CLAUSE in text for text in known.sentences)
    assert not any(one.condition for one in known.corrections)


def test_a_scale_that_may_be_growth_carries_it_too(molar):
    deviation = deviation_of(molar, 4, scaled(2.0))
    found = told(np.where(molar.external, deviation, np.nan))
    assert SCANNER_CLAUSE in found.of_family("scale").sentence
    assert "scan spray" in found.of_family("growth").sentence


@pytest.mark.parametrize("crowns", [2, slow(20)])
def test_a_scanner_that_is_off_never_yields_a_factor_without_its_clause(crowns):
    """1 ‰, alone: with its scale given the crown is sound; unknown, the factor hangs on it."""
    edge_mm = 0.3 if crowns < 10 else 0.2
    design = caused_design("molar", edge_mm)
    factors = 0
    for seed in range(crowns):
        deviation = deviation_of(design, seed, scaled(1.0, "scanner"))
        found = told(deviation, edge_mm=edge_mm)
        factors += len(found.corrections)
        assert all(one.condition == SCANNER_CLAUSE for one in found.corrections)
        known = told(deviation, edge_mm=edge_mm, scanner_scale_permille=1.0)
        assert known.of_family("scale") is None
        assert not known.corrections
    assert factors >= 0.9 * crowns  # it does look like the process


@pytest.mark.parametrize(
    ("part", "crowns"),
    [
        (scaled(2.0), 3),
        (stretched(4.0, UP), 3),
        slow(scaled(2.0), 24),
        slow(stretched(4.0, UP), 24),
    ],
    ids=["all directions", "along", "all directions, many", "along, many"],
)
def test_the_outside_alone_never_names_a_scale(part, crowns):
    """Correlation 0.98 with growth of the outside: "cannot tell", with intervals for both."""
    edge_mm = 0.3 if crowns < 10 else 0.2
    design = caused_design("molar", edge_mm)
    iso, covered, stated = part.cause == "all directions", 0, 0
    for seed in range(crowns):
        deviation = deviation_of(design, seed, part, form_um=4.0)
        found = told(np.where(design.external, deviation, np.nan), edge_mm=edge_mm)
        assert not [row for row in found.causes if row.stated and row.cause.startswith("scale")]
        assert found.corrections == ()
        assert any(note.startswith("Without the intaglio") for note in found.notes)
        scale = found.of_family("scale")
        if scale is not None:
            stated += 1
            assert scale.instead
            assert "cannot tell" in scale.sentence
            assert scale.low < scale.estimate < scale.high
            assert found.of_family(scale.instead).instead == "scale"
            covered += scale.low <= part.amount <= scale.high
    if iso:
        assert stated >= 0.95 * crowns
        assert covered >= 0.9 * crowns
