"""The named parts of a design's surface, and the lines and directions that go with them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..errors import AreaError
from ..mesh.refine import EvaluationMesh
from ..mesh.triangle_mesh import BoolArray, FloatArray
from .settings import AreaSettings

__all__ = ["AREA_NAMES", "Area", "AreaSet", "AreaSettings", "MarginLine", "Origin"]

Origin = Literal["automatic", "file", "user"]

AREA_NAMES = (
    "whole",
    "external",
    "intaglio",
    "occlusal",
    "axial",
    "margin",
    "fossae",
    "contact_mesial",
    "contact_distal",
)
"""The areas that are sought automatically, in the order in which they are listed."""


@dataclass(frozen=True, eq=False)
class Area:
    """A part of a design's surface.

    Attributes
    ----------
    name : str
    points : (n',) bool
        Which evaluation points lie in it.
    origin : "automatic", "file" or "user"
        Where it comes from.
    note : str
        A remark for the reader; empty if there is none.
    """

    name: str
    points: BoolArray
    origin: Origin = "automatic"
    note: str = ""


@dataclass(frozen=True, eq=False)
class MarginLine:
    """The curve where intaglio and external surface meet, or an open shell's border.

    Attributes
    ----------
    points_mm : (k, 3) float
        Ordered points, mm, in the design's frame; the first is not repeated at the end.
    closed : bool
        Whether the last point is joined to the first.
    origin : "automatic", "file" or "user"
    """

    points_mm: FloatArray
    closed: bool = True
    origin: Origin = "automatic"

    @property
    def length_mm(self) -> float:
        """Length in mm."""
        ring = np.vstack([self.points_mm, self.points_mm[:1]]) if self.closed else self.points_mm
        return float(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum())


@dataclass(frozen=True, eq=False)
class AreaSet:
    """All areas of one design.

    Attributes
    ----------
    evaluation : EvaluationMesh
        The points that the areas are sets of.
    areas : Mapping of str to Area
        In the order of :data:`AREA_NAMES`, then the user's own.
    margin_line : MarginLine or None
    insertion : (3,) float or None
        Path of insertion, a unit vector to occlusal; None if it is not known.
    missing : Mapping of str to str
        Areas that were sought and not found, with the reason, in words.
    warnings : tuple of str
    settings : AreaSettings
        What the areas were made with.
    """

    evaluation: EvaluationMesh
    areas: Mapping[str, Area]
    margin_line: MarginLine | None = None
    insertion: FloatArray | None = None
    missing: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    settings: AreaSettings = field(default_factory=AreaSettings)

    def __post_init__(self) -> None:
        count = len(self.evaluation.points)
        for area in self.areas.values():
            if area.points.shape != (count,):
                raise AreaError(
                    f"It has {len(area.points)} points, but the design is measured at {count}.",
                    subject=area.name,
                    remedy="Make the area on this design's measuring points.",
                )
        object.__setattr__(self, "areas", MappingProxyType(_in_order(self.areas.values())))

    def __getitem__(self, name: str) -> Area:
        """Return an area by name.

        Raises
        ------
        AreaError
            There is no such area; says why if that is known.
        """
        if name in self.areas:
            return self.areas[name]
        raise AreaError(
            self.missing.get(name, f"There is no area called {name!r}."),
            subject=self.evaluation.design.name,
            remedy=f"Choose from {', '.join(self.areas)}, or add it in an areas file.",
        )

    def area_mm2(self, name: str) -> float:
        """Size of an area in mm²."""
        return float(self.evaluation.weights_mm2[self[name].points].sum())

    def replaced(self, areas: Iterable[Area]) -> AreaSet:
        """Return the set with these areas added; they replace those of the same name."""
        new = {area.name: area for area in areas}
        return AreaSet(
            evaluation=self.evaluation,
            areas={**self.areas, **new},
            margin_line=self.margin_line,
            insertion=self.insertion,
            missing={name: why for name, why in self.missing.items() if name not in new},
            warnings=self.warnings,
            settings=self.settings,
        )

    def moved(self, motion: ArrayLike, evaluation: EvaluationMesh | None = None) -> AreaSet:
        """Return the same areas on the moved design.

        Parameters
        ----------
        motion : (4, 4) array_like
            Rigid.
        evaluation : EvaluationMesh, optional
            The moved evaluation mesh, point for point, if it is at hand.
        """
        matrix = np.asarray(motion, dtype=np.float64)
        turn, line = matrix[:3, :3], self.margin_line
        if line is not None:
            line = replace(line, points_mm=line.points_mm @ turn.T + matrix[:3, 3])
        settings = self.settings
        settings = replace(
            settings,
            insertion=_turned(turn, settings.insertion),
            mesial_direction=_turned(turn, settings.mesial_direction),
            buccal_direction=_turned(turn, settings.buccal_direction),
        )
        return replace(
            self,
            evaluation=evaluation or self.evaluation.moved(matrix),
            margin_line=line,
            insertion=None if self.insertion is None else turn @ self.insertion,
            settings=settings,
        )


def _turned(
    turn: FloatArray, direction: tuple[float, ...] | None
) -> tuple[float, float, float] | None:
    if direction is None:
        return None
    x, y, z = (turn @ np.asarray(direction)).tolist()
    return x, y, z


def _in_order(areas: Iterable[Area]) -> dict[str, Area]:
    by_name = {area.name: area for area in areas}
    known = [name for name in AREA_NAMES if name in by_name]
    return {name: by_name[name] for name in [*known, *(n for n in by_name if n not in known)]}
