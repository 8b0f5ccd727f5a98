"""Groups of crowns with known causes, as the cells of a design bear them: no scan is made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.causes.design_fields import CauseFields, cause_fields
from cuspwise.standalone_core.causes.settings import CausesSettings, ProductionFacts
from cuspwise.standalone_core.study.measuring.shared_causes import (
    GroupCauses,
    crowns_sizes,
    parts_of_group,
    shared_case,
)
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.caused import Flaws, first_order
from made.caused_form import form_error
from made.caused_shapes import CausedDesign, caused_design

EDGE_MM = 0.25
LEAST_UM = 1.5


@dataclass(frozen=True, eq=False)
class Crowns:
    """Crowns of one group: (m, n) deviations at the points and (m, c) over the cells, mm."""

    points: FloatArray
    cells: FloatArray


def design() -> CausedDesign:
    return caused_design("molar", EDGE_MM)


@cache
def fields(settings: CausesSettings | None = None) -> CauseFields:
    """What every cause would do to the design, made once a process."""
    made = design()
    return cause_fields(made.ready.area_set, SurfaceIndex(made.mesh), settings or CausesSettings())


def crowns(
    each: Sequence[Flaws],
    rng: np.random.Generator,
    form_um: float = 4.0,
    settings: CausesSettings | None = None,
) -> Crowns:
    """Crowns with the given flaws, each with form error and scanner noise of its own."""
    points = np.stack(
        [first_order(design(), flaws, form_error(rng, form_um), rng=rng) for flaws in each]
    )
    made = fields(settings)
    return Crowns(points, np.stack([made.measured_means(row) for row in points]))


def group(
    made: Crowns,
    facts: ProductionFacts | None = None,
    name: str = "a",
    settings: CausesSettings | None = None,
) -> GroupCauses:
    """What such crowns share."""
    case = shared_case(
        fields(settings), made.cells, made.points.mean(axis=0), facts or ProductionFacts(), LEAST_UM
    )
    assert case is not None
    return GroupCauses(
        group=name,
        crowns=tuple(f"{name}{k}" for k in range(len(made.cells))),
        left_out={},
        case=case,
        sizes=crowns_sizes(case.found, made.cells),
        parts=parts_of_group(case, made.cells),
    )
