"""Crowns with known causes tried one after another: what is said of them, and how large."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from cuspwise.standalone_core.causes.design_fields import CauseFields, cause_fields
from cuspwise.standalone_core.causes.find import CrownToExplain, find_causes
from cuspwise.standalone_core.causes.result import Cause, CausesResult
from cuspwise.standalone_core.causes.settings import CausesSettings, ProductionFacts
from made.caused import first_order, whole
from made.caused_form import FORMS
from made.caused_shapes import CausedDesign, caused_design
from made.caused_truths import TRUTHS, Part, Truth, true_size

CAUSES = {
    ("scale", "all directions"): "scale",
    ("scale", "scanner"): "scale",
    ("scale", "build direction"): "scale_along_build",
    ("growth", "outside"): "growth_outside",
    ("growth", "inside"): "growth_inside",
    ("growth", "uniform"): "growth_uniform",
    ("margin", "opened"): "opened_margin",
    ("margin", "leaning"): "leaning_margin",
    ("margin", "oval"): "oval_margin",
    ("margin", "three-lobed"): "three_lobed_margin",
    ("fossae", "fossae"): "filled_fossae",
}
"""The name that a truth's cause is to be found under."""

OVAL = 4.0
"""The long diameter of an oval of amplitude A exceeds the short one by 4 A."""


@dataclass(frozen=True)
class Kind:
    """A kind of crowns.

    Attributes
    ----------
    truth : str
    form : str
        Of its form error: see ``FORMS``.
    form_um : float
    design : str
    whole_scans : bool
        Produced, scanned and superimposed from any pose; else to first order.
    outside_only : bool
        Whether the intaglio was not scanned.
    edge_mm : float
        Mean edge length of the design.
    facts : ProductionFacts
    settings : CausesSettings
    """

    truth: str
    form: str = "smooth"
    form_um: float = 4.0
    design: str = "molar"
    whole_scans: bool = False
    outside_only: bool = False
    edge_mm: float = 0.1
    facts: ProductionFacts = ProductionFacts()
    settings: CausesSettings = CausesSettings()

    @property
    def made_from(self) -> CausedDesign:
        """Their design."""
        return caused_design(self.design, self.edge_mm)

    @property
    def causes(self) -> Truth:
        """What its crowns were made with."""
        return TRUTHS[self.truth]


@dataclass
class Tally:
    """What was said of some crowns of a kind.

    Attributes
    ----------
    kind : Kind
    crowns : int
    false : Counter
        Families that were stated and are not there.
    found, named : Counter
        Parts of the truth by cause: their family stated; and the member named, and right.
    sizes : dict
        By cause, of each crown where it was named: estimate, low, high, true size, µm RMS, true.
    unclear : int
        Crowns with two families that were not told apart.
    """

    kind: Kind
    crowns: int = 0
    false: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    named: Counter[str] = field(default_factory=Counter)
    sizes: dict[str, list[tuple[float, ...]]] = field(default_factory=dict)
    unclear: int = 0

    def covered(self, cause: str) -> int:
        """On how many crowns the interval holds the true size."""
        return sum(low <= true <= high for _, low, high, true, *_ in self.sizes[cause])

    def close(self, cause: str) -> int:
        """On how many crowns deepest size and RMS are within 5 % or 1 µm (of the crown's edge)."""
        return sum(
            near(one[0], one[3], 0.2 if cause.startswith("scale") else 1.0)
            or near(one[4], one[5], 1.0)
            for one in self.sizes[cause]
        )


def near(value: float, true: float, least: float) -> bool:
    """Tell whether a value is within 5 % of the true one, or within something absolute."""
    return abs(value - true) <= max(0.05 * abs(true), least)


@lru_cache(maxsize=8)
def fields_of(
    design: CausedDesign, settings: CausesSettings, facts: ProductionFacts
) -> CauseFields:
    """What every cause would do to a design, made once."""
    ready = design.ready
    return cause_fields(ready.area_set, ready.prepared.index, settings, (facts,))


def crown_of(kind: Kind, seed: int) -> CrownToExplain:
    """Make one crown of a kind."""
    design = kind.made_from
    rng = np.random.default_rng([2026, seed, *kind.truth.encode(), *kind.form.encode()])
    flaws = kind.causes.flaws(design), FORMS[kind.form](rng, design, kind.form_um)
    if not kind.whole_scans:
        counted = design.external if kind.outside_only else None
        deviation = first_order(design, *flaws, rng=rng, counted=counted)
        if counted is not None:
            deviation = np.where(counted, deviation, np.nan)
        return CrownToExplain(deviation, facts=kind.facts)
    scan = whole(design, *flaws, rng=rng, external_only=kind.outside_only)
    in_place = scan.mesh.moved(scan.superimposition.T_design_scan)
    return CrownToExplain(scan.design_to_scan.deviation_mm, in_place, kind.facts)


def explained(kind: Kind, seed: int) -> CausesResult:
    """Find the causes of one crown of a kind."""
    return find_causes(fields_of(kind.made_from, kind.settings, kind.facts), crown_of(kind, seed))


def tally(kind: Kind, seeds: range) -> Tally:
    """Try some crowns of a kind."""
    result = Tally(kind)
    for seed in seeds:
        add(result, explained(kind, seed))
    return result


def add(result: Tally, said: CausesResult) -> None:
    """Add what was said of one crown."""
    design = result.kind.made_from
    truth = result.kind.causes
    result.crowns += 1
    stated = {one.family for one in said.stated if not one.instead}
    result.false.update(stated - truth.families - {"supports"})
    result.unclear += any(one.instead for one in said.stated)
    for part in truth.parts:
        cause = cause_of(part)
        family = [one for one in said.stated if one.family == part.family and not one.instead]
        result.found[cause] += bool(family)
        right = next((one for one in family if is_right(one, cause)), None)
        if right is not None:
            result.named[cause] += 1
            row = (right.estimate, right.low, right.high, *true_sizes(design, part, right))
            result.sizes.setdefault(cause, []).append(row)


def is_right(row: Cause, cause: str) -> bool:
    """Tell whether a row names a cause."""
    return row.cause == cause or (cause.startswith("not_reached") and row.family == "tool")


def cause_of(part: Part) -> str:
    """Return the name that a part of a truth is to be found under."""
    return CAUSES.get((part.family, part.cause), "not_reached")


def true_sizes(design: CausedDesign, part: Part, row: Cause) -> tuple[float, float, float]:
    """True size in the unit that it is told in; found and true root mean square, µm."""
    extent = true_size(design, part)
    if part.family == "margin":
        size = part.amount * (OVAL if part.cause == "oval" else 1.0)
    elif part.family == "tool":
        size = extent.deepest_um
    else:
        size = part.amount
    return size, row.rms_um, extent.rms_um


def counted_shares(tallied: Tally) -> str:
    """One line for a table."""
    crowns = tallied.crowns
    parts = [f"{tallied.kind.truth:<18} {tallied.kind.form:<6} {crowns:>4}"]
    parts.append(f"false {sum(tallied.false.values())} {dict(tallied.false) or ''}")
    if tallied.unclear:
        parts.append(f"unclear {tallied.unclear}")
    for cause in tallied.found:
        line = f"{cause}: found {tallied.found[cause]}, named {tallied.named[cause]}"
        if cause in tallied.sizes:
            rows = np.array(tallied.sizes[cause])
            width = float((rows[:, 2] - rows[:, 1]).mean()) / 2.0
            spread = float(rows[:, 0].std(ddof=1)) if len(rows) > 1 else math.nan
            line += (
                f", size {rows[:, 0].mean():.2f} of {rows[:, 3].mean():.2f} ± {spread:.2f}, "
                f"half interval {width:.2f}, covers {tallied.covered(cause)}, close "
                f"{tallied.close(cause)}, rms {rows[:, 4].mean():.2f} of {rows[:, 5].mean():.2f}"
            )
        parts.append(line)
    return "; ".join(parts)
