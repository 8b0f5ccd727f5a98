"""From cell means to what may be stated: the part that one crown and a whole group share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..arrays import BoolArray, FloatArray
from .averaged import Averaged
from .covariance import KERNELS, Covariance, find_covariance
from .design_fields import CauseFields
from .evidence import Evidence, weigh
from .members import Candidates, Shapes, candidates, is_confounded
from .model import Member
from .rule import Rule, Statement, field_gram, statements
from .settings import ProductionFacts
from .sizes import Fitted, Sized, explained_share, fitted, sized

LEAST_CELLS = 60
"""Fewer measured cells bear no statement: there would be hardly more of them than columns."""


LOCAL_FAMILIES = ("fossae", "tool")
"""Families whose causes fill single places."""

_SHAPE_DOUBT = 0.15
"""Standard deviation of a local cause's cell means, as a share of them: a ball is not all."""


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
    """

    shapes: Shapes
    measured: BoolArray
    evidence: Averaged
    statements: tuple[Statement, ...]
    values: FloatArray
    weights: FloatArray
    gram: FloatArray

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
    fields: CauseFields, values: FloatArray, facts: ProductionFacts, least_um: float
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
    evidence, shapes = _best_reach(tried, target, covariances, shapes)
    gram = field_gram(evidence.model, weights)
    confounded = is_confounded(tried.columns, np.sqrt(weights))
    rule = Rule(fields.settings.probability, least_um, confounded)
    said = statements(evidence, gram, rule)
    doubtful = _doubtful_covariances(evidence, said)
    if doubtful:
        evidence, shapes = _best_reach(tried, target, doubtful, shapes)
        said = statements(evidence, gram, rule)
    return Found(shapes, measured, evidence, said, target, weights, gram)


def _best_reach(
    tried: Candidates, values: FloatArray, covariances: Sequence[Covariance], shapes: Shapes
) -> tuple[Averaged, Shapes]:
    """Weigh all sets for every reach of a deformed margin, and keep the one that does best.

    Beside scale a wrong reach would be made up for by a scale that is not there.
    """
    first = tuple(weigh(tried.model(shapes), values, covariance) for covariance in covariances)
    found = {shapes.get("rings", 0.0): first}
    for reach in tried.offered.get("rings", ()):
        if reach not in found:
            model = tried.model({**shapes, "rings": reach})
            found[reach] = tuple(
                weigh(model, values, one.covariance, one.sigma_mm) for one in first
            )
    best = max(found, key=lambda reach: sum(one.log_total for one in found[reach]))
    return Averaged(found[best]), ({**shapes, "rings": best} if "rings" in shapes else shapes)


def _doubtful_covariances(averaged: Averaged, said: Sequence[Statement]) -> tuple[Covariance, ...]:
    """Give less weight to cells that a stated local cause fills: its shape is known roughly only.

    What the ball's shape misses of a deep place would else be made up for by causes that are not
    there. Nothing where no local cause is stated.
    """
    places = [one.place for one in said if one.family in LOCAL_FAMILIES]
    if not places:
        return ()
    doubtful = []
    for evidence in averaged.evidences:
        made = np.zeros(len(evidence.model.columns))
        for place in places:
            columns = evidence.model.columns[:, evidence.model.blocks[place]]
            made += np.abs(columns @ evidence.sizes_of([place])[0])
        more = (_SHAPE_DOUBT * made / evidence.sigma_mm) ** 2
        doubtful.append(evidence.covariance.with_variance(more))
    return tuple(doubtful)


def of_family(found: Found, family: str) -> Sequence[Sized]:
    """Return the stated causes of a family."""
    return [one for one in found.sized if one.statement.family == family]
