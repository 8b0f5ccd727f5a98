"""What may be said: a family of causes, its member, or that two families cannot be told apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from ..arrays import FloatArray
from .averaged import Averaged
from .model import RIGID, Model
from .result import Family

UM = 1e3


@dataclass(frozen=True, eq=False)
class Statement:
    """A cause that the data hold.

    Attributes
    ----------
    family : str
    place : int
        Of the member that is meant, or of the likeliest one where none can be named.
    named : bool
        Whether the member can be named.
    probability : float
        Of the member, or of the family or pair of families where it cannot be named.
    rms_um : float
        Root mean square of its deviations, µm.
    instead : str
        The family that explains the same as well; empty if there is none.
    """

    family: Family
    place: int
    named: bool
    probability: float
    rms_um: float
    instead: Family | Literal[""] = ""


@dataclass(frozen=True, eq=False)
class Rule:
    """When something is stated.

    Attributes
    ----------
    probability : float
        Least probability.
    least_um : float
        Least root mean square of the deviations of a cause, µm.
    confounded : bool
        Whether scale and growth look alike on the surface that was measured.
    """

    probability: float
    least_um: float
    confounded: bool


def field_gram(model: Model, weights: FloatArray) -> FloatArray:
    """Products of the members' fields after superimposition, (p − 6, p − 6), mean over the area.

    The root mean square of sizes b is √(bᵀGb), mm.

    Parameters
    ----------
    model : Model
    weights : (c,) float
        Areas of the cells.
    """
    root = np.sqrt(weights / weights.sum())[:, None]
    rigid, _ = np.linalg.qr(model.rigid * root)
    free = model.columns[:, RIGID:] * root
    free = free - rigid @ (rigid.T @ free)
    gram: FloatArray = free.T @ free
    return gram


def rms_um(model: Model, gram: FloatArray, place: int, sizes: FloatArray) -> float:
    """Root mean square of one member's deviations, µm, from its sizes (k,)."""
    block = model.blocks[place] - RIGID
    part = gram[np.ix_(block, block)]
    return UM * math.sqrt(max(float(sizes @ part @ sizes), 0.0))


def statements(evidence: Averaged, gram: FloatArray, rule: Rule) -> tuple[Statement, ...]:
    """Say what the data hold.

    Parameters
    ----------
    evidence : Averaged
    gram : (p − 6, p − 6) float
        See :func:`field_gram`.
    rule : Rule
    """
    model, held = evidence.model, evidence.probability
    size = np.array(
        [
            rms_um(model, gram, place, evidence.sizes_of([place])[0])
            for place in range(len(model.members))
        ]
    )
    found: list[Statement] = []
    open_families: list[Family] = []
    for family, places in model.families.items():
        sure = evidence.of_any(places)
        doubted = rule.confounded and family in ("scale", "growth")
        if doubted or sure < rule.probability:
            open_families.append(family)
            continue
        likely = [
            place
            for place in places
            if held[place] >= rule.probability and size[place] >= rule.least_um
        ]
        found += [
            Statement(family, int(place), True, float(held[place]), float(size[place]))
            for place in likely
        ]
        best = int(places[np.argmax(held[places])])
        unnamed = not any(held[place] >= rule.probability for place in places)
        if unnamed and size[best] >= rule.least_um:
            found.append(Statement(family, best, False, sure, float(size[best])))
    return (*found, *_either(evidence, open_families, rule, gram))


def _either(
    evidence: Averaged,
    families: Sequence[Family],
    rule: Rule,
    gram: FloatArray,
) -> list[Statement]:
    """State two families that together are sure, where neither is by itself.

    Where scale and growth look alike these two are meant, even if one alone seems sure; else the
    surest pair.
    """
    model, held = evidence.model, evidence.probability
    pairs = []
    for one, other in combinations(families, 2):
        places = np.concatenate([model.families[one], model.families[other]])
        sure = evidence.of_any(places)
        if sure < rule.probability:
            continue
        alike = rule.confounded and {one, other} == {"scale", "growth"}
        pair = _pair(evidence, (one, other), sure, gram)
        if max(statement.rms_um for statement in pair) >= rule.least_um:
            pairs.append((alike, sure, float(held[places].sum()), pair))
    return max(pairs, key=lambda found: found[:3])[-1] if pairs else []


def _pair(
    evidence: Averaged, families: tuple[Family, Family], sure: float, gram: FloatArray
) -> list[Statement]:
    """State two families, each as if it were not the other."""
    model, held = evidence.model, evidence.probability
    found = []
    for family, instead in (families, families[::-1]):
        places, without = model.families[family], model.families[instead].tolist()
        best = int(places[np.argmax(held[places])])
        size = rms_um(model, gram, best, evidence.sizes_of([best], without)[0])
        found.append(Statement(family, best, False, sure, size, instead))
    return found
