"""Support contacts: spots where a printing support, a sprue or a connector touched the crown.

Each is an area of its own, named by its kind and its name (``support: lingual``,
``connector: 1``), so that areas files carry it like any other area. All together are the area
``supports``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from ..errors import AreaError, SettingError
from ..mesh.triangle_mesh import BoolArray, FloatArray, TriangleMesh
from ..mesh.vicinity import distance_from_place, vicinity
from ..surface.closest import SurfaceIndex
from .area_set import Area, AreaSet

ContactKind = Literal["support", "connector"]
CONTACT_KINDS: tuple[ContactKind, ...] = get_args(ContactKind)
SUPPORTS = "supports"
"""The area that all support contacts make up together."""

_BETWEEN = ": "


@dataclass(frozen=True)
class SupportContact:
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
    kind : {"support", "connector"}
        A printing support, or a sprue or a connector of a milling blank.
    """

    name: str
    centre_mm: tuple[float, float, float]
    radius_mm: float
    kind: ContactKind = "support"

    def __post_init__(self) -> None:
        """Refuse what is not a spot."""
        if not self.name.strip():
            raise SettingError(
                "A support contact has no name.",
                subject="contact",
                remedy="Give every support contact a name, such as 1.",
            )
        if self.kind not in CONTACT_KINDS:
            raise SettingError(
                f"There is no kind {self.kind!r}.",
                subject=f"contact {self.name}",
                remedy=f"Give one of {', '.join(CONTACT_KINDS)}.",
            )
        if len(self.centre_mm) != 3 or not np.isfinite(self.centre_mm).all():
            raise SettingError(
                f"Its centre {self.centre_mm} is not a place.",
                subject=f"contact {self.name}",
                remedy="Give three finite numbers, mm, in the design's frame.",
            )
        if not 0 < self.radius_mm < np.inf:
            raise SettingError(
                f"A radius of {self.radius_mm:g} mm makes no spot.",
                subject=f"contact {self.name}",
                remedy="Give a length above 0 mm; 0.3 to 1 mm is usual.",
            )

    def __str__(self) -> str:
        """Say in a line what it is."""
        x, y, z = self.centre_mm
        return f"{self.area_name}, radius {self.radius_mm:g} mm at ({x:g}, {y:g}, {z:g}) mm"

    @property
    def area_name(self) -> str:
        """Name of the area that it makes."""
        return contact_area_name(self.kind, self.name)


def contact_area_name(kind: ContactKind, name: str) -> str:
    """Return the name of the area that a support contact makes."""
    return f"{kind}{_BETWEEN}{name}"


def contact_of(area: str) -> tuple[ContactKind, str] | None:
    """Return kind and name of the support contact that an area is; None if it is not one."""
    for kind in CONTACT_KINDS:
        name = area.removeprefix(kind + _BETWEEN)
        if name != area and name.strip():
            return kind, name
    return None


def is_support(area: str) -> bool:
    """Tell whether an area is a support contact, or all of them together."""
    return area == SUPPORTS or contact_of(area) is not None


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


def with_supports(area_set: AreaSet, contacts: Iterable[SupportContact] = ()) -> AreaSet:
    """Return the set with these support contacts added, and all of them as ``supports``.

    Parameters
    ----------
    area_set : AreaSet
        May hold support contacts already, from an areas file; one of the same kind and name is
        replaced.
    contacts : iterable of SupportContact

    Raises
    ------
    AreaError
        Two have the same kind and name, one lies off the surface or holds no evaluation point.
    """
    added: dict[str, Area] = {}
    for contact in contacts:
        if contact.area_name in added:
            raise AreaError(
                "There are two of this name.",
                subject=contact.area_name,
                remedy="Give every support contact a name of its own.",
            )
        added[contact.area_name] = _area(contact, area_set)
    merged = area_set.replaced(added.values()) if added else area_set
    spots = [area.points for name, area in merged.areas.items() if contact_of(name)]
    if not spots:
        return merged
    everything = Area(SUPPORTS, np.any(spots, axis=0), origin="user", note="all support contacts")
    return merged.replaced([everything])


def _area(contact: SupportContact, area_set: AreaSet) -> Area:
    """Return the area of a contact on the evaluation points."""
    evaluation = area_set.evaluation
    try:
        points = disc_points(evaluation.mesh, np.array(contact.centre_mm), contact.radius_mm)
    except AreaError as error:
        raise AreaError(error.reason, subject=contact.area_name, remedy=error.remedy) from error
    if not points.any():
        raise AreaError(
            f"A radius of {contact.radius_mm:g} mm holds no evaluation point at "
            f"{evaluation.spacing_mm:g} mm spacing.",
            subject=contact.area_name,
            remedy="Give a larger radius, or a smaller spacing.",
        )
    note = f"radius {contact.radius_mm:g} mm"
    return Area(contact.area_name, points, origin="user", note=note)
