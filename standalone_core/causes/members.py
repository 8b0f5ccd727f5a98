"""Which causes a crown is tried for, and in which shape: reach of a bent margin, radii of balls."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from ..arrays import BoolArray, FloatArray
from .corner_fields import BURS_MM, effective_bur_mm
from .covariance import Sites, correlation, matern, triangle_of
from .design_fields import CauseFields, Fields
from .model import Member, Model
from .rings import ORDERS, columns_of
from .settings import ProductionFacts
from .strain import parts_of

_LEAST_COLUMN_MM = 1e-9
_TYPICAL_LENGTH_MM, _TYPICAL_NUGGET, _TYPICAL_RHO = 2.0, 0.2, 0.3
_CONFOUNDED = 0.93
"""Correlation of scale and growth above which one crown cannot tell them: 0.78 where the intaglio
was scanned, 0.98 where it was not (the demo crown)."""


Shapes: TypeAlias = Mapping[str, float]
"""What was chosen where shapes were searched: the reach of ``rings``, the radii of ``fossae``,
``bur_outside`` and ``bur_inside``, mm."""


@dataclass(frozen=True, eq=False)
class Candidates:
    """What a crown's cells are tried for, in all shapes.

    Attributes
    ----------
    columns : Fields
        Over the measured cells.
    facts : ProductionFacts
    offered : mapping of str to tuple of float
        The shapes to choose from.
    """

    columns: Fields
    facts: ProductionFacts
    offered: Mapping[str, tuple[float, ...]]

    def model(self, shapes: Shapes) -> Model:
        """Return the model of one choice of shapes."""
        return _model(self.columns, self.facts, shapes)

    def by_misfit(self, values: FloatArray, sites: Sites) -> Shapes:
        """Choose each shape in turn by what the whole model then leaves, twice.

        Parameters
        ----------
        values : (c,) float
            Mean deviations of the measured cells, mm.
        sites : Sites
            Of these cells.
        """
        matrix = correlation(sites, matern, _TYPICAL_LENGTH_MM, _TYPICAL_NUGGET, _TYPICAL_RHO)
        misfit = self._misfit(cholesky(matrix, lower=True), values)
        chosen = {name: options[len(options) // 2] for name, options in self.offered.items()}
        for _ in range(2):
            for name, options in self.offered.items():
                if len(options) > 1:
                    costs = [misfit({**chosen, name: option}) for option in options]
                    chosen[name] = options[int(np.argmin(costs))]
        return chosen

    def _misfit(self, factor: FloatArray, values: FloatArray) -> Callable[[Shapes], float]:
        known: dict[tuple[tuple[str, float], ...], float] = {}

        def misfit(shapes: Shapes) -> float:
            key = tuple(sorted(shapes.items()))
            if key not in known:
                model = self.model(shapes)
                both = np.column_stack([model.columns[:, model.widest], values])
                white = solve_triangular(factor, both, lower=True, check_finite=False)
                known[key] = float(abs(triangle_of(white)[-1, -1]))
            return known[key]

        return misfit


def candidates(fields: CauseFields, measured: BoolArray, facts: ProductionFacts) -> Candidates:
    """Return what is to be tried on a crown.

    Parameters
    ----------
    fields : CauseFields
    measured : (c,) bool
        Which cells of the design.
    facts : ProductionFacts
    """
    columns = fields.cell_columns.at(measured)
    return Candidates(columns, facts, _offered(columns, facts))


def _offered(columns: Fields, facts: ProductionFacts) -> dict[str, tuple[float, ...]]:
    """Return the shapes to choose from, by what they are of."""
    offered = {"rings": tuple(columns.rings), "bur_inside": _burs(columns.bur_inside, facts)}
    if facts.way == "milled":
        offered["bur_outside"] = _burs(columns.bur_outside, facts)
    else:
        offered["fossae"] = tuple(columns.fossae)
    return {name: shapes for name, shapes in offered.items() if shapes}


def _burs(columns: Mapping[float, FloatArray], facts: ProductionFacts) -> tuple[float, ...]:
    """Return the radii that are tried: a known bur's, and those of coarser tools before it."""
    bur = effective_bur_mm(facts)
    if bur is None or facts.way == "printed" or bur not in columns:
        return tuple(radius for radius in columns if radius in BURS_MM)
    return tuple(radius for radius in columns if radius >= bur)


def _members(columns: Fields, facts: ProductionFacts, chosen: Mapping[str, float]) -> list[Member]:
    """Return all members, also those that the measured surface cannot show."""
    members = _scale_members(columns, facts)
    members += [
        Member("growth_uniform", "growth", (columns.outside + columns.inside)[:, None]),
        Member("growth_outside", "growth", columns.outside[:, None]),
        Member("growth_inside", "growth", columns.inside[:, None]),
    ]
    if "fossae" in chosen:
        column = columns.fossae[chosen["fossae"]]
        members.append(Member("filled_fossae", "fossae", column[:, None], 1))
    given = effective_bur_mm(facts)
    if "bur_outside" in chosen:
        column = columns.bur_outside[chosen["bur_outside"]]
        searched = int(chosen["bur_outside"] != given)
        members.append(Member("not_reached_outside", "tool", column[:, None], searched))
    if "bur_inside" in chosen:
        column = columns.bur_inside[chosen["bur_inside"]][:, None]
        if facts.way == "printed":
            members.append(Member("filled_intaglio", "fossae", column, 1))
        else:
            searched = int(chosen["bur_inside"] != given)
            members.append(Member("not_reached_inside", "tool", column, searched))
    if "rings" in chosen:
        ring = columns.rings[chosen["rings"]]
        members += [Member(cause, "margin", ring[:, columns_of(cause)], 1) for cause in ORDERS]
    return members


def _scale_members(columns: Fields, facts: ProductionFacts) -> list[Member]:
    ways = {"scale": parts_of(np.eye(3))[:, None]}
    axis = facts.build_axis
    if axis is not None:
        ways["scale_along_build"] = parts_of(np.outer(axis, axis))[:, None]
    ways["scale_per_direction"] = np.eye(6)
    return [
        Member(cause, "scale", columns.strain @ strains, strains=strains)
        for cause, strains in ways.items()
    ]


def _model(columns: Fields, facts: ProductionFacts, chosen: Mapping[str, float]) -> Model:
    members = [
        member
        for member in _members(columns, facts, chosen)
        if float(np.abs(member.columns).max(initial=0.0)) > _LEAST_COLUMN_MM
    ]
    names = {member.cause for member in members}
    if not {"growth_outside", "growth_inside"} <= names:
        members = [member for member in members if member.cause != "growth_uniform"]
    return Model(columns.rigid, tuple(members))


def is_confounded(columns: Fields, weights: FloatArray) -> bool:
    """Tell whether scale in all directions and growth of the outside look alike.

    Parameters
    ----------
    columns : Fields
        Over the measured cells.
    weights : (c,) float
        Square roots of their areas.
    """
    scale = columns.strain[:, :3].sum(axis=1)
    pair = np.column_stack([scale, columns.outside]) * weights[:, None]
    rigid, _ = np.linalg.qr(columns.rigid * weights[:, None])
    pair = pair - rigid @ (rigid.T @ pair)
    sizes = np.linalg.norm(pair, axis=0)
    if not (sizes > 0).all():
        return True
    return abs(float(pair[:, 0] @ pair[:, 1])) / float(sizes.prod()) > _CONFOUNDED
