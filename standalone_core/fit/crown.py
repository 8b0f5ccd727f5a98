"""A crown made ready to be held against a die: its intaglio, and the parts of that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from ..areas.area_set import AreaSet, MarginLine
from ..areas.find import find_areas_steps
from ..areas.margin_distance import distance_to_line
from ..areas.settings import AreaSettings
from ..arrays import BoolArray, FloatArray
from ..errors import AreaError
from ..mesh.refine import EvaluationMesh, evaluation_mesh
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps, scaled
from ..surface.closest import SurfaceIndex

PARTS = ("margin", "axial", "occlusal")
"""The parts of an intaglio, from the margin line inwards."""


@dataclass(frozen=True, eq=False)
class FitCrown:
    """A crown, design or scan, in its own frame.

    Attributes
    ----------
    area_set : AreaSet
        Found on the crown itself. It holds the intaglio, the margin line and the path of
        insertion, unless the crown was made ready without (``can_be_seated``).
    index : SurfaceIndex
        Of ``evaluation.mesh``.
    margin_distance_mm : (n',) float
        From each evaluation point to the margin line along the surface, mm.
    parts : Mapping of str to (n',) bool
        The intaglio in parts: "margin" (within ``areas.margin_band_mm`` of the margin line),
        "occlusal" (what looks down from the upper half of the cavity: the normal has more than
        ``areas.wall_share`` along the path of insertion) and "axial" (the walls, with the
        chamfer or shoulder below them).
    """

    area_set: AreaSet
    index: SurfaceIndex
    margin_distance_mm: FloatArray
    parts: Mapping[str, BoolArray]

    @property
    def evaluation(self) -> EvaluationMesh:
        """The crown's surface with its points, n'."""
        return self.area_set.evaluation

    @property
    def can_be_seated(self) -> bool:
        """Whether intaglio, margin line and path of insertion are known."""
        return not _why_not_seated(self.area_set)

    def refuse_without_intaglio(self) -> None:
        """Raise an :class:`AreaError` if the crown cannot be seated, with the reason."""
        if not self.can_be_seated:
            raise _not_seated(self.area_set)

    @property
    def intaglio(self) -> BoolArray:
        """Which evaluation points, (n',), lie on the intaglio."""
        return self.area_set["intaglio"].points

    @property
    def axis(self) -> FloatArray:
        """Path of insertion, a unit vector to occlusal, in the crown's frame."""
        assert self.area_set.insertion is not None  # there is none of these without it
        return self.area_set.insertion

    @property
    def margin_line(self) -> MarginLine:
        """The crown's own edge."""
        assert self.area_set.margin_line is not None  # there is none of these without it
        return self.area_set.margin_line


def ready_crown_steps(
    mesh: TriangleMesh,
    areas: AreaSettings | None = None,
    *,
    spacing_mm: float = 0.1,
    without_intaglio: bool = False,
    threads: int | None = None,
) -> Steps[FitCrown]:
    """Find what a crown rests with.

    Parameters
    ----------
    mesh : TriangleMesh
        A crown, closed or open at places, its faces turned outward; mm, in its own frame.
    areas : AreaSettings, optional
        Path of insertion and directions in the crown's frame; the path is found if not given.
    spacing_mm : float
        Longest edge of the evaluation mesh, mm.
    without_intaglio : bool
        Also make a crown ready that cannot be seated, for its contacts.
    threads : int, optional
        For the index.

    Raises
    ------
    AreaError
        It has no intaglio, no margin line or no path of insertion.
    """
    yield Progress("Placing the crown's measuring points", 0.0)
    evaluation = evaluation_mesh(mesh, spacing_mm)
    area_set = yield from scaled(find_areas_steps(evaluation, areas), 0.1, 0.8)
    yield Progress("Making the crown ready", 0.8)
    return crown_of_areas(area_set, without_intaglio=without_intaglio, threads=threads)


def crown_of_areas(
    area_set: AreaSet, *, without_intaglio: bool = False, threads: int | None = None
) -> FitCrown:
    """Make a crown ready whose areas are known already; see :func:`ready_crown_steps`."""
    why = _why_not_seated(area_set)
    if why and not without_intaglio:
        raise _not_seated(area_set)
    mesh, line = area_set.evaluation.mesh, area_set.margin_line
    nowhere = np.full(len(mesh.vertices), np.inf)
    distance = nowhere if line is None else distance_to_line(mesh, line)
    return FitCrown(
        area_set=area_set,
        index=SurfaceIndex(mesh, threads=threads),
        margin_distance_mm=distance,
        parts=MappingProxyType({} if why else _parts(area_set, distance)),
    )


def _parts(area_set: AreaSet, margin_distance_mm: FloatArray) -> dict[str, BoolArray]:
    settings, axis = area_set.settings, area_set.insertion
    assert axis is not None  # asked before
    intaglio = area_set["intaglio"].points
    height = area_set.evaluation.points @ axis
    low, high = height[intaglio].min(), height[intaglio].max()
    wall = np.abs(area_set.evaluation.normals @ axis) <= settings.wall_share
    roof = ~wall & (height >= 0.5 * (low + high))
    margin = intaglio & (margin_distance_mm <= settings.margin_band_mm)
    return {
        "margin": margin,
        "axial": intaglio & ~margin & ~roof,
        "occlusal": intaglio & ~margin & roof,
    }


def moved_crown(crown: FitCrown, motion: FloatArray) -> FitCrown:
    """Return a crown after a rigid motion (4, 4), point for point."""
    areas = crown.area_set.moved(motion)
    index = SurfaceIndex(areas.evaluation.mesh, threads=crown.index.threads)
    return replace(crown, area_set=areas, index=index)


def _why_not_seated(area_set: AreaSet) -> str:
    if "intaglio" not in area_set.areas:
        why = area_set.missing.get("intaglio", "")
        return f"It has no intaglio that could rest on a die. {why}".strip()
    if area_set.margin_line is None:
        return "Its margin line is not known."
    if area_set.insertion is None:
        return "Its path of insertion is not known."
    return ""


def _not_seated(area_set: AreaSet) -> AreaError:
    return AreaError(
        _why_not_seated(area_set),
        subject=area_set.evaluation.design.name,
        remedy="Give a crown with its inner surface, or its path of insertion and areas.",
        arguments=("insertion",),
    )
