"""The surface of support marks: discs along a design's surface, and the areas that they make."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ..errors import AreaError
from ..mesh.triangle_mesh import BoolArray, FloatArray, TriangleMesh
from ..mesh.vicinity import distance_from_place, vicinity
from ..surface.closest import SurfaceIndex
from .area_set import Area, AreaSet
from .support_marks import SUPPORTS, SupportMark, mark_of


def disc_points(mesh: TriangleMesh, centre_mm: FloatArray, radius_mm: float) -> BoolArray:
    """Find the vertices within a distance of a place, measured along the surface.

    The other side of a thin wall is near in space and far along the surface: it stays out.

    Parameters
    ----------
    mesh : TriangleMesh
        The evaluation mesh, or a design.
    centre_mm : (3,) float
        The place, mm; the nearest place of the surface is taken.
    radius_mm : float
        How far, mm.

    Returns
    -------
    (n,) bool
        May be empty where the vertices are far apart.

    Raises
    ------
    AreaError
        The place is farther from the surface than the radius.
    """
    centre = np.asarray(centre_mm, dtype=np.float64)
    # The nearest place is at most a radius off, and its disc reaches a radius farther.
    part, vertices = vicinity(mesh, centre[None], 2.0 * radius_mm)
    foot = None
    if len(part.faces):
        foot = SurfaceIndex(part, threads=1).closest(centre[None], max_distance_mm=radius_mm)
    if foot is None or not foot.found[0]:
        raise AreaError(
            f"({', '.join(f'{x:g}' for x in centre)}) mm lies more than {radius_mm:g} mm off the "
            "surface.",
            subject=mesh.name,
            remedy="Give a place on the design, in mm in the design's own coordinates.",
        )
    distance = distance_from_place(part, foot.foot[0], int(foot.face[0]), radius_mm)
    inside = np.zeros(len(mesh.vertices), dtype=bool)
    inside[vertices[distance <= radius_mm]] = True
    return inside


def with_supports(area_set: AreaSet, marks: Iterable[SupportMark] = ()) -> AreaSet:
    """Return the set with these support marks added, and all of them as ``supports``.

    Parameters
    ----------
    area_set : AreaSet
        May hold support marks already, from an areas file; one of the same kind and name is
        replaced.
    marks : iterable of SupportMark

    Raises
    ------
    AreaError
        Two have the same kind and name, one lies off the surface or holds no evaluation point.
    """
    added: dict[str, Area] = {}
    for mark in marks:
        if mark.area_name in added:
            raise AreaError(
                "There are two of this name.",
                subject=mark.area_name,
                remedy="Give every support mark a name of its own.",
            )
        added[mark.area_name] = _area(mark, area_set)
    merged = area_set.replaced(added.values()) if added else area_set
    spots = [area.points for name, area in merged.areas.items() if mark_of(name)]
    if not spots:
        return merged
    everything = Area(SUPPORTS, np.any(spots, axis=0), origin="user", note="all support marks")
    return merged.replaced([everything])


def _area(mark: SupportMark, area_set: AreaSet) -> Area:
    """Return the area of a mark on the evaluation points."""
    evaluation = area_set.evaluation
    try:
        points = disc_points(evaluation.mesh, np.array(mark.centre_mm), mark.radius_mm)
    except AreaError as error:
        raise AreaError(error.reason, subject=mark.area_name, remedy=error.remedy) from error
    if not points.any():
        raise AreaError(
            f"A radius of {mark.radius_mm:g} mm holds no measuring point at "
            f"{evaluation.spacing_mm:g} mm spacing.",
            subject=mark.area_name,
            remedy="Give a larger radius, or a smaller spacing.",
        )
    note = f"radius {mark.radius_mm:g} mm"
    return Area(mark.area_name, points, origin="user", note=note)
