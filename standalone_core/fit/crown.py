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
        Found on the crown itself; it holds the intaglio, the margin line and the path of
        insertion, which all are known.
    index : SurfaceIndex
        Of ``evaluation.mesh``.
    margin_distance_mm : (n',) float
        From each evaluation point to the margin line along the surface, mm.
    parts : Mapping of str to (n',) bool
        The intaglio in parts: "margin" (within ``areas.margin_band_mm`` of the margin line),
        "axial" (walls: the normal has at most ``areas.wall_share`` along the path of insertion)
        and "occlusal" (the rest, which looks up at the roof).
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
    return crown_of_areas(area_set, threads=threads)


def crown_of_areas(area_set: AreaSet, *, threads: int | None = None) -> FitCrown:
    """Make a crown ready whose areas are known already; see :func:`ready_crown_steps`."""
    _refuse_without_intaglio(area_set)
    assert area_set.margin_line is not None  # it was just asked for
    assert area_set.insertion is not None
    mesh = area_set.evaluation.mesh
    distance = distance_to_line(mesh, area_set.margin_line)
    intaglio = area_set["intaglio"].points
    margin = intaglio & (distance <= area_set.settings.margin_band_mm)
    wall = np.abs(mesh.vertex_normals @ area_set.insertion) <= area_set.settings.wall_share
    parts = {
        "margin": margin,
        "axial": intaglio & ~margin & wall,
        "occlusal": intaglio & ~margin & ~wall,
    }
    return FitCrown(
        area_set=area_set,
        index=SurfaceIndex(mesh, threads=threads),
        margin_distance_mm=distance,
        parts=MappingProxyType(parts),
    )


def moved_crown(crown: FitCrown, motion: FloatArray) -> FitCrown:
    """Return a crown after a rigid motion (4, 4), point for point."""
    areas = crown.area_set.moved(motion)
    index = SurfaceIndex(areas.evaluation.mesh, threads=crown.index.threads)
    return replace(crown, area_set=areas, index=index)


def _refuse_without_intaglio(area_set: AreaSet) -> None:
    subject = area_set.evaluation.design.name
    if "intaglio" not in area_set.areas:
        raise AreaError(
            f"It has no intaglio that could rest on a die. {area_set.missing['intaglio']}",
            subject=subject,
            remedy="Give a crown with its inner surface; an outer surface alone cannot be seated.",
        )
    if area_set.margin_line is None or area_set.insertion is None:
        raise AreaError(
            "Its margin line or its path of insertion is not known.",
            subject=subject,
            remedy="Give the path of insertion, or areas with a margin line.",
            arguments=("insertion",),
        )
