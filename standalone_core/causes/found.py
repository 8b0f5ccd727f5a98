"""From cell means to what may be stated: the part that one crown and a whole group share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..arrays import BoolArray, FloatArray
from .averaged import Averaged
from .covariance import KERNELS, Covariance, find_covariance
from .design_fields import CauseFields
from .evidence import Evidence, weigh
from .members import Candidates, Shapes, candidates, is_confounded
from .model import Member, Model
from .rule import Rule, Statement, field_gram, statements
from .settings import ProductionFacts
from .sizes import Fitted, Sized, explained_share, fitted, sized

LEAST_CELLS = 60
"""Fewer measured cells bear no statement: there would be hardly more of them than columns."""


LOCAL_FAMILIES = ("fossae", "tool")
"""Families whose causes fill single places."""

_SMALL_SET = 3

_SHAPE_DOUBT = 0.15
"""Standard deviation of a local cause's cell means, as a share of them: a ball is not all."""


@dataclass(frozen=True, eq=False)
class Doubt:
    """What is not known of cell means, beside what REML finds.

    Attributes
    ----------
    variance : (c,) float
        Of each cell by itself, mm².
    columns : (c, k) float
        What may be added to all cells together, mm per standard deviation.
    """

    variance: FloatArray
    columns: FloatArray


@dataclass(frozen=True, eq=False)
class Found:
    """What a crown's cells bear.

    Attributes
    ----------
    shapes : mapping of str to float
        What was chosen where shapes were searched.
    measured : (c,) bool
        Which of the design's cells.
    evidence : Averaged
    statements : tuple of Statement
    values, weights : (c,) float
        Of the measured cells: mean deviations, mm, and areas, mm².
    gram : (p − 6, p − 6) float
        See :func:`.rule.field_gram`.
    rule : Rule
        By which they were stated.
    """

    shapes: Shapes
    measured: BoolArray
    evidence: Averaged
    statements: tuple[Statement, ...]
    values: FloatArray
    weights: FloatArray
    gram: FloatArray
    rule: Rule

    @property
    def best(self) -> Evidence:
        """Under the covariance that the data bear best."""
        return self.evidence.best

    @cached_property
    def sized(self) -> tuple[Sized, ...]:
        """The stated causes with their sizes."""
        return sized(self.evidence, self.statements, self.values, self.weights, self.gram)

    @property
    def explaining(self) -> tuple[int, ...]:
        """The members whose fields are taken as explained: stated, and told from other families."""
        return tuple(one.place for one in self.statements if not one.instead)

    @cached_property
    def fitted(self) -> Fitted:
        """These members fitted together."""
        return fitted(self.best, self.explaining, self.values)

    @property
    def share_together(self) -> float:
        """Share of the variance that they explain together."""
        return explained_share(self.best.model, self.explaining, self.values, self.weights)

    def member(self, place: int) -> Member:
        """Return a member by its place."""
        return self.best.model.members[place]


def find_in_cells(
    fields: CauseFields,
    values: FloatArray,
    facts: ProductionFacts,
    least_um: float,
    doubt: Doubt | None = None,
) -> Found | None:
    """Find what cell means bear.

    Parameters
    ----------
    fields : CauseFields
    values : (c,) float
        Mean deviations of the design's cells, mm; NaN where not measured.
    facts : ProductionFacts
    least_um : float
        Least root mean square of the deviations of a cause, µm.
    doubt : Doubt, optional
        What else is not known of the values.

    Returns
    -------
    Found or None
        None where too few cells were measured.
    """
    measured = np.isfinite(values)
    if np.count_nonzero(measured) < LEAST_CELLS:
        return None
    tried = candidates(fields, measured, facts)
    sites = fields.sites.at(measured)
    target, weights = values[measured], fields.cell_mm2[measured]
    shapes = tried.by_misfit(target, sites)
    model = tried.model(shapes)
    covariances = [
        find_covariance(sites, model.columns[:, model.widest], target, kernel) for kernel in KERNELS
    ]
    if doubt is not None:
        variance, together = doubt.variance[measured], doubt.columns[measured]
        covariances = [one.with_doubt(variance, together) for one in covariances]
    shapes = _with_best_reach(tried, target, covariances, shapes)
    model = tried.model(shapes)
    evidence = averaged(model, target, covariances)
    gram = field_gram(evidence.model, weights)
    confounded = is_confounded(tried.columns, np.sqrt(weights))
    rule = Rule(fields.settings.probability, least_um, confounded)
    said = statements(evidence, gram, rule)
    doubtful = _doubtful_covariances(evidence, said)
    if doubtful:
        evidence = averaged(model, target, doubtful)
        said = statements(evidence, gram, rule)
    return Found(shapes, measured, evidence, said, target, weights, gram, rule)


def averaged(model: Model, values: FloatArray, covariances: Sequence[Covariance]) -> Averaged:
    """Weigh all sets of a model's members under several covariances."""
    return Averaged(tuple(weigh(model, values, covariance) for covariance in covariances))


def _with_best_reach(
    tried: Candidates, values: FloatArray, covariances: Sequence[Covariance], shapes: Shapes
) -> Shapes:
    """Choose the reach of a deformed margin that does best over all small sets of causes.

    Beside scale a wrong reach would be made up for by a scale that is not there.
    """
    reaches = tried.offered.get("rings", ())
    if len(reaches) < 2:
        return shapes

    def total(reach: float) -> float:
        model = replace(tried.model({**shapes, "rings": reach}), most=_SMALL_SET)
        return sum(weigh(model, values, covariance).log_total for covariance in covariances)

    return {**shapes, "rings": max(reaches, key=total)}


def _doubtful_covariances(evidence: Averaged, said: Sequence[Statement]) -> tuple[Covariance, ...]:
    """Give less weight to cells that a stated local cause fills: its shape is known roughly only.

    What the ball's shape misses of a deep place would else be made up for by causes that are not
    there. Nothing where no local cause is stated.
    """
    places = [one.place for one in said if one.family in LOCAL_FAMILIES]
    if not places:
        return ()
    doubtful = []
    for one in evidence.evidences:
        made = np.zeros(len(one.model.columns))
        for place in places:
            columns = one.model.columns[:, one.model.blocks[place]]
            made += np.abs(columns @ one.sizes_of([place])[0])
        none = np.zeros((len(made), 0))
        doubtful.append(one.covariance.with_doubt((_SHAPE_DOUBT * made) ** 2, none))
    return tuple(doubtful)
