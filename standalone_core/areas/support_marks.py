"""Support marks: spots where a printing support, a sprue or a holding bar touched the crown.

Each is an area of its own, named by its kind and its name (``support: lingual``,
``sprue: 1``), so that areas files carry it like any other area. All together are the area
``supports``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np

from ..errors import AreaError, SettingError
from ..mesh.triangle_mesh import BoolArray, FloatArray, TriangleMesh
from ..mesh.vicinity import distance_from_place, vicinity
from ..surface.closest import SurfaceIndex
from .area_set import Area, AreaSet

MarkKind = Literal["support", "sprue"]
MARK_KINDS: tuple[MarkKind, ...] = get_args(MarkKind)
OLD_KINDS: Mapping[str, MarkKind] = MappingProxyType({"connector": "sprue"})
"""What files of earlier versions call a kind, and what it is called."""
SUPPORTS = "supports"
"""The area that all support marks make up together."""

_BETWEEN = ": "


@dataclass(frozen=True)
class SupportMark:
    """A round spot on the design where something touched the crown.

    Attributes
    ----------
    name : str
        The reader's own name of it.
    centre_mm : (3,) tuple of float
        Its middle, mm, in the design's frame; the nearest place of the surface is taken, which
        must not be farther off than the radius.
    radius_mm : float
        How far it reaches along the surface, mm.
    kind : {"support", "sprue"}
        A printing support, or a sprue or a holding bar of a milling blank.

    Examples
    --------
    >>> import cuspwise
    >>> mark = cuspwise.SupportMark("1", centre_mm=(4.2, 0.5, 3.0), radius_mm=0.5)
    >>> mark.area_name, cuspwise.CheckSettings(marks=(mark,)).marks == (mark,)
    ('support: 1', True)
    """

    name: str
    centre_mm: tuple[float, float, float]
    radius_mm: float
    kind: MarkKind = "support"

    def __post_init__(self) -> None:
        """Refuse what is not a spot."""
        if not self.name.strip():
            raise SettingError(
                "A support mark has no name.",
                subject="mark",
                remedy="Give every support mark a name, such as 1.",
            )
        if self.kind not in MARK_KINDS:
            raise SettingError(
                f"There is no kind {self.kind!r}.",
                subject=f"mark {self.name}",
                remedy=f"Give {OLD_KINDS.get(self.kind) or ' or '.join(MARK_KINDS)}.",
            )
        if len(self.centre_mm) != 3 or not np.isfinite(self.centre_mm).all():
            raise SettingError(
                f"Its centre {self.centre_mm} is not a place.",
                subject=f"mark {self.name}",
                remedy="Give three finite numbers, mm, in the design's frame.",
            )
        if not 0 < self.radius_mm < np.inf:
            raise SettingError(
                f"A radius of {self.radius_mm:g} mm makes no spot.",
                subject=f"mark {self.name}",
                remedy="Give a length above 0 mm; 0.3 to 1 mm is usual.",
            )

    def __str__(self) -> str:
        """Say in a line what it is."""
        x, y, z = self.centre_mm
        return f"{self.area_name}, radius {self.radius_mm:g} mm at ({x:g}, {y:g}, {z:g}) mm"

    @property
    def area_name(self) -> str:
        """Name of the area that it makes."""
        return mark_area_name(self.kind, self.name)


def mark_area_name(kind: MarkKind, name: str) -> str:
    """Return the name of the area that a support mark makes."""
    return f"{kind}{_BETWEEN}{name}"


def mark_of(area: str) -> tuple[MarkKind, str] | None:
    """Return kind and name of the support mark that an area is; None if it is not one."""
    for kind in MARK_KINDS:
        name = area.removeprefix(kind + _BETWEEN)
        if name != area and name.strip():
            return kind, name
    return None


def new_area_name(name: str) -> str:
    """Return what an area is called that a file of an earlier version may name.

    >>> new_area_name("connector: 1"), new_area_name("support: 1"), new_area_name("margin")
    ('sprue: 1', 'support: 1', 'margin')
    """
    for old, kind in OLD_KINDS.items():
        own = name.removeprefix(old + _BETWEEN)
        if own != name and own.strip():
            return mark_area_name(kind, own)
    return name


def is_support(area: str) -> bool:
    """Return whether an area is a support mark, or all of them together."""
    return area == SUPPORTS or mark_of(area) is not None


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
            f"A radius of {mark.radius_mm:g} mm holds no evaluation point at "
            f"{evaluation.spacing_mm:g} mm spacing.",
            subject=mark.area_name,
            remedy="Give a larger radius, or a smaller spacing.",
        )
    note = f"radius {mark.radius_mm:g} mm"
    return Area(mark.area_name, points, origin="user", note=note)
