"""The causes that a crown is tried for: columns of a linear model, and which may go together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .result import Family

RIGID = 6
"""The first columns: the motion that the superimposition could not but fit along."""


@dataclass(frozen=True, eq=False)
class Member:
    """A cause as columns of a linear model.

    Attributes
    ----------
    cause : str
    family : str
    columns : (c, k) float
        mm per unit, over the cells.
    searched : int
        How many parameters of its shape were searched; they count as parameters, too.
    strains : (6, k) float
        The strain that each column stands for; empty for causes that are none.
    """

    cause: str
    family: Family
    columns: FloatArray
    searched: int = 0
    strains: FloatArray = field(default_factory=lambda: np.zeros((6, 0)))


EXCLUDED = (
    ("scale_per_direction", "scale"),  # holds it
    ("scale_per_direction", "scale_along_build"),
    ("scale_per_direction", "leaning_margin"),  # a shear is nearly a lean
    ("growth_uniform", "growth_outside"),
    ("growth_uniform", "growth_inside"),
)
"""Pairs of causes that are not looked for together."""


@dataclass(frozen=True, eq=False)
class Model:
    """All members that a crown's cells are tried for.

    Attributes
    ----------
    rigid : (c, 6) float
    members : tuple of Member
    most : int or None
        Sets of more members are not looked at; None looks at all.
    """

    rigid: FloatArray
    members: tuple[Member, ...]
    most: int | None = None

    @cached_property
    def columns(self) -> FloatArray:
        """All columns, (c, p); the rigid ones first."""
        return np.column_stack([self.rigid, *(member.columns for member in self.members)])

    @cached_property
    def blocks(self) -> tuple[IntArray, ...]:
        """The columns of each member."""
        widths = [member.columns.shape[1] for member in self.members]
        ends = RIGID + np.cumsum(widths)
        return tuple(np.arange(end - width, end) for end, width in zip(ends, widths, strict=True))

    @cached_property
    def subsets(self) -> BoolArray:
        """All admissible sets of members, (s, m); the empty one first."""
        names = [member.cause for member in self.members]
        sets = np.array(list(product((False, True), repeat=len(names))), dtype=bool)
        sets = sets.reshape(-1, len(names))
        if self.most is not None:
            sets = sets[sets.sum(axis=1) <= self.most]
        for one, other in EXCLUDED:
            if one in names and other in names:
                both = sets[:, names.index(one)] & sets[:, names.index(other)]
                sets = sets[~both]
        return sets

    @cached_property
    def widest(self) -> IntArray:
        """Columns of full rank that hold every admissible set, for the covariance."""
        names = {member.cause for member in self.members}
        spare = {"scale", "scale_along_build"} if "scale_per_direction" in names else set()
        if {"growth_outside", "growth_inside"} <= names:
            spare.add("growth_uniform")
        kept = [
            block
            for member, block in zip(self.members, self.blocks, strict=True)
            if member.cause not in spare
        ]
        return np.concatenate([np.arange(RIGID), *kept])

    @cached_property
    def families(self) -> Mapping[Family, IntArray]:
        """The members of each family, by their places."""
        found: dict[Family, list[int]] = {}
        for place, member in enumerate(self.members):
            found.setdefault(member.family, []).append(place)
        return {family: np.array(places) for family, places in found.items()}

    @cached_property
    def parameters(self) -> IntArray:
        """How many parameters each subset has beyond the rigid ones, (s,).

        What several members share (how far a margin's deformation reaches) counts once.
        """
        widths = np.array([member.columns.shape[1] for member in self.members], dtype=np.int64)
        total = self.subsets @ widths if len(widths) else np.zeros(len(self.subsets), np.int64)
        for places in self.families.values():
            searched = np.array([self.members[place].searched for place in places])
            total = total + (self.subsets[:, places] * searched).max(axis=1)
        result: IntArray = total
        return result
